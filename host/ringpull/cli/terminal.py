"""The terminal: tables, and a progress bar on standard error for work of more than two seconds."""

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
NARROWEST = 80  # characters; a narrower window wraps the lines itself


def console(width: int | None = None) -> Console:
    """The console that prints tables. Text from users is not read as markup; no figure is cut in a narrow window."""
    from rich.console import Console

    class Quiet(Console):
        def on_broken_pipe(self) -> None:
            raise BrokenPipeError  # handled in cli.main; rich would exit with code 1

    usual = Quiet(highlight=False, markup=False, emoji=False, width=width)
    if usual.width < NARROWEST:
        usual.width = NARROWEST
    return usual


def wide_console() -> Console:
    """A console for tables of many columns: 160 characters wide where the output is a file or a pipe."""
    usual = console()
    return console(160) if usual.width < 120 and not usual.is_terminal else usual


def can_show(letters: str) -> bool:
    """Whether the encoding of standard output has these characters."""
    try:
        letters.encode(sys.stdout.encoding or "ascii")
    except (LookupError, UnicodeEncodeError):
        return False
    return True


def printable(text: str) -> str:
    """A user's text without control characters that a terminal would act on."""
    return "".join(one if one.isprintable() else " " for one in text)


@contextmanager
def progress(what: str) -> Iterator[Callable[[float], None]]:
    """Yield a function that draws the bar; call it with the fraction done, 0 to 1."""
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
