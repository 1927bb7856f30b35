"""A bus controller beside the converter on the emulated board's SPI 1, and a car that answers behind it.

The controller is the register model of tests/firmware/can_chips.py. Every byte on the SPI is watched: two parts that
are selected at once, and an access that ends before its last byte, are counted.
"""

from __future__ import annotations

import importlib.util
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path

import parts

from shared_math.obd import pids

CHIPS = Path(__file__).resolve().parents[1] / "firmware" / "can_chips.py"
SELECT_GPIO, INTERRUPT_GPIO = 22, 21  # of firmware/boards/pin_table.py
CRYSTAL_MHZ, KBIT = 40, 500
ENGINE, GEARBOX = 0x7E8, 0x7E9
ANSWER_S = 0.020  # from a request to the first frame of its answer
FRAME_S = 0.00027  # eight bytes at 500 kbit/s, stuffed bits included
SIXTEEN = (0x0C, 0x0D, 0x0B, 0x0E, 0x04, 0x11, 0x05, 0x06, 0x07, 0x0F, 0x10, 0x33, 0x42, 0x44, 0x46, 0x5C)
CONVERSION_BYTES = 3


@dataclass
class Story:
    """single: the car answers one parameter a request, whatever was asked. drops: so many of its answers are lost
    after the rates were measured, evenly spread."""

    single: bool = False
    drops: int = 3


def _models():
    spec = importlib.util.spec_from_file_location("can_chips", CHIPS)
    module = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(module)
    return module


class SharedBus(parts.Bus):
    """A Bus that counts bytes for which more than one part was selected."""

    together = 0

    def _transmit(self, value: int) -> None:
        self.together += sum(pin.value.name == "LOW" for pin, _ in self.parts) > 1
        super()._transmit(value)


class Watched:
    """A part whose accesses are counted. whole(bytes of an access): whether it ended where it should."""

    def __init__(self, part, whole: Callable[[int], bool], after: Callable[[], None] = lambda: None) -> None:
        self.part = part
        self.whole = whole
        self.after = after
        self.accesses = self.torn = 0
        self.bytes = -1  # not selected

    def select(self, on: bool) -> None:
        if self.bytes > 0:
            self.accesses += 1
            self.torn += not self.whole(self.bytes)
        self.bytes = 0 if on else -1
        self.part.select(on)
        self.after()

    def exchange(self, byte: int) -> int:
        self.bytes += 1
        answer = self.part.exchange(byte)
        self.after()
        return answer


def value_of(pid: int, number: int) -> int:
    """What the car says of a parameter for the `number`th time: neither byte fits another number's."""
    high = number & 0xFF
    return high << 8 | (high ^ 0x5A) if pids.length_of(pid) == 2 else high


def number_of(pid: int, raw: int) -> int:
    """The number, below 256, that a value was said for; -1 where its two bytes were never said together."""
    high = raw >> 8 if pids.length_of(pid) == 2 else raw
    return high if value_of(pid, high) == raw else -1


class Car:
    """Two computers: the engine's, which answers 20 ms after a request, and a gearbox's, which knows no value.

    came(id, data): puts a frame on the bus. set_alarm(seconds, function): calls it then.
    """

    def __init__(self, story: Story, came, set_alarm: Callable[[float, Callable[[], None]], None]) -> None:
        self.story = story
        self.came = came
        self.set_alarm = set_alarm
        self.asked: list[bytes] = []  # requests to the engine's computer alone
        self.strange: list[tuple[int, bytes]] = []  # what no tester sends
        self.said = dict.fromkeys(SIXTEEN, 0)
        self.frames = 0  # of requests, answers and flow control
        self.to_drop = 0
        self.dropped = 0
        self.answers = 0
        self.waiting: dict[int, list[bytes]] = {}  # frames that wait for a flow control

    def wire(self, frame_id: int, data: bytes) -> str:
        """A frame of the logger's."""
        self.frames += 1
        if data[0] >> 4 == 3 and frame_id in (ENGINE - 8, GEARBOX - 8):
            self._go_on(frame_id + 8, data[2])
        elif 1 <= data[0] <= 7 and frame_id in (0x7DF, ENGINE - 8):
            request = data[1 : 1 + data[0]]
            if frame_id != 0x7DF:
                self.asked.append(request)
            self.set_alarm(ANSWER_S, lambda: self._answer(ENGINE, self._engine(request)))
            if frame_id == 0x7DF:
                self.set_alarm(ANSWER_S + 0.003, lambda: self._answer(GEARBOX, self._gearbox(request)))
        else:
            self.strange.append((frame_id, data))
        return "ack"

    def _engine(self, request: bytes) -> bytes:
        service = request[0]
        if service == 1 and len(request) == 2 and request[1] % 32 == 0:
            return bytes((0x41, request[1])) + self._mask(request[1])
        if request == b"\x01\x01":
            return b"\x41\x01\x01\x07\x65\x04"
        if service == 1:
            out = b"\x41"
            for pid in request[1:2] if self.story.single else request[1:]:
                self.said[pid] += 1
                out += bytes((pid,)) + value_of(pid, self.said[pid]).to_bytes(pids.length_of(pid), "big")
            return out
        return {3: b"\x43\x01\x01\x71", 7: b"\x47\x00", 0x0A: b"\x4a\x00", 2: b"\x42\x02\x00\x00\x00"}[service]

    def _gearbox(self, request: bytes) -> bytes:
        if request == b"\x01\x00":
            return b"\x41\x00" + bytes(4)
        return {3: b"\x43\x00", 7: b"\x47\x00", 0x0A: b"\x4a\x00"}.get(request[0], b"")

    def _mask(self, first: int) -> bytes:
        known = [pid - first for pid in (0x01, *SIXTEEN) if first < pid <= first + 32]
        more = any(pid > first + 32 for pid in SIXTEEN)
        return (sum(1 << 32 - at for at in known) | more).to_bytes(4, "big")

    def _answer(self, who: int, payload: bytes) -> None:
        if not payload:
            return
        self.answers += 1
        if who == ENGINE and self.to_drop and payload[0] == 0x41:
            self.to_drop -= 1
            self.dropped += 1
            return
        if len(payload) <= 7:
            self._send(who, bytes((len(payload),)) + payload)
            return
        rest = [payload[at : at + 7] for at in range(6, len(payload), 7)]
        self.waiting[who] = [bytes((0x20 | n & 15,)) + data for n, data in enumerate(rest, 1)]
        self._send(who, bytes((0x10 | len(payload) >> 8, len(payload) & 0xFF)) + payload[:6])

    def _go_on(self, who: int, separation_ms: int) -> None:
        apart_s = max(FRAME_S, separation_ms / 1000)
        for n, data in enumerate(self.waiting.pop(who, ()), 1):
            self.set_alarm(n * apart_s, lambda data=data: self._send(who, data))

    def _send(self, who: int, data: bytes) -> None:
        self.frames += 1
        self.came(who, data + bytes(8 - len(data)))


class BusRig:
    """Both on a board. chip: chip.Chip. bus: the SharedBus to hang on. converter: the part to watch beside them."""

    def __init__(self, chip, bus: SharedBus, converter, converter_gpio: int, story: Story) -> None:
        self.chip = chip
        self.bus = bus
        self.alarms: set = set()
        self.level = True
        self.model = _models().Mcp2518fdModel(CRYSTAL_MHZ, KBIT, lambda: int(chip.clock.nanos // 1000))
        self.car = Car(story, self._came, self._set_alarm)
        self.model.wire = self.car.wire
        self.converter = Watched(converter, lambda count: count == CONVERSION_BYTES)
        self.controller = Watched(self.model, self._whole, self._show)
        bus.attach(self.converter, converter_gpio)
        bus.attach(self.controller, SELECT_GPIO)
        chip.set_pin(INTERRUPT_GPIO, True)

    def measure(self, seconds: float) -> None:
        """So long are the rates measured from now on."""
        self.began_s = self.chip.now_s
        self.asked_before, self.frames_before = len(self.car.asked), self.car.frames
        self._set_alarm(seconds, self._end)

    def lose(self, seconds: float) -> None:
        """The story's answers are lost in so long from now on."""
        for n in range(self.car.story.drops):
            self._set_alarm(seconds * (n + 0.5) / self.car.story.drops, self._drop)

    def _drop(self) -> None:
        self.car.to_drop += 1

    def _end(self) -> None:
        self.seconds = self.chip.now_s - self.began_s
        self.asked = len(self.car.asked) - self.asked_before
        self.frames = self.car.frames - self.frames_before

    def _whole(self, count: int) -> bool:
        """An access of the driver's: a reset, or two bytes of instruction with something behind them."""
        return count == 2 if self.model.order == 0 else count > 2

    def _came(self, frame_id: int, data: bytes) -> None:
        self.model.came(frame_id, data)
        self._show()

    def _show(self) -> None:
        """The interrupt pin as the chip has it."""
        level = bool(self.model.pin())
        if level != self.level:
            self.level = level
            self.chip.set_pin(INTERRUPT_GPIO, level)

    def _set_alarm(self, after_s: float, act: Callable[[], None]) -> None:
        def fire() -> None:
            self.alarms.discard(alarm)
            act()

        alarm = self.chip.clock.create_alarm(fire)
        self.alarms.add(alarm)
        alarm.schedule(after_s * 1e9)
