"""Files that a command writes: whole or not at all, and never over a recording."""

from __future__ import annotations

import os
import tempfile
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

from ringpull.errors import BadUsage, CannotWrite

KEPT = ("logger.json", "notes.json")  # made by hand, each by a command of its own


def output_file(text: str) -> Path:
    """A type for argparse: a file to be written. Raises BadUsage for a folder, and for what holds a recording, its
    configuration or its remarks."""
    path = configuration_file(text)
    if path.name.endswith(KEPT) and path.exists():
        raise BadUsage(
            f"{path} holds what was written by hand",
            "source and output were swapped, or the name is a slip",
            "give the output another name",
        )
    return path


def configuration_file(text: str) -> Path:
    """The same where a configuration may be replaced by another."""
    path = Path(text)
    if path.is_dir():
        raise BadUsage(f"{path} is a folder", "a file of that name was meant", "give another name")
    if path.suffix.lower() == ".rpl" or _is_ring(path):
        raise BadUsage(
            f"{path} is the name of a recording, and nothing is written over one",
            "source and output were swapped, or one was given twice",
            "give the output another name, not one that ends in .rpl",
        )
    return path


def _is_ring(path: Path) -> bool:
    from shared_math import layout

    try:
        if not path.is_file():
            return False
        with path.open("rb") as file:
            block = file.read(layout.SLOT)
    except OSError:  # not to be read: whoever writes will tell
        return False
    return len(block) == layout.SLOT and layout.verdict(block) is None


def different(*paths: Path | None) -> None:
    """Raises BadUsage where two outputs of one command are the same file."""
    named = [path.resolve() for path in paths if path]
    twice = [path for path in named if named.count(path) > 1]
    if twice:
        raise BadUsage(
            f"{twice[0].name} was given for two outputs",
            "a name was copied and left as it was",
            "give each output its own name",
        )


@contextmanager
def whole(path: Path) -> Iterator[Path]:
    """Gives a new file's path beside `path`; it takes the place of `path` at the end, or is removed after a failure.

    The new file's name is nobody else's: of two that write the same output the one that ends last counts, whole. A
    device or a pipe is written to as it is. OSError becomes CannotWrite.
    """
    if path.exists() and not path.is_file():
        with told(path):
            yield path
        return
    with told(path):
        handle, name = tempfile.mkstemp(prefix="ringpull-", suffix=".new" + _plain(path.suffix), dir=path.parent)
        os.close(handle)
        fresh = Path(name)
        try:
            yield fresh
            os.chmod(fresh, 0o666 & ~_umask())
            fresh.replace(path)
        finally:
            fresh.unlink(missing_ok=True)


@contextmanager
def told(path: Path) -> Iterator[None]:
    """Faults of writing `path` as CannotWrite; one of reading passes, it tells of the source."""
    try:
        yield
    except (OSError, UnicodeEncodeError) as fault:
        if isinstance(fault, UnicodeEncodeError):
            reason = "its name is no text"
        else:
            # pyarrow's own text is a paragraph
            reason = os.strerror(fault.errno) if fault.errno else "no reason was given"
        raise CannotWrite(
            f"{path} can't be written ({reason})",
            "there is no such folder, it is read-only, or the disk is full",
            "give another place",
        ) from None


def _plain(suffix: str) -> str:
    """An ending that every library takes."""
    return suffix if suffix.isascii() else ""


def _umask() -> int:
    mask = os.umask(0o077)
    os.umask(mask)
    return mask
