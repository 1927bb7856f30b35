"""The card driver against a card that answers byte by byte: rejected data, endless busy, removal. Runs under
MicroPython.

Commands, answers and tokens: SD Physical Layer Simplified Specification, chapter 7.
"""

import micropython

from drivers import sdcard

BLOCKS = 64


class Clock:
    """Milliseconds that pass by being asked for."""

    def __init__(self):
        self.ms = 0

    def ticks_ms(self):
        self.ms += 1
        return self.ms

    def ticks_diff(self, a, b):
        return a - b


class Card:
    """The other end of the SPI. `answer_to_data`: 5 accepted, 0x0B CRC error, 0x0D write error. `busy` bytes per
    write."""

    def __init__(self, high_capacity=True):
        self.image = bytearray(BLOCKS * 512)
        self.high_capacity = high_capacity
        self.there = True
        self.busy = 3
        self.answer_to_data = 5
        self.status = 0
        self.gone_after = -1  # bytes until it is pulled out
        self.selected = False
        self.awake = False
        self.out = bytearray(540)
        self.out_at = self.out_end = 0
        self.frame = bytearray(6)
        self.got = 0
        self.receiving = -1  # bytes of a data packet so far, -1: none expected
        self.address = 0
        self.busy_left = 0
        self.slow = 0  # bytes before the packet that is read

    def cs(self, level):
        self.selected = level == 0
        self.got = 0
        if level:
            self.out_at = self.out_end = 0

    def write(self, data):
        for byte in data:
            self.exchange(byte)

    def readinto(self, buf, fill):
        for n in range(len(buf)):
            buf[n] = self.exchange(fill)

    def put(self, byte):
        self.out[self.out_end] = byte
        self.out_end += 1

    def exchange(self, byte):
        if self.gone_after > 0:
            self.gone_after -= 1
            if self.gone_after == 0:
                self.there = False
        if not self.there or not self.selected:
            return 0xFF
        if self.receiving >= 0 and self.out_at == self.out_end:
            return self.take(byte)
        if self.slow and self.out_at == 2:
            self.slow -= 1
            return 0xFF
        if self.out_at < self.out_end:
            answer = self.out[self.out_at]
            self.out_at += 1
            return answer
        self.out_at = self.out_end = 0
        if self.busy_left:
            self.busy_left -= 1
            return 0
        if self.got or byte & 0xC0 == 0x40:
            self.frame[self.got] = byte
            self.got += 1
            if self.got == 6:
                self.got = 0
                self.command(self.frame[0] & 0x3F)
        return 0xFF

    def take(self, byte):
        """A byte of a data packet: gap, token, 512 bytes, CRC."""
        if self.receiving == 0:
            if byte == 0xFE:
                self.receiving = 1
            return 0xFF
        if self.receiving <= 512 and self.answer_to_data == 5:
            self.image[self.address + self.receiving - 1] = byte
        self.receiving += 1
        if self.receiving == 515:
            self.receiving = -1
            self.put(0xE0 | self.answer_to_data)
            self.busy_left = self.busy
        return 0xFF

    def command(self, number):
        frame = self.frame
        self.put(0xFF)
        self.put(0 if self.awake else 1)
        if number == 0:
            self.awake = False
            self.out[self.out_end - 1] = 1
        elif number == 8:
            if self.high_capacity:
                for byte in (0, 0, 1, 0xAA):
                    self.put(byte)
            else:
                self.out[self.out_end - 1] = 5
        elif number == 41:
            self.awake = True
            self.out[self.out_end - 1] = 0
        elif number == 58:
            for byte in (0x40 if self.high_capacity else 0, 0xFF, 0x80, 0):
                self.put(byte)
        elif number == 9:
            self.packet(self.csd())
        elif number == 13:
            self.put(self.status)
        elif number in (17, 24):
            address = frame[1] << 24 | frame[2] << 16 | frame[3] << 8 | frame[4]
            self.address = address * (512 if self.high_capacity else 1)
            if self.address >= len(self.image):
                self.out[self.out_end - 1] = 0x40
            elif number == 17:
                self.put(0xFF)
                self.put(0xFE)
                for n in range(512):
                    self.put(self.image[self.address + n])
                self.put(0)
                self.put(0)
            else:
                self.receiving = 0

    def packet(self, data):
        self.put(0xFE)
        for byte in data:
            self.put(byte)
        self.put(0)
        self.put(0)

    def csd(self):
        csd = bytearray(16)
        if self.high_capacity:
            csd[0] = 0x40
            csd[9] = 7  # (7 + 1) * 1024 sectors
        else:
            csd[5] = 9  # blocks of 512 bytes
            csd[7] = 3
            csd[8] = 0xC0  # C_SIZE 15
            csd[9] = 0  # C_SIZE_MULT 0: times 4
        return csd


def opened(card, rest=None):
    sdcard.time = Clock()
    disk = sdcard.SdCard(card, card.cs, lambda _fast: None, rest)
    while not disk.wake():
        pass
    return disk


def fails(action, number, step):
    try:
        action()
    except sdcard.CardError as error:
        assert error.errno == number and error.step == step, (error.errno, error.step)
        return
    raise AssertionError("no error")


def pattern(seed):
    return bytearray([(seed + 7 * n) & 0xFF for n in range(512)])


def test_writes_and_reads_back_both_kinds_of_card():
    for high_capacity, sectors in ((True, 8192), (False, 64)):
        disk = opened(Card(high_capacity))
        assert disk.ioctl(4, 0) == sectors
        disk.writeblocks(3, pattern(1))
        disk.writeblocks(4, pattern(1) + pattern(9))
        got = bytearray(512)
        disk.readblocks(3, got)
        assert got == pattern(1)
        two = bytearray(1024)
        disk.readblocks(4, two)
        assert two == pattern(1) + pattern(9)
        assert disk.ioctl(3, 0) == 0


def test_a_write_returns_while_the_card_is_busy_and_the_next_access_waits():
    card = Card()
    disk = opened(card)
    card.busy = 50
    disk.writeblocks(1, pattern(2))
    assert card.busy_left > 40
    got = bytearray(512)
    disk.readblocks(1, got)
    assert got == pattern(2) and card.busy_left == 0


def test_rejected_data_is_an_error_and_a_refused_write_one_of_its_own():
    for answer, number in ((0x0B, 5), (0x0D, 30)):
        card = Card()
        disk = opened(card)
        card.answer_to_data = answer
        fails(lambda: disk.writeblocks(1, pattern(3)), number, "data rejected")  # noqa: B023


def test_a_write_that_fails_while_the_card_is_busy_is_told_at_the_next_access():
    card = Card()
    disk = opened(card)
    disk.writeblocks(1, pattern(3))
    card.status = 0x04
    fails(lambda: disk.readblocks(1, bytearray(512)), 5, "write failed")


def test_endless_busy_ends():
    card = Card()
    disk = opened(card)
    card.busy = 1 << 29
    disk.writeblocks(1, pattern(4))
    began = sdcard.time.ms
    fails(lambda: disk.readblocks(1, bytearray(512)), 110, "read: card busy")
    assert sdcard.time.ms - began < 4000


def test_card_pulled_out_before_in_the_middle_of_and_after_a_block():
    for bytes_left in (1, 5, 9, 200, 515, 523):
        card = Card()
        disk = opened(card)
        disk.ioctl(3, 0)
        card.gone_after = bytes_left
        began = sdcard.time.ms
        try:
            disk.writeblocks(2, pattern(5))
            disk.readblocks(2, bytearray(512))
            raise AssertionError("a card that is gone was read")
        except sdcard.CardError:
            pass
        assert sdcard.time.ms - began < 4000


def test_no_card_is_told():
    card = Card()
    card.there = False
    fails(lambda: opened(card), 19, "no card")


def test_a_retired_card_is_left_alone():
    card = Card()
    disk = opened(card)
    disk.retired = True
    before = bytes(card.image)
    fails(lambda: disk.writeblocks(2, pattern(6)), 19, "card was taken out")
    assert bytes(card.image) == before


def test_beyond_the_end_is_refused():
    disk = opened(Card())
    fails(lambda: disk.readblocks(BLOCKS, bytearray(512)), 5, "read refused")
    fails(lambda: disk.writeblocks(BLOCKS, bytearray(512)), 5, "write refused")


def test_reading_and_writing_allocate_nothing():
    disk = opened(Card())
    block = pattern(7)
    micropython.heap_lock()
    try:
        for n in range(4):
            disk.writeblocks(n, block)
            disk.readblocks(n, block)
    finally:
        micropython.heap_unlock()
    assert block == pattern(7)


def test_ready_tells_whether_an_access_would_wait():
    card = Card()
    disk = opened(card)
    assert disk.ready()
    card.busy = 6
    disk.writeblocks(1, pattern(8))
    assert not disk.ready()
    while card.busy_left:
        disk.ready()
    assert disk.ready()
    card.busy = 1 << 29
    disk.writeblocks(2, pattern(8))
    assert not disk.ready()
    sdcard.time.ms += 3100
    assert disk.ready()
    fails(lambda: disk.writeblocks(3, pattern(8)), 110, "write: card busy")


def test_a_long_wait_is_slept_through():
    card = Card()
    slept = []

    def rest(waiting):
        if waiting:
            sdcard.time.ms += 1
            card.busy_left = max(0, card.busy_left - 100)
            slept.append(1)

    disk = opened(card, rest)
    card.busy = 5000
    disk.writeblocks(1, pattern(4))
    disk.readblocks(1, bytearray(512))
    assert 40 < len(slept) < 60 and not card.busy_left


class Counted(Card):
    """Counts the bytes on the wire."""

    bytes = 0

    def exchange(self, byte):
        self.bytes += 1
        return Card.exchange(self, byte)


def test_each_step_of_starting_a_card_is_short():
    """At 400 kHz a byte takes 20 us: no step may take 5 ms, whatever the card answers."""
    for there in (True, False):
        card = Counted()
        card.there = there
        sdcard.time = Clock()
        disk = sdcard.SdCard(card, card.cs, lambda _fast: None)
        steps = most = 0
        try:
            while True:
                before = card.bytes
                done = disk.wake()
                steps += 1
                most = max(most, card.bytes - before)
                if done:
                    break
        except sdcard.CardError as error:
            assert not there and error.step == "no card" and sdcard.time.ms > 1000
        assert steps > 3 and most < 250, (there, steps, most)


def test_a_card_that_comes_later_is_started_by_the_same_driver():
    card = Card()
    card.there = False
    fails(lambda: opened(card), 19, "no card")
    disk = sdcard.SdCard(card, card.cs, lambda _fast: None)
    fails(lambda: [disk.wake() for _ in range(5000)], 19, "no card")
    card.there = True
    while not disk.wake():
        pass
    disk.writeblocks(3, pattern(1))


class Unclear(Card):
    """A large card whose answer about that is garbled."""

    def command(self, number):
        self.high_capacity = number != 58
        Card.command(self, number)
        self.high_capacity = True


def test_a_large_card_is_never_written_as_a_small_one():
    card = Unclear(True)
    disk = opened(card)
    disk.writeblocks(3, pattern(1))
    assert card.image[3 * 512 : 4 * 512] == pattern(1)


def test_a_slow_read_leaves_its_time_to_others():
    card = Card()
    rested = []

    def rest(waiting):
        rested.append(waiting)
        if len(rested) > 20:
            card.slow = 0

    disk = opened(card, rest)
    card.slow = 1 << 29
    disk.readblocks(1, bytearray(512))
    assert rested.count(True) > 10
