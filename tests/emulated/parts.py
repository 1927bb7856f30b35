"""What hangs on the board's SPI buses: an SD card and a converter, modelled from their public data sheets."""

from __future__ import annotations

from collections.abc import Callable, Generator

SECTOR = 512


class Bus:
    """One SPI block of the chip with the parts on it; a byte takes its time on the wire."""

    def __init__(self, chip, number: int) -> None:
        self.spi = chip.spi[number]
        self.chip = chip
        self.parts: list[tuple] = []
        self.alarm = chip.clock.create_alarm(lambda: self.spi.complete_transmit(self.answer))
        self.answer = 0xFF
        self.spi.on_transmit = self._transmit

    def attach(self, part, select_gpio: int) -> None:
        """`part` is selected while the pin is low."""
        pin = self.chip.gpio[select_gpio]
        self.parts.append((pin, part))
        pin.add_listener(lambda new, _old: part.select(new.name == "LOW"))

    def _transmit(self, value: int) -> None:
        self.answer = 0xFF
        for pin, part in self.parts:
            if pin.value.name == "LOW":
                self.answer &= part.exchange(value & 0xFF)
        self.alarm.schedule(self.spi.data_bits / (self.spi.clock_frequency or 1e6) * 1e9)


class SdCard:
    """A high-capacity card in SPI mode (SD Physical Layer Simplified Specification, chapter 7) over a bytearray.

    busy_us: after each block written; stalls: iterator of (time in s, length in s): the first write that ends at or
    after that time keeps the card busy so long. there: it is in the socket. refusing: no write is taken. stuck: busy
    for ever.
    """

    def __init__(self, clock, image: bytearray, busy_us: float = 1000, stalls=()) -> None:
        self.clock = clock
        self.image = image
        self.busy_us = busy_us
        self.stalls = iter(stalls)
        self.next_stall = next(self.stalls, None)
        self.stalled: list[tuple[float, float]] = []
        self.busy_until = 0.0
        self.writes: list[tuple[float, int]] = []  # (time in s, sector)
        self.reads = 0
        self.awake = False
        self.there = True
        self.refusing = False
        self.stuck = False
        self.refused = 0
        self.talk = self._talk()
        self.offered = next(self.talk)

    def pull_out(self) -> None:
        self.there = False

    def push_in(self) -> None:
        """As it was, and asleep."""
        self.there = True
        self.awake = self.refusing = self.stuck = False
        self.busy_until = 0.0
        self.select(True)

    def select(self, on: bool) -> None:
        if on:
            self.talk = self._talk()
            self.offered = next(self.talk)

    def exchange(self, byte: int) -> int:
        if not self.there:
            return 0xFF
        if self.stuck:
            return 0x00
        answer = self.offered
        if answer is None:  # nothing to say: the line shows whether the card is busy
            answer = 0x00 if self.clock.nanos < self.busy_until else 0xFF
        self.offered = self.talk.send(byte)
        return answer

    def _talk(self) -> Generator[int | None, int, None]:
        """Yields what is sent during the next byte, gets that byte."""
        while True:
            first = yield None
            if first & 0xC0 == 0x40:
                rest = []
                for _ in range(5):
                    rest.append((yield 0xFF))
                yield from self._obey(first & 0x3F, int.from_bytes(rest[:4], "big"))

    def _obey(self, order: int, argument: int) -> Generator[int | None, int, None]:
        yield 0xFF
        if order == 0:
            self.awake = False
        elif order == 41:
            self.awake = True
        yield 0 if self.awake else 1
        if order == 8:
            yield from _say(argument.to_bytes(4, "big"))
        elif order == 58:
            yield from _say((0xC0, 0xFF, 0x80, 0x00))
        elif order == 13:
            yield 0
        elif order == 9:
            yield from self._packet(self._size())
        elif order == 17:
            self.reads += 1
            yield from self._packet(self.image[argument * SECTOR : (argument + 1) * SECTOR])
        elif order == 24:
            yield from self._take(argument)

    def _packet(self, data) -> Generator[int | None, int, None]:
        yield 0xFF
        yield 0xFE
        yield from _say(data)
        yield 0
        yield 0

    def _take(self, sector: int) -> Generator[int | None, int, None]:
        while (yield 0xFF) != 0xFE:
            pass
        data = bytearray()
        for _ in range(SECTOR + 2):
            data.append((yield 0xFF))
        if self.refusing:
            self.refused += 1
            yield 0xED
            return
        self.image[sector * SECTOR : (sector + 1) * SECTOR] = data[:SECTOR]
        now_s = self.clock.nanos * 1e-9
        self.writes.append((now_s, sector))
        busy_s = self.busy_us * 1e-6
        if self.next_stall and now_s >= self.next_stall[0]:
            busy_s = self.next_stall[1]
            self.stalled.append((now_s, busy_s))
            self.next_stall = next(self.stalls, None)
        self.busy_until = self.clock.nanos + busy_s * 1e9
        yield 0xE5

    def _size(self) -> bytes:
        units = len(self.image) // SECTOR // 1024 - 1
        return bytes(
            (0x40, 14, 0, 0x32, 0x5B, 0x59, 0, units >> 16, units >> 8 & 255, units & 255, 0x7F, 128, 10, 64, 0, 1)
        )


def _say(data) -> Generator[int, int, None]:
    for at in range(len(data)):  # a plain iterator can't be handed the bytes that come in meanwhile
        yield data[at]


class SpiConverter:
    """A converter of the MCP3208 kind (8 inputs, 12 bits) or MCP3304 kind (differential, sign and 12 bits).

    counts_of(channel, single_ended, time in s) is asked at the sample clock. Every conversion is kept in `taken`.
    """

    def __init__(self, clock, counts_of: Callable[[int, bool, float], int], bits: int = 12) -> None:
        self.clock = clock
        self.counts_of = counts_of
        self.bits = bits  # 13 for the signed kind: sent as two's complement
        self.taken: list[tuple[float, int, int]] = []
        self.select(True)

    def select(self, _on: bool) -> None:
        self.seen = 0  # clocks since the start bit, 0 before it
        self.order = 0
        self.value = 0

    def exchange(self, byte: int) -> int:
        answer = 0
        for place in range(7, -1, -1):
            answer = answer << 1 | self._clock(byte >> place & 1)
        return answer

    def _clock(self, bit: int) -> int:
        """One clock: start, SGL/DIFF, D2, D1, D0, sample, null, then the value from its top bit on."""
        if self.seen == 0:
            self.seen = bit
            return 1
        self.seen += 1
        if self.seen <= 5:
            self.order = self.order << 1 | bit
            return 1
        if self.seen == 6:
            now_s = self.clock.nanos * 1e-9
            self.value = self.counts_of(self.order & 7, bool(self.order & 8), now_s)
            self.taken.append((now_s, self.order & 7, self.value))
            return 1
        place = self.bits + 7 - self.seen
        return self.value >> place & 1 if 0 <= place < self.bits else 0
