"""Drivers of external converters against chips modelled bit by bit and byte by byte. Runs under MicroPython.

Frames: MCP3208 data sheet DS21298, figures 5-1 and 6-1; MCP3304 data sheet DS21697, figures 5-1 and 6-1; ADS1115 data
sheet SBAS444, registers.
"""

from array import array

import micropython

from drivers import ads1115, mcp33, viper_spi

TOP_3208 = 4095
TOP_3304 = 8191


class SpiChip:
    """Answers clock by clock. bits: of an answer after the null bit; wait: clocks between the last asked bit and the
    null."""

    def __init__(self, bits, wait):
        self.bits = bits
        self.wait = wait
        self.volts = {}  # code of four bits (single, D2, D1, D0) -> answer, an integer of `bits` bits
        self.there = True
        self.selected = False
        self.clear()

    def clear(self):
        self.asked = []
        self.after = 0
        self.codes = []

    def cs(self, level):
        self.selected = level == 0
        self.clear()

    def clock(self, bit):
        """One clock: takes a bit, gives the one that the master samples."""
        if not self.selected or not self.there:
            return 1  # the line is pulled up
        if len(self.asked) < 5:
            if self.asked or bit:
                self.asked.append(bit)
            return 1
        self.after += 1
        place = self.after - self.wait
        if place < 0:
            return 1
        if place == 0:
            return 0  # the null bit
        code = self.asked[1] << 3 | self.asked[2] << 2 | self.asked[3] << 1 | self.asked[4]
        return self.volts.get(code, 0) >> (self.bits - place) & 1 if place <= self.bits else 0

    def write_readinto(self, out, answer):
        for n in range(len(out)):
            byte = 0
            for shift in range(7, -1, -1):
                byte = byte << 1 | self.clock(out[n] >> shift & 1)
            answer[n] = byte


def test_mcp3208_each_input_against_ground():
    chip = SpiChip(12, 2)
    driver = mcp33.Mcp3208(chip, chip.cs)
    for number in range(8):
        chip.volts[8 | number] = 500 * number + 7
    reads = [driver.reader(number, None) for number in range(8)]
    assert [read() for read in reads] == [500 * number + 7 for number in range(8)]
    assert not chip.selected
    assert not driver.trouble()


def test_mcp3304_differences_both_ways_and_single_inputs():
    chip = SpiChip(13, 2)
    driver = mcp33.Mcp3304(chip, chip.cs)
    for pair in range(4):
        chip.volts[2 * pair] = -1000 * pair & 0x1FFF  # even input positive
        chip.volts[2 * pair + 1] = 1000 * pair & 0x1FFF
    chip.volts[8 | 5] = 4095
    assert [driver.reader(2 * pair, 2 * pair + 1)() - 4096 for pair in range(4)] == [0, -1000, -2000, -3000]
    assert [driver.reader(2 * pair + 1, 2 * pair)() - 4096 for pair in range(4)] == [0, 1000, 2000, 3000]
    assert driver.reader(5, None)() == 4096 + 4095
    chip.volts[0] = 0x1000  # the most negative
    assert driver.reader(0, 1)() == 0


def test_nothing_on_the_line_is_told_and_reads_as_the_end_of_the_range():
    for make, bits, top in ((mcp33.Mcp3208, 12, TOP_3208), (mcp33.Mcp3304, 13, TOP_3304)):
        chip = SpiChip(bits, 2)
        driver = make(chip, chip.cs)
        read = driver.reader(0, None)
        chip.volts[8] = 77
        read()
        assert not driver.trouble()
        chip.there = False
        assert read() == top
        assert driver.trouble()
        chip.there = True
        read()
        assert not driver.trouble()


def test_a_line_that_stays_low_is_told():
    class Low(SpiChip):
        def clock(self, bit):
            return 0

    chip = Low(12, 2)
    driver = mcp33.Mcp3208(chip, chip.cs)
    for number in range(8):
        assert driver.reader(number, None)() == 0
    assert driver.trouble()


def test_spi_reading_allocates_nothing():
    class Still:
        """Answers always the same: the model above allocates itself."""

        def write_readinto(self, out, answer):
            answer[1] = 0x0A
            answer[2] = 0xBC

    for make, counts in ((mcp33.Mcp3208, 0xABC), (mcp33.Mcp3304, 0x1ABC)):
        driver = make(Still(), lambda level: None)
        read = driver.reader(3, None)
        got = 0
        micropython.heap_lock()
        try:
            for _ in range(20):
                got = read()
        finally:
            micropython.heap_unlock()
        assert got == counts


class Registers:
    """Words where the RP2's SPI and pins have theirs. answer: the byte that is always received."""

    def __init__(self, answer, filled=True):
        self.sent, self.got = array("I", [0]), array("I", [answer])
        self.status = array("I", [4 if filled else 0])
        self.high, self.low = array("I", [0]), array("I", [0])

    def all(self):
        return self.sent, self.got, self.status, self.high, self.low


def joined(registers, driver, inputs):
    asks = [(place, driver.ask(plus, minus)) for place, plus, minus in inputs]
    frames = viper_spi.Frames(registers.all(), 9, driver.null, driver.top, driver.signed, asks)
    driver.seen = frames.seen
    row = array("i", [-1] * 6)
    micropython.heap_lock()
    try:
        frames.put(row, 1, 0)
    finally:
        micropython.heap_unlock()
    return list(row)


def test_frames_read_in_one_go_give_the_counts_that_single_readings_give():
    class Always:
        def __init__(self, byte):
            self.byte = byte

        def write_readinto(self, out, answer):
            for n in range(3):
                answer[n] = self.byte

    for make in (mcp33.Mcp3208, mcp33.Mcp3304):
        for byte in (0x00, 0x0A, 0x45, 0xCF):
            driver = make(Always(byte), lambda level: None)
            read = driver.reader(3, None)
            registers = Registers(byte)
            assert joined(registers, driver, [(0, 3, None), (2, 7, None)]) == [-1, read(), -1, read(), -1, -1]
            assert registers.high[0] == registers.low[0] == 1 << 9
            assert driver.trouble() == (byte == 0)


def test_frames_on_a_line_where_nothing_answers():
    for make, top in ((mcp33.Mcp3208, TOP_3208), (mcp33.Mcp3304, TOP_3304)):
        for registers in (Registers(0xFF), Registers(0x0A, filled=False)):
            driver = make(SpiChip(12, 2), lambda level: None)
            assert joined(registers, driver, [(0, 0, None)])[1] == top
            assert driver.trouble()


class Clock:
    def __init__(self):
        self.us = 0x3FFFF000  # wraps soon

    def __call__(self):
        return self.us & 0x3FFFFFFF


class I2cChip:
    """An ADS1115: pointer, configuration and conversion registers. volts: multiplexer code -> signed counts."""

    def __init__(self, clock):
        self.clock = clock
        self.there = True
        self.reset()
        self.counts = {}
        self.took_us = 1200
        self.done_at = -1
        self.conversions = []

    def reset(self):
        self.pointer = 0
        self.config = 0x8583
        self.done_at = -1

    def writeto(self, address, data):
        self.check(address)
        self.pointer = data[0]
        if self.pointer == 1 and len(data) == 3:
            self.config = (data[1] << 8 | data[2]) & 0x7FFF
            self.done_at = self.clock.us + self.took_us
            self.conversions.append(data[1] >> 4 & 7)
        return len(data)

    def readfrom_into(self, address, data):
        self.check(address)
        if self.pointer == 1:
            done = self.done_at < 0 or self.clock.us >= self.done_at
            word = self.config | (0x8000 if done else 0)
        else:
            word = self.counts.get(self.config >> 12 & 7, 0) & 0xFFFF
        data[0] = word >> 8
        data[1] = word & 0xFF

    def check(self, address):
        assert address == 0x48
        if not self.there:
            raise OSError(19)


def turn(driver, clock, turns, us=500):
    for _ in range(turns):
        clock.us += us
        driver.step()


def test_ads1115_inputs_in_turn_signed_with_their_age():
    clock = Clock()
    chip = I2cChip(clock)
    driver = ads1115.Ads1115(chip, 0x48, clock)
    differences = [driver.input(0, 1), driver.input(0, 3), driver.input(1, 3), driver.input(2, 3)]
    single = driver.input(2, None)
    assert [one.age() for one in differences] == [4095] * 4 and differences[0].read() == 32768
    chip.counts = {0: 1000, 1: -1000, 2: 32767, 3: -32768, 6: 5}
    turn(driver, clock, 40)
    assert [one.read() - 32768 for one in differences + [single]] == [1000, -1000, 32767, -32768, 5]
    assert chip.conversions[:6] == [0, 1, 2, 3, 6, 0]
    # ten conversions of 1.5 ms: no value is older than one round and the turn that took it
    for one in differences + [single]:
        assert one.age() <= 11
    assert not driver.trouble()


def test_ads1115_configuration_is_read_back():
    clock = Clock()
    chip = I2cChip(clock)
    driver = ads1115.Ads1115(chip, 0x48, clock)
    held = driver.input(0, 1)
    chip.counts = {0: 200, 4: 9999}
    turn(driver, clock, 8)
    assert held.read() - 32768 == 200
    chip.reset()  # a supply dip: the chip measures something else now
    turn(driver, clock, 1, 1500)
    assert driver.trouble() and held.read() - 32768 == 200
    turn(driver, clock, 5, 1000000)
    assert not driver.trouble() and held.age() <= 1001


def test_ads1115_that_is_gone_is_told_never_raises_and_its_value_grows_old():
    clock = Clock()
    chip = I2cChip(clock)
    driver = ads1115.Ads1115(chip, 0x48, clock)
    held = driver.input(1, 3)
    chip.counts = {2: -7}
    turn(driver, clock, 8)
    chip.there = False
    turn(driver, clock, 20, 100000)
    assert driver.trouble() and held.read() - 32768 == -7 and 1900 < held.age() < 2100
    turn(driver, clock, 3000, 400000)  # twenty minutes: ticks wrap
    assert held.age() == 4095
    chip.there = True
    turn(driver, clock, 1100, 1500)
    assert not driver.trouble() and held.age() <= 3


def test_ads1115_that_never_ends_is_told():
    clock = Clock()
    chip = I2cChip(clock)
    driver = ads1115.Ads1115(chip, 0x48, clock)
    driver.input(0, 1)
    chip.took_us = 1 << 29
    turn(driver, clock, 100, 1000)
    assert driver.trouble()


def test_held_values_are_read_without_allocation():
    clock = Clock()
    clock.us = 5000
    chip = I2cChip(clock)
    driver = ads1115.Ads1115(chip, 0x48, clock)
    held = driver.input(0, 1)
    turn(driver, clock, 6)
    micropython.heap_lock()
    try:
        for _ in range(20):
            held.read()
            held.age()
    finally:
        micropython.heap_unlock()
