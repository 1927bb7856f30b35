"""Faults of rp2040py 0.3.6 that would make figures wrong, mended: the ADC's round robin, the pace of PIO, flash in no
time.

Register names and timings: RP2040 datasheet, chapters 3 (PIO), 4.9 (ADC), 4.10 (SSI).
"""

from __future__ import annotations

from rp2040py.peripherals import adc, ssi

NANOS_PER_CYCLE = 8  # 125 MHz
ADC_CLOCKS = 96  # of a conversion, at 48 MHz
ADC_CLOCK_NANOS = 1000 / 48


class RoundRobinAdc(adc.RPADC):
    """Goes through all channels of the round robin (the package stays on channel 0) at the divider's pace."""

    def complete_adc_read(self, value: int, error: bool) -> None:
        self.busy = False
        self.result = value & 0xFFF
        if self.fcs & adc.FCS_EN:
            if self.fifo.full:
                self.fcs |= adc.FCS_OVER
            else:
                self.fifo.push(self.result >> 4 if self.fcs & adc.FCS_SHIFT else self.result)
                self._update_dma()
                self.check_interrupts()
        self._next_channel()
        if self.cs & adc.CS_START_MANY:
            clocks = 1 + self.clock_div / 256 - ADC_CLOCKS  # the divider's register has 8 bits of fraction
            if clocks > 0:
                self.multi_shot_alarm.schedule(clocks * ADC_CLOCK_NANOS)
            else:
                self.start_adc_read()

    def _next_channel(self) -> None:
        members = (self.cs >> adc.CS_RROBIN_SHIFT) & adc.CS_RROBIN_MASK
        if not members:
            return
        channel = (self.cs >> adc.CS_AINSEL_SHIFT) & adc.CS_AINSEL_MASK
        for step in range(1, self.num_channels + 1):
            following = (channel + step) % self.num_channels
            if members >> following & 1:
                self.cs = self.cs & ~(adc.CS_AINSEL_MASK << adc.CS_AINSEL_SHIFT) | following << adc.CS_AINSEL_SHIFT
                return

    def read_uint32(self, offset: int) -> int:
        if offset == adc.FIFO_REG and self.fifo.empty:
            self.rp2040.dma.clear_dreq(self.dreq)  # else a DMA that came too often reads for ever in no time
        return super().read_uint32(offset)


def mend_adc(chip, volts_of) -> None:
    """Conversions ask `volts_of(channel, time in s)` for counts at their beginning, 0 to 4095."""
    converter = chip.adc
    converter.__class__ = RoundRobinAdc

    def convert(channel: int) -> None:
        converter.current_channel = channel
        converter.channel_values[channel] = volts_of(channel, chip.clock.nanos * 1e-9)
        converter.sample_alarm.schedule(ADC_CLOCKS * ADC_CLOCK_NANOS)

    converter.on_adc_read = convert


LOOP = 2  # cycles of a loop that does nothing but count x down
WORTH = 16  # cycles left for which it pays to look for one


class PacedPio:
    """Stands where a PIO block stood, so that it runs by the clock and not by the number of CPU instructions.

    The emulator's loop sees it stopped. It catches up with the clock before every access and every injected edge, soon
    after such an edge, and at least every PACE_NANOS: a word that comes of anything else waits that long for its DMA or
    interrupt. Loops of two cycles in which all machines only count x down are taken in one go.
    """

    PACE_NANOS = 1000000
    SOON_NANOS = 200  # a program of drivers/pio_edges.py has pushed an edge's word by then
    stopped = True

    def __init__(self, block, clock) -> None:
        self.block = block
        self.clock = clock
        self.cycles_done = 0
        self.alarm = clock.create_alarm(self._turn)

    def __getattr__(self, name):
        return getattr(self.block, name)

    def catch_up(self) -> None:
        """Run all cycles up to now, each state machine's instruction at its own time."""
        due = int(self.clock.nanos / NANOS_PER_CYCLE + 1e-6)
        left = due - self.cycles_done
        self.cycles_done = due
        block = self.block
        while left > 0 and not block.stopped:
            ahead = -((block.cycle_fp - block.next_due_fp) // 256)
            if ahead > 1 or left < WORTH:
                step = left if ahead > left else max(ahead, 1)
                block.advance(step)
                left -= step
            else:
                left -= self._look_for_loop(left)

    def _look_for_loop(self, left: int) -> int:
        """Run one round of a loop and, if it was one, all rounds that fit; the cycles that this took."""
        block = self.block
        running = [one for one in block.machines if one.enabled and not one.waiting]
        before = [(one.pc, one.x - 1, one.rx_fifo.item_count) for one in running]
        for _ in range(LOOP):
            block.advance(1)
        after = [(one.pc, one.x, one.rx_fifo.item_count) for one in running]
        if after != before or any(one.div_fp != 256 or one.waiting for one in running):
            return LOOP
        rounds = min((left - LOOP) // LOOP, *(one.x - LOOP for one in running))
        if rounds <= 0:
            return LOOP
        cycles = LOOP * rounds
        for one in running:
            one.x -= rounds
            one.cycles += cycles
            one.next_due_fp += cycles << 8
        block.cycle_fp += cycles << 8
        block.recompute_due()
        return LOOP + cycles

    def look_soon(self) -> None:
        """A pin has changed: what comes of it is seen soon."""
        if not self.block.stopped:
            self.alarm.schedule(self.SOON_NANOS)

    def _turn(self) -> None:
        self.catch_up()
        if not self.block.stopped:
            self.alarm.schedule(self.PACE_NANOS)

    def read_uint32(self, offset: int) -> int:
        self.catch_up()
        return self.block.read_uint32(offset)

    def write_uint32(self, offset: int, value: int) -> None:
        self._written(lambda: self.block.write_uint32(offset, value))

    def write_uint32_atomic(self, offset: int, value: int, kind) -> None:
        self._written(lambda: self.block.write_uint32_atomic(offset, value, kind))

    def _written(self, write) -> None:
        self.catch_up()
        was_stopped = self.block.stopped
        write()
        if was_stopped and not self.block.stopped:
            self.alarm.schedule(self.PACE_NANOS)


PIO_AT = (0x50200, 0x50300)  # on the bus, in units of 16 kB


def mend_pio(chip) -> list[PacedPio]:
    """Both blocks replaced; returns them, to be caught up before an edge is injected."""
    paced = [PacedPio(block, chip.clock) for block in chip.pio]
    for n, block in enumerate(paced):
        chip.pio[n] = block
        chip.peripherals[PIO_AT[n]] = block
    return paced


class FlashTimes:
    """Makes the flash chip busy for as long as erasing and programming take; counts both."""

    def __init__(self, chip, program_us: float, erase_us: float) -> None:
        self.clock = chip.clock
        self.busy_until = 0.0
        self.erased = 0
        self.programmed = 0
        self.cost_us = {
            ssi.CMD_PAGE_PROGRAM: program_us,
            ssi.CMD_SECTOR_ERASE: erase_us,
            ssi.CMD_BLOCK_ERASE: 4 * erase_us,
        }
        controller = chip.ssi
        apply, shift = controller._apply_command, controller._shift_byte

        def timed_apply() -> None:
            order = controller._tx_buffer[0] if controller._tx_buffer else None
            allowed = controller._write_enabled
            apply()
            if allowed and order in self.cost_us:
                self.busy_until = self.clock.nanos + 1000 * self.cost_us[order]
                self.programmed += order == ssi.CMD_PAGE_PROGRAM
                self.erased += order != ssi.CMD_PAGE_PROGRAM

        def timed_shift(byte: int) -> int:
            answer = shift(byte)
            buffer = controller._tx_buffer
            asked = len(buffer) > 1 and buffer[0] == ssi.CMD_READ_STATUS_1
            return answer | 1 if asked and self.clock.nanos < self.busy_until else answer

        controller._apply_command = timed_apply
        controller._shift_byte = timed_shift
