"""Drivers of bus controllers against register models of the chips, on an SPI that the row interrupt uses too."""

import sys

import micropython
from can_chips import EXTENDED, Mcp2515Model, Mcp2518fdModel


class Machine:
    """Interrupts that can be held back, and pins."""

    def __init__(self):
        self.enabled = True
        self.rows = None  # called wherever an interrupt may come
        self.waiting = []

    def disable_irq(self):
        before = self.enabled
        self.enabled = False
        return before

    def enable_irq(self, state):
        self.enabled = state
        self.moment()

    def moment(self):
        """An interrupt may come here."""
        if self.enabled:
            if self.rows:
                self.enabled = False  # one does not interrupt another
                self.rows()
                self.enabled = True
            while self.waiting and self.enabled:
                handler = self.waiting.pop(0)
                self.enabled = False
                handler(None)
                self.enabled = True


MACHINE = Machine()


class Module:
    class Pin:
        IRQ_FALLING = 4

    disable_irq = staticmethod(lambda: MACHINE.disable_irq())
    enable_irq = staticmethod(lambda state: MACHINE.enable_irq(state))


sys.modules["machine"] = Module

from bus import link  # noqa: E402
from drivers import mcp33, mcp2515, mcp2518fd  # noqa: E402


class Converter:
    """An MCP3208 that answers the same for ever, and tells a torn reading."""

    def __init__(self):
        self.selected = False
        self.seen = 0

    def select(self, on):
        self.selected = on
        self.seen = 0

    def exchange(self, _byte):
        self.seen += 1
        return (0xFF, 0x0A, 0xBC)[self.seen - 1]


class Spi:
    """The parts of one bus; two selected at once is what must never be."""

    def __init__(self, *parts):
        self.parts = parts

    def write_readinto(self, out, answer):
        chosen = [part for part in self.parts if part.selected]
        assert len(chosen) == 1, "%d parts are selected at once" % len(chosen)
        for n in range(len(out)):
            MACHINE.moment()
            answer[n] = chosen[0].exchange(out[n])
        MACHINE.moment()

    def select(self, part):
        def pin(level):
            MACHINE.moment()
            part.select(level == 0)
            MACHINE.moment()

        return pin


class Bench:
    def __init__(self, kind, crystal_mhz=16, kbit=500):
        MACHINE.rows = None
        MACHINE.enabled = True
        MACHINE.waiting = []
        self.us = 0x3FFFF000  # wraps soon
        model, driver = {
            "mcp2518fd": (Mcp2518fdModel, mcp2518fd.Mcp2518fd),
            "mcp2515": (Mcp2515Model, mcp2515.Mcp2515),
        }[kind]
        self.chip = model(crystal_mhz, kbit, lambda: self.us)
        self.converter = Converter()
        self.spi = Spi(self.chip, self.converter)
        self.read = mcp33.Mcp3208(self.spi, self.spi.select(self.converter)).reader(0, None)
        self.chip.handler = lambda _pin: MACHINE.waiting.append(self.handler)
        self.handler = lambda _pin: None
        bench = self

        class Interrupt:
            def irq(self, handler, _trigger):
                bench.handler = handler

            def __call__(self):
                return bench.chip.pin()

        self.port = driver(self.spi, self.spi.select(self.chip), Interrupt(), self.ticks_us, crystal_mhz, {})

    def ticks_us(self):
        return self.us & 0x3FFFFFFF

    def taken(self):
        out = []
        while self.port.take(self.port.frame):
            frame = self.port.frame
            self.port.done(frame)
            out.append((frame.id, bytes(frame.data[: frame.length]), frame.tick))
        return out


CHIPS = ("mcp2518fd", "mcp2515")
ANSWERS = ((0x7E8, 0x7F8 | EXTENDED), (0x18DAF100 | EXTENDED, 0x1FFFFF00 | EXTENDED))


def test_rates_and_modes():
    for kind in CHIPS:
        for crystal in (8, 16, 20) if kind == "mcp2515" else (4, 20, 40):
            for kbit in (500, 250):
                bench = Bench(kind, crystal, kbit)
                assert bench.port.listen(kbit, None) and not bench.chip.sending()
                assert bench.chip.kbit() == kbit, (kind, crystal, bench.chip.kbit())
                assert bench.port.normal(kbit, None) and bench.chip.sending()


def test_a_chip_that_is_not_there_is_told():
    for kind in CHIPS:
        bench = Bench(kind)
        bench.chip.exchange = lambda _byte: 0xFF
        assert not bench.port.listen(500, None)


def test_frames_come_with_id_length_and_time():
    for kind in CHIPS:
        bench = Bench(kind)
        bench.port.on_frames(lambda _pin: None)
        bench.port.listen(500, None)
        frames = [(0x7E8, b"\x03\x41\x0d\x32"), (0x18DAF110 | EXTENDED, bytes(range(8)))]
        for who, data in frames:
            bench.chip.came(who, data)
        arrived = bench.ticks_us()
        bench.us += 5000  # the tick wraps meanwhile
        got = bench.taken()
        assert [one[:2] for one in got] == frames, (kind, got)
        if kind == "mcp2518fd":
            assert all([(one[2] - arrived) & 0x3FFFFFFF <= 1 for one in got])
        assert bench.taken() == []


def test_filters_pass_what_is_wanted():
    for kind in CHIPS:
        bench = Bench(kind)
        bench.port.listen(500, ANSWERS)
        asked = (0x7E8, 0x123, 0x7EF, 0x7E0, 0x18DAF133 | EXTENDED, 0x7E8 | EXTENDED, 0x18DAF233 | EXTENDED)
        got = []
        for who in asked:
            bench.chip.came(who, b"\1")
            got += [one[0] for one in bench.taken()]
        assert got == [0x7E8, 0x7EF, 0x18DAF133 | EXTENDED], (kind, got)
        bench.port.listen(500, ())
        bench.chip.came(0x7E8, b"\1")
        assert bench.taken() == []


def test_sending_once_and_what_became_of_it():
    for kind in CHIPS:
        bench = Bench(kind)
        bench.port.normal(500, None)
        result = "ack"
        bench.chip.wire = lambda _who, _data: result  # noqa: B023
        for who in (0x7DF, 0x18DB33F1 | EXTENDED):
            bench.port.send(who, b"\x02\x01\x00" + bytes(5))
            assert bench.chip.sent.pop() == (who, b"\x02\x01\x00" + bytes(5)) and not bench.port.failed()
        result = "lost"
        bench.port.send(0x7DF, bytes(8))
        assert not bench.port.failed()  # somebody else was more important: no error
        result = "none"
        bench.port.send(0x7DF, bytes(8))
        assert bench.port.failed() and bench.port.errors() == 8
        assert len(bench.chip.sent) == 2  # each once
        bench.chip.rec = 130
        assert bench.port.errors() == 130
        bench.chip.off = True
        assert bench.port.errors() == 256


def test_nothing_is_ever_sent_while_listening():
    for kind in CHIPS:
        bench = Bench(kind)
        for _ in range(2):
            bench.port.listen(500, None)
            try:
                bench.port.send(0x7DF, bytes(8))
                raise AssertionError("sent")
            except RuntimeError:
                pass
            bench.port.normal(500, None)
        assert bench.chip.sent == []


def test_overflow_is_counted():
    for kind, room in (("mcp2518fd", 32), ("mcp2515", 2)):
        bench = Bench(kind)
        bench.port.on_frames(lambda _pin: None)
        bench.port.listen(500, None)
        for n in range(room + 3):
            bench.chip.came(0x100 + n, b"\1\2")
        assert [one[0] for one in bench.taken()] == [0x100 + n for n in range(room)]
        assert bench.port.missed() == 1 and bench.chip.overflows == 3
        bench.chip.came(0x7E8, b"\1")
        assert bench.taken()[0][0] == 0x7E8 and bench.port.missed() == 1


def test_neither_conversion_nor_frame_is_torn():
    """The row interrupt reads a converter at every moment at which interrupts are on, and frames come meanwhile."""
    for kind in CHIPS:
        bench = Bench(kind)
        held = link.Link(bench.port, bench.ticks_us, 136)
        bench.port.normal(500, None)
        held.may_send = True
        bench.chip.wire = lambda _who, _data: "ack"
        read = [0]

        def row():
            read[0] += 1  # noqa: B023
            assert bench.read() == 0xABC  # noqa: B023

        MACHINE.rows = row
        for n in range(40):
            data = bytes([3, 0x41, 0x0D, n, n, n, n, n])
            request = held.requests[held.next_tag() & 1]
            request[:] = bytes([2, 1, 0x0D, n, 0, 0, 0, 0])
            held.lay(0x7E0, 0x7E8)
            held.send()
            assert bench.chip.sent.pop() == (0x7E0, bytes(request))
            bench.chip.came(0x7E8, data)
            assert not bench.port.failed() and not bench.port.errors()
            at = held.tail & link.SLOTS - 1
            assert held.ids[at] == 0x7E8 and bytes(held.data[8 * at : 8 * at + 8]) == data
            held.tail += 1
            assert held.tail == held.head and not held.waiting
        assert read[0] >= 200
        MACHINE.rows = None


def test_the_bench_would_tell_a_torn_frame():
    for kind in CHIPS:
        bench = Bench(kind)
        bench.port.normal(500, None)
        MACHINE.rows = bench.read
        hold = Machine.disable_irq
        Machine.disable_irq = lambda self: True
        try:
            bench.port.failed()
            told = False
        except AssertionError:
            told = True
        finally:
            Machine.disable_irq = hold
            MACHINE.rows = None
        assert told, kind


def test_flow_control_leaves_from_the_interrupt():
    for kind in CHIPS:
        bench, held = sending(kind)
        held.lay(0x7E0, 0x7E8)
        held.send()
        laid(held, 5)
        laid(held, 6)
        assert not held.may_lay()
        bench.us += 21000
        bench.chip.came(0x7E8, b"\x10\x0c\x41\x00\x01\x02\x03\x04")
        MACHINE.moment()
        assert bench.chip.sent[-1] == (0x7E0, b"\x30" + bytes(7))
        bench.chip.came(0x7E8, b"\x21\x05\x06\x07\x08\x09\x0a\x00")
        MACHINE.moment()
        assert bench.chip.sent[-1] == (0x7E0, asks(5)) and len(bench.chip.sent) == 3
        bench.us += 21000  # the main loop has not come by meanwhile
        bench.chip.came(0x7E8, b"\x03\x41\x05\x32" + bytes(4))
        MACHINE.moment()
        assert bench.chip.sent[-1] == (0x7E0, asks(6)) and len(bench.chip.sent) == 4
        bench.us += 21000
        bench.chip.came(0x7E8, b"\x03\x41\x06\x32" + bytes(4))
        MACHINE.moment()
        assert len(bench.chip.sent) == 4 and not held.waiting
        tags = [held.tags[at] for at in range(held.head)]
        assert tags == [1, 1, 2, 3]  # each answer is its own request's


def sending(kind):
    """(bench, link) of a chip that may send, and what it sends is acknowledged."""
    bench = Bench(kind)
    held = link.Link(bench.port, bench.ticks_us, 136)
    bench.port.normal(500, None)
    held.may_send = True
    bench.chip.wire = lambda _who, _data: "ack"
    return bench, held


def asks(pid):
    return bytes([2, 1, pid, 0, 0, 0, 0, 0])


def laid(held, pid):
    """Lay a request ready."""
    held.requests[held.next_tag() & 1][:] = asks(pid)
    held.lay(0x7E0, 0x7E8)


def test_what_is_given_up_is_not_sent_later():
    bench, held = sending("mcp2518fd")
    for pid in (4, 5):
        laid(held, pid)
    held.send()
    held.silent()
    bench.us += 21000
    bench.chip.came(0x7E8, b"\x03\x41\x04\x32" + bytes(4))
    MACHINE.moment()
    assert len(bench.chip.sent) == 1 and held.laid == held.tag


def test_flow_control_to_two_units_while_a_third_holds_the_bus():
    bench = Bench("mcp2515")
    held = link.Link(bench.port, bench.ticks_us, 136)
    bench.port.normal(500, None)
    held.may_send = True
    bench.chip.wire = lambda _who, _data: "ack"
    held.lay(0x7DF, -1)
    held.send()
    bench.chip.wire = lambda _who, _data: "busy"
    for who in (0x7E8, 0x7EA):
        bench.chip.came(who, b"\x10\x0c\x43\x05\x01\x71\x01\x35")
        MACHINE.moment()
    for _ in range(3):  # more than it can hold: no frame that waits is overwritten
        bench.port.send(0x7E7, bytes(8))
    bench.chip.wire = lambda _who, _data: "ack"
    bench.chip.go_on()
    assert sorted([who for who, _ in bench.chip.sent]) == [0x7DF, 0x7E0, 0x7E2, 0x7E7], bench.chip.sent
    bench.chip.wire = lambda _who, _data: "none"
    bench.port.send(0x7E0, bytes(8))
    assert bench.port.failed()


def test_taking_and_sending_allocate_nothing():
    class Still:
        """Answers with one frame for ever: the models allocate themselves."""

        def write_readinto(self, out, answer):
            for n in range(len(answer)):
                answer[n] = 0
            if len(answer) == 8:
                answer[2] = 1
            if len(answer) == 2:
                answer[1] = 1

    class Nobody:
        def irq(self, *_):
            pass

        def __call__(self):
            return 1

    for kind in (mcp2518fd.Mcp2518fd, mcp2515.Mcp2515):
        port = kind(Still(), lambda _level: None, Nobody(), lambda: 5, 16, {})
        port.may_send = True
        data = bytes(8)
        MACHINE.rows = None
        micropython.heap_lock()
        try:
            for _ in range(20):
                port.take(port.frame)
                port.done(port.frame)
                port.send(0x7E0, data)
                port.failed()
                port.errors()
        finally:
            micropython.heap_unlock()


def test_an_exchange_at_a_clock_of_its_own_leaves_the_other_as_it_was():
    from array import array

    from drivers import viper_exchange

    ssp = array("I", [0x3D07, 2, 0, 4])  # what is written is received
    exchange = viper_exchange.Exchange(ssp).exchange
    ask, answer = bytes([1, 2, 0xC3]), bytearray(3)
    micropython.heap_lock()
    try:
        exchange(ask, answer)
    finally:
        micropython.heap_unlock()
    assert answer == ask and list(ssp) == [0x3D07, 2, 0xC3, 4]
    ssp[3] = 0x10  # nothing is ever received: it ends all the same
    exchange(ask, answer)
    assert ssp[0] == 0x3D07 and ssp[1] == 2
