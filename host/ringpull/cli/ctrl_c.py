"""Ctrl-C that waits for imports to end: raised within one it is swallowed now and then, or comes out as another
error."""

from __future__ import annotations

import signal
from collections.abc import Iterator
from contextlib import contextmanager
from types import FrameType

_AGAIN_S = 0.02
_IMPORT = "<frozen importlib"


@contextmanager
def waits_its_turn() -> Iterator[None]:
    """Ctrl-C raises KeyboardInterrupt once where it can't get lost; where the system has no timer, at once."""
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
    """Whether Ctrl-C comes here now: not where it is ignored or handled already, nor outside the main thread."""
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
        # again and again: a signal that comes just before a wait begins is heard only when the next one cuts it short
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
