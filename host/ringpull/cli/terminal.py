"""The terminal: tables, and progress on standard error where the work takes longer than two seconds."""

from __future__ import annotations

import sys
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from rich.console import Console

AFTER_S = 2.0
WIDTH = 30
NARROWEST = 80  # columns; a narrower window breaks the lines itself


def console(width: int | None = None) -> Console:
    """Where tables are printed: texts from users are never taken for markup, and no figure is cut in a narrow
    window."""
    from rich.console import Console

    class Quiet(Console):
        def on_broken_pipe(self) -> None:
            raise BrokenPipeError  # the command's own business; rich would end it with exit code 1

    usual = Quiet(highlight=False, markup=False, emoji=False, width=width)
    if usual.width < NARROWEST:
        usual.width = NARROWEST
    return usual


def wide_console() -> Console:
    """The same for tables of many columns: where nobody's window bounds them (a file, a pipe) they are never cut."""
    usual = console()
    return console(160) if usual.width < 120 and not usual.is_terminal else usual


def can_show(letters: str) -> bool:
    """Whether standard output has these letters."""
    try:
        letters.encode(sys.stdout.encoding or "ascii")
    except (LookupError, UnicodeEncodeError):
        return False
    return True


def printable(text: str) -> str:
    """A user's text without what a terminal might obey."""
    return "".join(one if one.isprintable() else " " for one in text)


@contextmanager
def progress(what: str) -> Iterator[Callable[[float], None]]:
    """Gives a function to be called with the fraction done, 0 to 1."""
    began = time.perf_counter()
    shown = False

    def show(fraction: float) -> None:
        nonlocal shown
        if time.perf_counter() - began < AFTER_S or not sys.stderr.isatty():
            return
        shown = True
        full = round(WIDTH * min(max(fraction, 0.0), 1.0))
        sys.stderr.write(f"\r{what} [{'#' * full}{'.' * (WIDTH - full)}] {fraction:4.0%}")
        sys.stderr.flush()

    try:
        yield show
    finally:
        if shown:
            sys.stderr.write("\r" + " " * (len(what) + WIDTH + 10) + "\r")
            sys.stderr.flush()
