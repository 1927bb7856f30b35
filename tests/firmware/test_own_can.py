"""The driver of a board's own bus controller, and what asks the car through it, against a stand-in for machine.CAN."""

import sys

import machine_can
import micropython

EXTENDED = machine_can.EXTENDED


class Module:
    CAN = machine_can.CAN
    held = 0

    @staticmethod
    def disable_irq():
        Module.held += 1
        return 0

    @staticmethod
    def enable_irq(_state):
        Module.held -= 1


sys.modules["machine"] = Module

from bus import build, car, link  # noqa: E402
from drivers import can_frame, own_can  # noqa: E402
from shared_math import bus_states  # noqa: E402
from shared_math import config as configs  # noqa: E402
from shared_math.obd import transport  # noqa: E402


class Bench:
    def __init__(self):
        self.us = 0x3FFFF000  # wraps soon
        self.port = own_can.OwnCan(1, self.ticks_us)
        self.can = self.port.can
        self.port.on_frames(self.port_came)
        self.interrupts = 0

    def port_came(self, _can):
        self.interrupts += 1

    def ticks_us(self):
        return self.us & 0x3FFFFFFF

    def wait(self, ms, looks=False):
        """Time passes; looks: the main loop comes by every 10 ms."""
        for n in range(ms):
            self.us += 1000
            self.can.pass_us(1000)
            if looks and n % 10 == 9:
                self.port.look()
        assert not Module.held

    def taken(self):
        out = []
        while self.port.take(self.port.frame):
            frame = self.port.frame
            out.append((frame.id, bytes(frame.data[: frame.length])))
        return out


def test_it_begins_silent_and_changes_rate_and_mode():
    bench = Bench()
    assert bench.can.mode == bench.can.MODE_SILENT
    for kbit in (500, 250):
        assert bench.port.listen(kbit, None)
        assert (bench.can.bitrate, bench.can.mode) == (1000 * kbit, bench.can.MODE_SILENT)
        assert bench.port.normal(kbit, None) and bench.can.mode == bench.can.MODE_NORMAL


def test_frames_come_with_id_length_and_time():
    bench = Bench()
    bench.port.listen(500, None)
    bench.can.came(0x7E8, b"\x03\x41\x0d\x32")
    assert bench.interrupts == 1 and bench.port.take(bench.port.frame)
    assert bench.port.frame.tick == bench.ticks_us()
    assert (bench.port.frame.id, bytes(bench.port.frame.data[:4])) == (0x7E8, b"\x03\x41\x0d\x32")
    assert bench.port.frame.length == 4
    bench.can.came(0x18DAF110 | EXTENDED, bytes(range(8)))
    bench.can.came(0x7E9, b"", bench.can.FLAG_RTR)  # asks for a frame, and is none
    bench.can.came(0x7EA, b"\1\2")
    assert sorted(bench.taken()) == [(0x7EA, b"\1\2"), (0x18DAF110 | EXTENDED, bytes(range(8)))]


def test_filters_pass_what_is_wanted_also_where_there_are_too_few():
    wanted = ((0x7E8, 0x7F8 | EXTENDED), (0x18DAF100 | EXTENDED, 0x1FFFFF00 | EXTENDED))
    many = wanted + tuple([(n, 0x7FF | EXTENDED) for n in range(0x100, 0x110)])
    for only, passes in ((wanted, False), (many, True)):
        bench = Bench()
        bench.port.listen(500, only)
        got = []
        for who in (0x7E8, 0x123, 0x7E0, 0x18DAF133 | EXTENDED, 0x7E8 | EXTENDED, 0x18DAF233 | EXTENDED, 0x10F):
            bench.can.came(who, b"\1")
            got += [one for one, _ in bench.taken()]
        assert got == [0x7E8, 0x18DAF133 | EXTENDED] + [0x10F] * passes, got
    bench.port.listen(500, ())
    bench.can.came(0x7E8, b"\1")
    assert bench.taken() == []


def test_what_found_no_room_is_counted_and_a_full_queue_alone_is_not():
    bench = Bench()
    bench.port.listen(500, ((0x7E8, 0x7F8 | EXTENDED),))
    for _ in range(3):
        bench.can.came(0x7E8, b"\1")
    assert len(bench.taken()) == 3 and bench.port.missed() == 0
    for _ in range(5):
        bench.can.came(0x7E8, b"\1")
    assert len(bench.taken()) == 3 and bench.port.missed() == 1 and bench.can.lost == 2


def test_a_frame_that_somebody_acknowledges_is_sent_once():
    bench = Bench()
    bench.port.normal(500, None)
    bench.can.wire = lambda _who, _data: "ack"
    for who in (0x7DF, 0x18DB33F1 | EXTENDED):
        bench.port.send(who, b"\x02\x01\x00" + bytes(5))
        bench.wait(20, True)
        assert not bench.port.failed() and bench.can.sent.pop() == (who, b"\x02\x01\x00" + bytes(5))
    assert len(bench.can.attempts) == 2 and bench.port.errors() == 0


def test_a_frame_that_nobody_acknowledges_is_taken_back_by_the_interrupt():
    """The main loop may be held up for half a second: a dozen attempts, not two thousand."""
    bench = Bench()
    bench.port.normal(500, None)
    bench.port.send(0x7DF, bytes(8))
    bench.wait(500)
    assert len(bench.can.attempts) == 12 and bench.port.failed()
    assert bench.port.errors() == 0  # what it cost is no error of the bus
    bench.can.wire = lambda _who, _data: "ack"
    bench.port.send(0x7DF, bytes(8))
    bench.wait(10)
    assert not bench.port.failed() and len(bench.can.sent) == 1


def test_a_frame_that_found_the_bus_held_is_taken_back_by_the_main_loop():
    bench = Bench()
    bench.port.normal(500, None)
    bench.can.wire = lambda _who, _data: "busy"
    bench.port.send(0x7DF, bytes(8))
    bench.wait(20, True)
    assert bench.port.failed() and bench.can.attempts == []
    bench.can.wire = lambda _who, _data: "ack"
    bench.wait(20)
    assert bench.can.attempts == []


def test_a_bus_that_disturbs_ends_in_errors():
    bench = Bench()
    bench.port.normal(500, None)
    bench.can.rec = 130
    assert bench.port.errors() == 130 and not bench.port.failed()
    bench.can.rec = 0
    bench.can.tec = 256
    assert bench.port.errors() == can_frame.OFF
    bench.port.send(0x7DF, bytes(8))  # raises nothing
    assert bench.port.failed()
    assert bench.port.normal(500, None) and bench.port.errors() == 0 and not bench.port.failed()


def test_nothing_is_ever_sent_while_listening():
    bench = Bench()
    for _ in range(2):
        bench.port.listen(500, None)
        try:
            bench.port.send(0x7DF, bytes(8))
            raise AssertionError("sent")
        except RuntimeError:
            pass
        bench.port.normal(500, None)
    bench.wait(20, True)
    assert bench.can.attempts == []


def test_flow_control_to_two_units_leaves_from_the_interrupt_and_none_takes_the_other_back():
    bench = Bench()
    held = link.Link(bench.port, bench.ticks_us, 136)
    bench.port.normal(500, None)
    held.may_send = True
    bench.can.wire = lambda _who, _data: "ack"
    held.requests[held.next_tag() & 1][:] = b"\x01\x03" + bytes(6)
    held.lay(0x7DF, -1)
    held.send()
    bench.wait(20, True)
    for who in (0x7E8, 0x7EA):
        bench.can.came(who, b"\x10\x0c\x43\x05\x01\x71\x01\x35")
    bench.wait(2)
    assert [one[0] for one in bench.can.sent] == [0x7DF, 0x7E0, 0x7E2]
    assert all([data[0] == 0x30 for _, data in bench.can.sent[1:]])


def test_the_next_request_leaves_from_the_interrupt():
    bench = Bench()
    held = link.Link(bench.port, bench.ticks_us, 136)
    bench.port.normal(500, None)
    held.may_send = True
    bench.can.wire = lambda _who, _data: "ack"
    held.lay(0x7E0, 0x7E8)
    held.send()
    request = held.requests[held.next_tag() & 1]
    request[:] = bytes([2, 1, 5, 0, 0, 0, 0, 0])
    held.lay(0x7E0, 0x7E8)
    bench.wait(21)
    bench.can.came(0x7E8, b"\x03\x41\x0d\x32" + bytes(4))
    bench.wait(1)
    assert bench.can.sent[-1] == (0x7E0, bytes(request)) and len(bench.can.sent) == 2


def test_taking_and_sending_allocate_nothing():
    class Still(machine_can.CAN):
        """Answers with one frame for ever: the stand-in allocates itself."""

        left = 0
        counted = (0, 0)

        def recv(self, result):
            Still.left -= 1
            return result if Still.left >= 0 else None

        def send(self, _id, _data, _flags):
            return 0

        def cancel_send(self, _place):
            return True

        def state(self):
            return 2

        def get_counters(self, _out):
            return self.counted

    bench = Bench()
    bench.port.can = still = Still(1, 500000)
    port = bench.port
    port.may_send = True
    port.handler = lambda _can: None
    data = bytes(8)
    micropython.heap_lock()
    try:
        for _ in range(20):
            Still.left = 1
            port.take(port.frame)
            port.send(0x7E0, data)
            port._event(still)
            port.failed()
            port.errors()
            port.look()
    finally:
        micropython.heap_unlock()


ONE = {
    "version": 1,
    "bus": {"ask": True, "kbit": 500, "chip": "own"},
    "channels": [
        {"name": "lambda_1", "input": "a0", "kind": "lambda", "volts": [0, 5], "values": [0.6, 1.4]},
        {"name": "rpm_bus", "kind": "obd", "pid": "0C", "hz": 10},
    ],
}
ANSWERS = {
    b"\x01\x00": b"\x06\x41\x00\x00\x10\x00\x00",
    b"\x01\x01": b"\x06\x41\x01\x00\x07\x65\x04",
    b"\x01\x0c": b"\x04\x41\x0c\x1a\xf8",
    b"\x03": b"\x02\x43\x00",
    b"\x07": b"\x02\x47\x00",
    b"\x0a": b"\x02\x4a\x00",
    b"\x02\x02\x00": b"\x05\x42\x02\x00\x00\x00",
}


class Drive:
    """A whole session's asking. awake: whether the car answers, by milliseconds since the start. late: request ->
    answers before the true one, as (ms, frame); the true one comes 4 s after the last. tester: from when to when
    another tester asks. channels: in place of the usual ones."""

    def __init__(self, awake=lambda _ms: True, late=None, tester=(-1, -1), channels=()):
        self.awake = awake
        self.late = late or {}
        self.tester = tester
        self.ms = 0
        self.answers = []  # (ms, data)
        self.plan = build.make(configs.defaults(dict(ONE, channels=channels) if channels else ONE))
        self.plan.load()
        port = own_can.OwnCan(1, self.ticks_us)
        self.can = port.can
        self.can.wire = self.wire
        self.car = car.Car(port, self.plan, self.plan.columns, self.ticks_us)

    def ticks_us(self):
        return self.ms * 1000 & 0x3FFFFFFF

    def wire(self, _who, data):
        if not self.awake(self.ms):
            return "none"
        request = data[1 : 1 + data[0]]
        at = self.ms + 20
        for after, frame in self.late.pop(request, ()):
            self.answers.append((self.ms + after, frame))
            at = self.ms + after + 4000
        self.answers.append((at, ANSWERS[request]))
        self.answers.sort()
        return "ack"

    def run(self, until_ms):
        while self.ms < until_ms:
            self.ms += 1
            self.can.pass_us(1000)
            if self.ms % 100 == 0 and self.awake(self.ms):
                self.can.came(0x123, bytes(8))
            if self.tester[0] <= self.ms < self.tester[1] and self.ms % 100 == 50:
                self.can.came(0x7DF, b"\x02\x01\x0c" + bytes(5))
            while self.answers and self.answers[0][0] <= self.ms:
                data = self.answers.pop(0)[1]
                self.can.came(0x7E8, data + bytes(8 - len(data)))
            if self.ms % 10 == 0:
                self.car.turn()


def test_a_car_is_asked_falls_asleep_and_is_left_alone():
    drive = Drive(lambda ms: ms < 6000 or ms > 66000)
    drive.run(5900)
    assert drive.car.held.state == bus_states.ANSWERED and drive.car.held.counts[0] == 0x1AF8
    assert len(drive.can.attempts) == len(drive.can.sent) > 20
    before = len(drive.can.attempts)
    drive.run(60000)
    assert drive.car.held.state == bus_states.ASLEEP  # and not for ever silent for errors of the bus
    assert 12 <= len(drive.can.attempts) - before <= 12 + 2
    drive.run(75000)
    assert drive.car.held.state == bus_states.ANSWERED


def test_a_car_that_falls_asleep_among_the_first_questions_gets_no_second_frame():
    drive = Drive(lambda ms: ms < 2300)
    drive.run(2310)
    assert drive.car.held.state == bus_states.ANSWERED
    drive.run(30000)
    assert drive.car.held.state == bus_states.ASLEEP
    assert len(drive.can.attempts) - len(drive.can.sent) == 12


def test_another_tester_silences_for_a_minute_and_not_for_good():
    drive = Drive(tester=(5000, 6000))
    drive.run(5000)
    assert drive.car.held.state == bus_states.ANSWERED
    drive.run(5100)
    before = len(drive.can.attempts)
    drive.run(65000)
    assert drive.car.held.state == bus_states.OTHER_TESTER and len(drive.can.attempts) == before
    drive.run(75000)
    assert drive.car.held.state == bus_states.ANSWERED and len(drive.can.attempts) > before + 50


def test_an_answer_that_is_announced_for_later_again_and_again_is_waited_for():
    def announced(service):
        frame = bytes((3, 0x7F, service, 0x78))
        return [(20, frame), (4000, frame), (8000, frame)]

    drive = Drive(late={b"\x03": announced(3)})
    ANSWERS[b"\x03"] = b"\x04\x43\x01\x01\x71"
    drive.run(18000)
    ANSWERS[b"\x03"] = b"\x02\x43\x00"
    assert bytes((0x43, 1, 1, 0x71)) in bytes(drive.car.codes)
    drive.late[b"\x01\x0c"] = announced(1)
    drive.run(20000)
    before = len(drive.can.sent)
    drive.run(29000)
    assert len(drive.can.sent) == before and drive.car.poller.lost == 0
    drive.run(32000)
    assert len(drive.can.sent) > before + 5 and drive.car.poller.lost == 0


def test_what_the_interrupt_notes_after_the_turn_began_is_not_taken_for_old():
    one = Drive().car
    one.now = 0x3FFFFF00
    assert one.passed(0x3FFFFF00 + 200) == 0 and one.passed((0x3FFFFF00 + 3000) & 0x3FFFFFFF) == 0
    assert one.passed(0x3FFFFF00 - 61000) == 61000
    assert not one.late(0x3FFFFF00 + 200) and one.late(0x3FFFFF00 - 60000)


def test_what_comes_late_or_from_nobody_known_is_counted_and_no_value():
    drive = Drive(late={b"\x01\x0c": [(350, b"\x04\x41\x0c\x00\x04")]})
    drive.run(5500)
    assert drive.car.counts[transport.LATE] == 1 and drive.car.poller.lost >= 1
    assert drive.car.held.counts[0] != 4
    drive.run(12000)
    assert drive.car.held.counts[0] == 0x1AF8
    drive.can.came(0x7E9, b"\x10\x0c\x41\x00\x01\x02\x03\x04")
    drive.run(12200)
    drive.can.came(0x7E9, b"\x21\x05\x06\x07\x08\x09\x0a\x00")
    drive.run(12220)
    assert drive.car.counts[transport.LATE] == 3  # the true answer, 4 s late, and this frame
    for n in range(9):
        drive.can.came(0x18DAF110 + n | EXTENDED, b"\x02\x41\x00" + bytes(5))
        drive.run(drive.ms + 20)
    assert drive.car.counts[transport.STRANGE] == 3  # eight units are known


def test_what_is_asked_for_is_what_is_due_first():
    """Against a plain sort, over the wrap of the clock; by turns all, some and none may be asked for together."""
    pids = ("04", "05", "0B", "0C", "0D", "0E", "0F", "11")
    channels = [{"name": "v" + pid, "kind": "obd", "pid": pid, "hz": 1 + n} for n, pid in enumerate(pids)]
    poller = Drive(channels=channels).car.poller
    half = [period >> 1 for period in poller.periods]
    draw = 1
    for turn in range(300):
        now = (0x3FFFFFFF - 100000 + 997 * turn) & 0x3FFFFFFF
        lefts = []
        for n in range(poller.count):
            draw = draw * 1103515 + 12345 & 0xFFFFF
            poller.wanted[n] = draw & 7 != 0
            poller.together[n] = turn % 3 and draw & 24 != 0
            lefts.append((draw >> 2) - 60000)
            poller.due[n] = (now + lefts[n]) & 0x3FFFFFFF
        urgent = sorted([(left, n) for n, left in enumerate(lefts) if poller.wanted[n]])
        expected = []
        if urgent and urgent[0][0] <= 25000:
            if poller.together[urgent[0][1]]:
                expected = [n for left, n in urgent if poller.together[n] and left <= max(25000, half[n])][:6]
            else:
                expected = [urgent[0][1]]
        found = poller.pick(now)
        tag = (poller.link.tag + 1) % link.TAGS
        assert found == bool(expected)
        if found:
            assert list(poller.which[tag][: poller.many[tag]]) == expected, (turn, expected)
            for at, n in enumerate(expected):
                late = -lefts[n] >= poller.periods[n]
                due = now + at if late else now + lefts[n] + poller.periods[n]
                assert (poller.due[n] - due) & 0x3FFFFFFF == 0
                poller.link.laid = poller.link.tag


def test_where_more_is_asked_for_than_the_car_answers_each_gets_its_turn():
    """Sixteen at 20 Hz, six at a time every 23 ms: whoever would be served by his number starves the last ones."""
    pids = ("04", "05", "06", "07", "0B", "0C", "0D", "0E", "0F", "10", "11", "33", "42", "44", "46", "5C")
    channels = [{"name": "v" + pid, "kind": "obd", "pid": pid, "hz": 20} for pid in pids]
    channels[3]["hz"] = channels[14]["hz"] = 1
    poller = Drive(channels=channels).car.poller
    count = [0] * 16
    now = 0x3FFFFFFF - 3000000
    for n in range(16):
        poller.wanted[n] = poller.together[n] = 1
        poller.due[n] = now
    for _ in range(400):
        assert poller.pick(now)
        tag = poller.link.laid
        for n in range(poller.many[tag]):
            count[poller.which[tag][n]] += 1
        poller.link.laid = poller.link.tag
        now = (now + 23000) & 0x3FFFFFFF
    slow = count.pop(14), count.pop(3)
    assert max(slow) <= 11 and min(slow) >= 9, slow
    assert max(count) - min(count) <= 2 and sum(count) + sum(slow) == 2400, count
