"""Delay Ctrl-C until a running import has ended: raised inside an import it can be lost or turn into another error."""

from __future__ import annotations

import signal
from collections.abc import Iterator
from contextlib import contextmanager
from types import FrameType

_AGAIN_S = 0.02
_IMPORT = "<frozen importlib"


@contextmanager
def waits_its_turn() -> Iterator[None]:
    """Raise KeyboardInterrupt for Ctrl-C outside imports only; on a system without timers, at once."""
    if not hasattr(signal, "setitimer") or not _taken():
        yield
        return
    alarm = signal.signal(signal.SIGALRM, _raise_or_wait)
    try:
        yield
    finally:
        signal.setitimer(signal.ITIMER_REAL, 0)
        signal.signal(signal.SIGALRM, alarm)
        signal.signal(signal.SIGINT, signal.default_int_handler)


def _taken() -> bool:
    """Install the handler; False if Ctrl-C is ignored or handled already, or outside the main thread."""
    if signal.getsignal(signal.SIGINT) is not signal.default_int_handler:
        return False
    try:
        signal.signal(signal.SIGINT, _raise_or_wait)
    except ValueError:
        return False
    return True


def _raise_or_wait(_signal: int, frame: FrameType | None) -> None:
    lost = _lost_in(frame)
    if hasattr(signal, "setitimer"):
        # repeated: a signal that arrives just before a wait begins takes effect only when the next one ends the wait
        again_s = _AGAIN_S if lost else 0
        signal.setitimer(signal.ITIMER_REAL, again_s, again_s)
    if not lost:
        raise KeyboardInterrupt


def _lost_in(frame: FrameType | None) -> bool:
    while frame:
        if frame.f_code.co_filename.startswith(_IMPORT):
            return True
        frame = frame.f_back
    return False
