"""An SD card on SPI as a block device. Every wait is bounded, every answer is checked, nothing is allocated.

A write returns while the card is still busy; who must not wait asks `ready` before the next access. Starting a card
goes in short steps. What waits all the same lets `rest` do other work meanwhile. Commands and answers: SD Physical
Layer Simplified Specification, chapter 7 (SPI mode).
"""

import time

import errnos
from shared_math.compat import const

_SECTOR = const(512)
_INIT_MS = const(1500)
_READ_MS = const(300)  # the specification's 100 ms and room
_BUSY_MS = const(3000)  # 250 ms for a write, 500 ms for SDXC; worn cards take longer, and rows wait in memory meanwhile
_AWAKE_MS = const(3)  # most writes are done by then; what takes longer leaves the time to others
_IDLE = const(0x01)
_START = const(0xFE)
_ACCEPTED = const(0x05)
_WRITE_ERROR = const(0x0D)
_RESET = const(1)  # steps of starting a card
_START_UP = const(2)
_DESCRIBE = const(3)
_SIZE = const(4)
_TOKENS = const(32)  # bytes looked at in one step for the packet that tells the size


class CardError(OSError):
    """The card did not do what it was told; `step` says where: one of the words used below."""

    def __init__(self, number, step):
        super().__init__(number)
        self.step = step


class SdCard:
    """spi: machine.SPI. cs: machine.Pin as output. speed: function that sets the SPI's, full with True, slow with
    False.

    rest: function that is called before each access with False, and in a longer wait again and again with True: it may
    do other work, and then lets about a millisecond pass. Use nothing else before `wake` has returned True.
    """

    def __init__(self, spi, cs, speed, rest=None):
        self.spi = spi
        self.cs = cs
        self.frame = bytearray(6)
        self.one = bytearray(1)
        self.crc = bytearray(2)
        self.csd = bytearray(16)
        self.start = bytearray([_START])
        self.no_crc = b"\xff\xff"
        self.rest = rest
        self.busy = False
        self.busy_since = 0
        self.retired = False  # a collected file object of an earlier mount must not write to another card
        self.by_byte = False
        self.sectors = 0
        self.speed = speed
        self.step = 0
        self.since = 0

    # ---- block device ------------------------------------------------------------------------------------------

    def readblocks(self, n, buf):
        """Read len(buf) / 512 sectors from sector n."""
        if len(buf) == _SECTOR:
            self._read_sector(n, buf)
            return
        view = memoryview(buf)
        for at in range(len(buf) // _SECTOR):
            self._read_sector(n + at, view[at * _SECTOR : (at + 1) * _SECTOR])

    def writeblocks(self, n, buf):
        """Write len(buf) / 512 sectors from sector n; the last one's programming goes on after the return."""
        if len(buf) == _SECTOR:
            self._write_sector(n, buf)
            return
        view = memoryview(buf)
        for at in range(len(buf) // _SECTOR):
            self._write_sector(n + at, view[at * _SECTOR : (at + 1) * _SECTOR])

    def ioctl(self, op, _arg):
        """3: wait until all is written. 4: sectors. 5: bytes a sector. 6: erase (needs none)."""
        if op == 3:
            self._select("sync")
            self._release()
            return 0
        if op == 4:
            return self.sectors
        if op == 5:
            return _SECTOR
        return 0

    def ready(self):
        """Whether an access would not have to wait. True too where waiting has lasted too long: the access then
        tells."""
        if not self.busy:
            return True
        self.cs(0)
        self.spi.readinto(self.one, 0xFF)
        idle = self.one[0] == 0xFF
        self._release()
        return idle or time.ticks_diff(time.ticks_ms(), self.busy_since) > _BUSY_MS

    # ---- one sector --------------------------------------------------------------------------------------------

    def _read_sector(self, n, buf):
        if self.rest:
            self.rest(False)  # here and not deeper: a small board's stack has little room for it
        self._select("read")
        try:
            if self._command(17, n if not self.by_byte else n * _SECTOR) != 0:
                raise CardError(errnos.EIO, "read refused")
            self._data(buf)
        finally:
            self._release()

    def _write_sector(self, n, buf):
        if self.rest:
            self.rest(False)
        self._select("write")
        try:
            if self._command(24, n if not self.by_byte else n * _SECTOR) != 0:
                raise CardError(errnos.EIO, "write refused")
            spi = self.spi
            spi.readinto(self.one, 0xFF)  # the card asks for one byte between answer and data
            spi.write(self.start)
            spi.write(buf)
            spi.write(self.no_crc)
            spi.readinto(self.one, 0xFF)
            self.busy = True
            self.busy_since = time.ticks_ms()
            answer = self.one[0] & 0x1F
            if answer != _ACCEPTED:
                raise CardError(errnos.EROFS if answer == _WRITE_ERROR else errnos.EIO, "data rejected")
        finally:
            self._release()

    def _data(self, buf):
        """A data packet: token, bytes, CRC (not checked by the card's default; the ring's own CRC does that)."""
        since = time.ticks_ms()
        spi = self.spi
        one = self.one
        while True:
            spi.readinto(one, 0xFF)
            if one[0] == _START:
                break
            if one[0] != 0xFF:
                raise CardError(errnos.EIO, "read failed")
            waited = time.ticks_diff(time.ticks_ms(), since)
            if waited > _READ_MS:
                raise CardError(errnos.ETIMEDOUT, "no data")
            if waited > _AWAKE_MS and self.rest:
                self.rest(True)
        spi.readinto(buf, 0xFF)
        spi.readinto(self.crc, 0xFF)

    # ---- commands ----------------------------------------------------------------------------------------------

    def _select(self, step):
        """Chip select, then wait until an earlier write is done. A removed card reads as 0xFF: never busy, no
        answer."""
        if self.retired:
            raise CardError(errnos.ENODEV, "card was taken out")
        self.cs(0)
        since = time.ticks_ms()
        spi = self.spi
        one = self.one
        while True:
            spi.readinto(one, 0xFF)
            if one[0] == 0xFF:
                break
            waited = time.ticks_diff(time.ticks_ms(), since)
            if waited > _AWAKE_MS and self.rest:
                self.rest(True)
            if waited > _BUSY_MS:
                self._release()
                raise CardError(errnos.ETIMEDOUT, step + ": card busy")
        if self.busy:
            self.busy = False
            if self._command(13, 0) != 0:
                self._release()
                raise CardError(errnos.EIO, "write failed")
            spi.readinto(one, 0xFF)
            if one[0] != 0:
                self._release()
                raise CardError(errnos.EIO, "write failed")

    def _release(self):
        self.cs(1)
        self.spi.readinto(self.one, 0xFF)  # eight clocks let the card go of the line

    def _command(self, number, argument):
        """Send a command; the card's first answer byte, 0xFF when none came."""
        frame = self.frame
        frame[0] = 0x40 | number
        frame[1] = (argument >> 24) & 0xFF
        frame[2] = (argument >> 16) & 0xFF
        frame[3] = (argument >> 8) & 0xFF
        frame[4] = argument & 0xFF
        frame[5] = 0x95 if number == 0 else 0x87  # right for the two commands that are sent before CRC is off
        self.spi.write(frame)
        one = self.one
        for _ in range(10):
            self.spi.readinto(one, 0xFF)
            if not one[0] & 0x80:
                return one[0]
        return 0xFF

    def wake(self):
        """One short step of starting the card; True when it is ready for use. CardError where none does for 1.5 s: the
        next call begins anew."""
        now = time.ticks_ms()
        if not self.step:
            self.step = _RESET
            self.since = now
            self.busy = False
            self.speed(False)
        elif time.ticks_diff(now, self.since) > _INIT_MS:
            self._give_up("no card" if self.step == _RESET else "card does not start")
        if self.step == _RESET:
            self._reset()
        elif self.step == _START_UP:
            self._exchange(55, 0)
            if self._exchange(41, 0 if self.by_byte else 0x40000000) == 0:
                self.step = _DESCRIBE
        elif self.step == _DESCRIBE:
            self._describe()
        elif self._size_came():
            self.step = 0
            self.speed(True)
            return True
        return False

    def _give_up(self, step):
        self.step = 0
        self._release()
        raise CardError(errnos.ENODEV, step)

    def _reset(self):
        self.cs(1)
        for _ in range(8):  # at least 74 clocks, deselected
            self.spi.write(self.no_crc)
        if self._exchange(0, 0) == _IDLE:
            self.by_byte = self._exchange(8, 0x1AA) != _IDLE
            self.step = _START_UP

    def _describe(self):
        if not self.by_byte:
            self.cs(0)
            if self._command(58, 0) == 0:
                self.spi.readinto(self.one, 0xFF)
                self.by_byte = not self.one[0] & 0x40
            self._release()
        if self.by_byte and self._exchange(16, _SECTOR) != 0:
            self._give_up("sector size refused")
        self.cs(0)
        if self._command(9, 0) != 0:
            self._give_up("no card data")
        self.step = _SIZE

    def _size_came(self):
        """Look for the packet that tells the size."""
        for _ in range(_TOKENS):
            self.spi.readinto(self.one, 0xFF)
            if self.one[0] == _START:
                break
        else:
            return False
        self.spi.readinto(self.csd, 0xFF)
        self.spi.readinto(self.crc, 0xFF)
        self._release()
        csd = self.csd
        if csd[0] >> 6 == 1:
            self.sectors = ((csd[7] & 0x3F) << 16 | csd[8] << 8 | csd[9]) * 1024 + 1024
            self.by_byte = False  # such a card counts sectors, whatever was made out of its answers before
        else:
            size = (csd[6] & 3) << 10 | csd[7] << 2 | csd[8] >> 6
            shift = ((csd[9] & 3) << 1 | csd[10] >> 7) + 2 + (csd[5] & 15) - 9
            self.sectors = (size + 1) << shift
        return True

    def _exchange(self, number, argument):
        self.cs(0)
        answer = self._command(number, argument)
        self._release()
        return answer
