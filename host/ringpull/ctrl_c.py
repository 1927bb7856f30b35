"""Ctrl-C that waits for imports to end: raised within one it is swallowed now and then, or comes out as another error."""

from __future__ import annotations

import signal
from collections.abc import Iterator
from contextlib import contextmanager
from types import FrameType

_AGAIN_S = 0.02


@contextmanager
def held_in_imports() -> Iterator[None]:
    """Ctrl-C within an import raises KeyboardInterrupt once that is over; where the system has no timer, at once."""
    if not _taken():
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
    if signal.getsignal(signal.SIGINT) is not signal.default_int_handler or not hasattr(signal, "setitimer"):
        return False
    try:
        signal.signal(signal.SIGINT, _raise_or_wait)
    except ValueError:
        return False
    return True


def _raise_or_wait(_signal: int, frame: FrameType | None) -> None:
    importing = _importing(frame)
    signal.setitimer(signal.ITIMER_REAL, _AGAIN_S if importing else 0)
    if not importing:
        raise KeyboardInterrupt


def _importing(frame: FrameType | None) -> bool:
    while frame:
        if frame.f_code.co_filename.startswith("<frozen importlib"):
            return True
        frame = frame.f_back
    return False
