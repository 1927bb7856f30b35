"""The desk board's card: a file whose accesses take virtual time, and which fails as the job tells it to."""

import os

import errnos
from shared_math.compat import const

_SECTOR = const(512)
_BUSY_US = const(3000000)  # as long as drivers/sdcard.py waits for a card
_WAKE_US = const(1500000)
_STEP_US = const(1000)  # of starting, of waiting, of reading or writing a sector


def copy_file(path, to):
    """Copy a file from or to the card."""
    buf = bytearray(2 * _SECTOR)
    with open(path, "rb") as source:
        with open(to, "wb") as target:
            while True:
                n = source.readinto(buf)
                if not n:
                    return
                target.write(buf if n == len(buf) else buf[:n])


def copy_files(folder, to):
    """Copy every file of a folder."""
    for name in os.listdir(folder):
        copy_file(folder + "/" + name, to + "/" + name)


class FileDisk:
    """A block device held in a file."""

    def __init__(self, path, sectors):
        self.path = path
        self.file = open(path, "r+b")
        self.sectors = sectors
        self.retired = False  # a collected file object of an earlier mount must not write to the card

    def readblocks(self, n, buf):
        if self.retired:
            raise OSError(errnos.ENODEV)
        self.file.seek(n * _SECTOR)
        self.file.readinto(buf)

    def writeblocks(self, n, buf):
        if self.retired:
            raise OSError(errnos.ENODEV)
        self.file.seek(n * _SECTOR)
        self.file.write(buf)

    def ioctl(self, op, _arg):
        if op == 3:
            self.file.flush()
        if op == 4:
            return self.sectors
        if op == 5:
            return _SECTOR
        return 0


class Socket:
    """What becomes of the card. story: [[microseconds, what, ...]] in time order, of these:

    out: nothing answers from then on. in: it does again, the card asleep; with a path, another card's image. refuse: no
    write is taken. lie: writes are acknowledged and lost. bad: these sectors can't be read any more. busy: each write
    keeps the card busy for so many microseconds. stall: the next one does. stuck: it stays busy for ever.
    """

    def __init__(self, story, path):
        self.story = story
        self.path = path
        self.there = True
        self.refusing = False
        self.lying = False
        self.bad = ()
        self.stuck = False
        self.busy_us = 0
        self.stall_us = 0

    def turn(self, now):
        """Let happen what is due by now."""
        while self.story and self.story[0][0] <= now:
            _, what, more = self.story.pop(0)
            if what == "out":
                self.there = False
            elif what == "in":
                self.there = True
                self.refusing = self.stuck = self.lying = False
                self.path = more or self.path
            elif what == "refuse":
                self.refusing = True
            elif what == "lie":
                self.lying = True
            elif what == "bad":
                self.bad = more
            elif what == "stuck":
                self.stuck = True
            elif what == "stall":
                self.stall_us = more
            else:
                self.busy_us = more

    def busy_next(self):
        """Microseconds that the card is busy after the write that it takes now."""
        busy_us = self.stall_us or self.busy_us
        self.stall_us = 0
        return busy_us


class DeskCard(FileDisk):
    """board: its time passes while the card is waited for. socket: what the card does, None for one that takes no time.

    Starts asleep where there is a socket, as drivers/sdcard.py's does.
    """

    def __init__(self, path, sectors, board, socket=None):
        FileDisk.__init__(self, path, sectors)
        self.board = board
        self.socket = socket
        self.busy_until = 0
        self.waking = -1
        self.steps = 0
        self.write_us = None  # function that gives how long a write keeps a port that waits for it

    def wake(self):
        """See drivers.sdcard.SdCard.wake."""
        socket = self.socket
        if socket is None:
            return True
        board = self.board
        if self.waking < 0:
            if socket.path != self.path:
                FileDisk.__init__(self, socket.path, self.sectors)
            self.waking = board.now
            self.steps = 0
            self.busy_until = 0
        board.passes(_STEP_US)
        if board.now - self.waking > _WAKE_US or socket.path != self.path:
            self.waking = -1
            raise OSError(errnos.ENODEV)
        if socket.there and not socket.stuck:
            self.steps += 1
        if self.steps > 3:
            self.waking = -1
            return True
        return False

    def ready(self):
        """Whether an access would not have to wait."""
        socket = self.socket
        if socket and socket.stuck and self.busy_until:
            return self.board.now - self.busy_until > _BUSY_US
        return self.board.now >= self.busy_until or (socket is not None and not socket.there)

    def readblocks(self, n, buf):
        self._wait()
        if self.socket:
            count = len(buf) // _SECTOR
            self.board.passes(_STEP_US * count)
            for sector in self.socket.bad:
                if n <= sector < n + count:
                    raise OSError(errnos.EIO)
        FileDisk.readblocks(self, n, buf)

    def writeblocks(self, n, buf):
        self._wait()
        socket = self.socket
        if socket:
            self.board.passes(_STEP_US * (len(buf) // _SECTOR))
            if socket.refusing:
                raise OSError(errnos.EROFS)
        if not (socket and socket.lying):
            FileDisk.writeblocks(self, n, buf)
        if socket:
            self.busy_until = min(self.board.now + socket.busy_next(), self.board.end_us + 1)
        self.board.wrote(self)

    def ioctl(self, op, arg):
        if op == 3:
            self._wait()
        return FileDisk.ioctl(self, op, arg)

    def _wait(self):
        """As the card's driver does: until it is no longer busy, 3 s at most, other work done meanwhile."""
        board = self.board
        if self.retired:
            raise OSError(errnos.ENODEV)
        if board.meanwhile:
            board.meanwhile()
        began = board.now
        while not self.ready():
            board.passes(_STEP_US)
            if board.meanwhile:
                board.meanwhile()
            if board.now - began > _BUSY_US or not board.powered():
                raise OSError(errnos.ETIMEDOUT)
        if self.socket and (not self.socket.there or self.socket.stuck):
            raise OSError(errnos.EIO)
