"""A card that takes nothing any more is got back, or another one taken, in steps beside the recording."""

from shared_math import ticks
from shared_math.compat import const

_PAUSE_US = const(2000000)  # after a card that answers but can't be used
_LET_GO = const(0)
_WAKE = const(1)
_MOUNT = const(2)
_LOAD = const(3)
_OPEN = const(4)


class Revival:
    """make: function that gives the board's card as a store.card.Card, not yet opened.

    error: errno of why the card that is there can't be used, 0 before the first try; a card that does not answer is none.
    """

    def __init__(self, board, make):
        self.board = board
        self.make = make
        self.at = _LET_GO
        self.error = 0
        self.place = None
        self.failed = 0  # tick
        self.resting = False

    def step(self):
        """A short step; True when `place` is a card that is open. Starting one waits for nothing; reading its file system
        calls the board's `meanwhile`."""
        if self.resting:
            if (self.board.ticks_us() - self.failed) & ticks.MASK < _PAUSE_US:
                return False
            self.resting = False
        try:
            return self._step()
        except OSError as error:
            if self.at != _WAKE:
                self.error = error.errno
                self.failed = self.board.ticks_us()
                self.resting = True
                self.at = _LET_GO
        return False

    def _step(self):
        at = self.at
        if at == _LET_GO:
            self.at = _WAKE
            self.board.let_go()
        elif at == _WAKE:
            if self.board.wake_card():
                self.at = _MOUNT
        elif at == _MOUNT:
            self.board.mount()
            self.at = _LOAD
        elif at == _LOAD:
            from store import recover  # noqa: F401  a step of its own: from sources it takes a while

            self.at = _OPEN
        else:
            self.place = self.make()
            self.place.open()
            self.at = _LET_GO
            self.error = 0
            return True
        return False
