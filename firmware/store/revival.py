"""A card that takes nothing any more is got back, or another one taken, in steps beside the recording."""

import gc

import errnos
from shared_math import layout, ticks
from shared_math.compat import const

_PAUSE_US = const(2000000)  # after a card that answers but can't be used
_REST = const(0)
_WAKE = const(1)
_CHECK = const(2)
_LET_GO = const(3)
_WAKE_OTHER = const(4)
_MOUNT = const(5)
_LOAD = const(6)
_MODULES = ("store.recover", "store.card", "store.fatmap")  # what opening a card needs, largest first


class Revival:
    """writer: store.writer.DriveWriter that fell silent.

    tried: writes that had been taken when a card was last thought to be back. place: a card that is open, for its files
    to be bound; None where it is the one that was there, lacking nothing. error: errno of why the card that is there
    can't be used; 0 where none has answered. opens: the next step is to open the card, which is the main loop's: what
    is called for it needs all of a small board's stack.
    """

    def __init__(self, board, writer, tried):
        self.board = board
        self.writer = writer
        self.opens = False
        self.at = _WAKE
        self.error = 0
        self.place = None
        self.failed = 0  # tick
        self.loaded = 0  # of _MODULES
        self.tried = tried

    def step(self):
        """One step; True when there is a card. Starting one waits for nothing."""
        if self.at == _REST:
            if (self.board.ticks_us() - self.failed) & ticks.MASK < _PAUSE_US:
                return False
            self.at = _WAKE if self.board.mounted() else _WAKE_OTHER
        try:
            return self._step()
        except MemoryError:
            gc.collect()
            self.failed_with(errnos.EIO)
        except OSError as error:
            if self.at == _CHECK:
                self.at = _LET_GO
            elif self.at != _WAKE and self.at != _WAKE_OTHER:  # these begin anew by themselves
                self.failed_with(error.errno)
        return False

    def failed_with(self, error):
        """The card that is there can't be used: try again after a while. error: errno."""
        self.opens = False
        self.error = error
        self.failed = self.board.ticks_us()
        self.at = _REST

    def _step(self):
        at = self.at
        if at == _WAKE:
            if self.board.wake_card():
                self.at = _CHECK
        elif at == _CHECK:
            return self._check()
        elif at == _LET_GO:
            self.at = _WAKE_OTHER
            self.board.let_go()
        elif at == _WAKE_OTHER:
            if self.board.wake_card():
                self.at = _MOUNT
        elif at == _MOUNT:
            self.board.mount()
            self.loaded = 0
            self.at = _LOAD
        else:
            __import__(_MODULES[self.loaded])  # a step each: from sources it takes a while
            self.loaded += 1
            self.opens = self.loaded == len(_MODULES)
        return False

    def _check(self):
        """Whether what was written last stands where it should: then it is the card that was there, and lacks
        nothing."""
        out = self.writer
        if out.writes == self.tried:  # it was back, and took nothing: it is not asked again and again
            self.tried = -1
            self.failed_with(out.error)
            return False
        before = (out.sequence - 1) & 0xFFFFFFFF
        block = out.spare
        out.file.read(out.slot_of(before), block)
        ours = layout.verdict(block) is None and layout.get32(block, layout.AT_SEQUENCE) == before
        if ours and bytes(block[layout.AT_RING : layout.AT_RING + 4]) == bytes(out.ring_id):
            return True
        self.at = _LET_GO
        return False
