"""Files that a command writes: completely or not at all, and never over a recording."""

from __future__ import annotations

import os
import tempfile
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

from ringpull.errors import BadUsage, CannotWrite

KEPT = ("logger.json", "notes.json")  # written by hand or by a command of their own: never overwritten by others


def output_file(text: str) -> Path:
    """A type for argparse: a file to write. Raises BadUsage for a folder, a recording, a configuration or remarks."""
    path = configuration_file(text)
    if path.name.endswith(KEPT) and path.exists():
        raise BadUsage(
            f"{path} holds what was written by hand",
            "source and output were swapped, or the name is mistyped",
            "give the output another name",
        )
    return path


def configuration_file(text: str) -> Path:
    """A type for argparse like `output_file`, but an existing configuration may be replaced."""
    path = Path(text)
    if path.is_dir():
        raise BadUsage(f"{path} is a folder", "a file of that name was meant", "give another name")
    if path.suffix.lower() == ".rpl" or _is_ring(path):
        raise BadUsage(
            f"{path} is the name of a recording, and recordings are never overwritten",
            "source and output were swapped, or the source was given twice",
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
    except OSError:  # can't be read: the error appears when it is written
        return False
    return len(block) == layout.SLOT and layout.verdict(block) is None


def different(*paths: Path | None) -> None:
    """Raise BadUsage if two outputs of a command are the same file."""
    named = [path.resolve() for path in paths if path]
    twice = [path for path in named if named.count(path) > 1]
    if twice:
        raise BadUsage(
            f"{twice[0].name} was given for two outputs",
            "a name was copied and not changed",
            "give each output a name of its own",
        )


@contextmanager
def whole(path: Path) -> Iterator[Path]:
    """Yield the path of a new file beside `path`; at the end it replaces `path`, or after a failure it is removed.

    The new file's name is unique: if two commands write the same output, the one that ends last wins, complete. A
    device or a pipe is written to directly. OSError becomes CannotWrite.
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
    """Turn errors of writing `path` into CannotWrite; errors of reading the source pass unchanged."""
    try:
        yield
    except (OSError, UnicodeEncodeError) as fault:
        if isinstance(fault, UnicodeEncodeError):
            reason = "its name is not valid text"
        else:
            # pyarrow's own text is a whole paragraph
            reason = os.strerror(fault.errno) if fault.errno else "reason unknown"
        raise CannotWrite(
            f"{path} can't be written ({reason})",
            "there is no such folder, it is read-only, or the disk is full",
            "choose another folder",
        ) from None


def _plain(suffix: str) -> str:
    """An ending that every library accepts."""
    return suffix if suffix.isascii() else ""


def _umask() -> int:
    mask = os.umask(0o077)
    os.umask(mask)
    return mask
