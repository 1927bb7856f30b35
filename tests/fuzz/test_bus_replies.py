"""Answers of a car that are anything at all: the firmware's bus code goes on, and no value passes for another's."""

import random
import sys
from array import array

import pytest

from ringpull.files.firmware_sources import firmware_dir

sys.path.insert(0, str(firmware_dir()))
from acquire import bus_columns  # noqa: E402
from bus import build, car  # noqa: E402
from shared_math import config  # noqa: E402
from shared_math.obd import pids  # noqa: E402

ASKED = (0x0C, 0x0D, 0x05, 0x0B, 0x11, 0x44)
MARK = 0x55  # the first byte of every value: whatever else stands in a column came from elsewhere
STEP_US = 1000


class Port:
    """A controller whose car answers what `answers` says, 5 ms later."""

    def __init__(self, clock, answers):
        self.clock = clock
        self.answers = answers
        self.frame = type("Frame", (), {"id": 0, "length": 0, "tick": 0, "data": bytearray(8)})()
        self.waiting = []
        self.sent = []
        self.sending = False

    def on_frames(self, handler):
        self.handler = handler

    def listen(self, _kbit, _only):
        self.sending = False
        return True

    def normal(self, _kbit, _only):
        self.sending = True
        return True

    def send(self, frame_id, data):
        assert self.sending, "a frame is sent while only listening is allowed"
        self.sent.append((frame_id, bytes(data)))
        if data[0] >> 4 == 0:
            self.waiting += [(self.clock[0] + 5000 + 300 * n, *one) for n, one in enumerate(self.answers(bytes(data)))]

    def take(self, frame):
        if not self.waiting or self.waiting[0][0] > self.clock[0]:
            return False
        _, frame.id, data = self.waiting.pop(0)
        frame.length, frame.tick = len(data), self.clock[0] & 0x3FFFFFFF
        frame.data[:] = (data + bytes(8))[:8]
        return True

    def done(self, _frame):
        pass

    def failed(self):
        return False

    def errors(self):
        return 0

    def missed(self):
        return 0

    def look(self):
        self.handler()


def value(pid):
    return bytes((MARK, pid))[: pids.length_of(pid)]


def true_answer(request):
    """Frames of a car that answers as it should."""
    from shared_math.obd import transport

    asked = request[2 : 1 + request[0]]
    if request[1] != 1:
        return []
    if asked == b"\0":
        payload = b"\x41\x00" + sum(1 << 32 - pid for pid in ASKED if pid <= 32).to_bytes(4, "big")
        payload = payload[:5] + bytes((payload[5] | 1,))
    elif asked in (b"\x20", b"\x40"):
        known = [pid - asked[0] for pid in ASKED if asked[0] < pid <= asked[0] + 32]
        payload = b"\x41" + asked + (sum(1 << 32 - n for n in known) | (asked == b"\x20")).to_bytes(4, "big")
    else:
        payload = b"\x41" + b"".join(bytes((pid,)) + value(pid) for pid in asked if pid in ASKED)
    sender = transport.Sender(0xAA)
    sender.begin(payload)
    out = [(0x7E8, sender.frame(0))]
    sender.flow(transport.flow_control(), 0)
    while sender.busy():
        out.append((0x7E8, sender.frame(0)))
    return out


def hurt(draws, frames):
    """The frames with something done to them that no car should do."""
    frames = list(frames)
    what = draws.randrange(7)
    if what == 0 and frames:
        del frames[draws.randrange(len(frames))]
    elif what == 1 and frames:
        frames.insert(draws.randrange(len(frames)), draws.choice(frames))
    elif what == 2 and frames:
        at = draws.randrange(len(frames))
        frames[at] = (frames[at][0], frames[at][1][: draws.randrange(8)])
    elif what == 3:
        frames.insert(draws.randrange(len(frames) + 1), (draws.choice((0x7E8, 0x7EA, 0x123)), draws.randbytes(8)))
    elif what == 4 and frames:  # another parameter's number in front of the value
        who, data = frames[0]
        frames[0] = who, data[:2] + bytes((draws.randrange(256),)) + data[3:]
    elif what == 5:
        frames = [(0x7E8, bytes((3, 0x7F, 1, draws.choice((0x10, 0x11, 0x12, 0x21, 0x22, 0x31, 0x78)))) + bytes(4))]
    elif what == 6:
        frames = [(0x7E8, draws.randbytes(draws.randrange(9))) for _ in range(draws.randrange(5))]
    return frames


def driven(replies):
    draws = random.Random(5)
    clock = [0]
    count = [0]

    def answers(request):
        frames = true_answer(request)
        if clock[0] < 6_000_000:  # the car is found first
            return frames
        count[0] += 1
        if count[0] % 50 == 0:  # now and then a true answer, or it would be taken to sleep
            return frames
        return hurt(draws, frames)

    listed = [{"name": f"value_{pid:02x}", "kind": "obd", "pid": f"{pid:02X}", "hz": 50} for pid in ASKED]
    settings = config.defaults({"version": 1, "bus": {"ask": True, "kbit": 500}, "channels": listed})
    plan = build.make(settings)
    columns = bus_columns.BusColumns(plan.count)
    port = Port(clock, answers)
    one = car.Car(port, plan, columns, lambda: clock[0] & 0x3FFFFFFF)
    wanted = {}
    for at, pid in enumerate(ASKED):
        part = pids.described(pid)[1][0]
        wanted[at] = pids.raw_of(part, value(pid))
    cells = array("i", [0] * (2 * plan.count + 3))
    wrong = 0
    going = False
    while count[0] < replies:
        clock[0] += STEP_US
        port.look()
        one.turn()
        columns.put(cells, 0, clock[0] & 0x3FFFFFFF)
        for at in range(plan.count):
            if not columns.old[at] and cells[at] != wanted[at]:
                wrong += 1
                columns.old[at] = 1
        if not going and clock[0] > 6_000_000:
            going = True
            one.life = asking_on(one)
    return one, port, wrong, count[0]


def asking_on(one):
    """Whatever ends the asking, or refuses all of it: on it goes."""
    while True:
        one.tester = one.unanswered = False
        one.held.state = 3
        for _ in one.poller.run():
            yield
            if not max(one.poller.wanted):
                break
        yield


def test_some_hundred_hurt_answers():
    one, port, wrong, replies = driven(300)
    assert not wrong
    assert one.held.lost > 0 and {who for who, _ in port.sent} <= {0x7DF, 0x7E0}


@pytest.mark.slow
def test_a_hundred_thousand_hurt_answers():
    one, port, wrong, replies = driven(100_000)
    assert replies >= 100_000 and not wrong
    assert {who for who, _ in port.sent} <= {0x7DF, 0x7E0}
