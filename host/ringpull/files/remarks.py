"""Remarks about pulls and about moments of a drive, kept in two small JSON files beside the ring file.

The ring file itself is never changed. Code that shows remarks must show both kinds.
"""

from __future__ import annotations

import json
import os
import tempfile
from collections.abc import Iterable
from pathlib import Path
from typing import Any, NamedTuple

from ringpull.errors import RingpullError

NAME, TIMES = "notes.json", "times.json"
DATE = "date"  # a key of notes.json, whose other keys are pull numbers
MOST_BYTES = 1 << 22


def notes_path(source: Path, ring: str = "") -> Path:
    """notes.json in the card folder, or FILE.notes.json beside a single ring file.

    ring: id of an older ring of the card; it has its own pull numbers and its own file of remarks.
    """
    return _beside(source, NAME, ring)


def times_path(source: Path, ring: str = "") -> Path:
    """times.json in the card folder, or FILE.times.json: the remarks on moments."""
    return _beside(source, TIMES, ring)


def _beside(source: Path, name: str, ring: str) -> Path:
    source = Path(source)
    name = f"{ring}.{name}" if ring else name
    return source / name if source.is_dir() else source.with_name(source.name + "." + name)


class Moment(NamedTuple):
    """A remark on a moment of a session."""

    session: int
    time_s: float
    text: str


def read_times(source: Path, ring: str = "") -> list[Moment]:
    """The remarks on moments, in order. Raises OSError, or ValueError if the file exists and can't be read."""
    found = read_json(times_path(source, ring))
    try:
        return sorted(Moment(int(r["session"]), float(r["time_s"]), writable(str(r["text"]))) for r in found or [])
    except (TypeError, KeyError, OverflowError):
        raise ValueError from None


def of_pulls(source: Path, pulls: Iterable[Any], ring: str = "") -> dict[str, str]:
    """All remarks about each pull, by pull number (as text): its note, then the remarks on moments in it.

    pulls: objects with number, session, start_s and end_s. Raises RingpullError like read_notes; a damaged file of
    remarks on moments counts as empty.
    """
    out = read_notes(source, ring)
    for number, words in placed(source, pulls, ring):
        if number is not None:
            key = str(number)
            out[key] = f"{out[key]}; {words}" if key in out else words
    return out


def placed(source: Path, pulls: Iterable[Any], ring: str = "") -> list[tuple[int | None, str]]:
    """(number of the pull that holds the moment or None, text) of each remark on a moment."""
    try:
        moments = read_times(source, ring)
    except (OSError, ValueError):
        return []
    known = list(pulls)
    out: list[tuple[int | None, str]] = []
    for one in moments:
        inside = (p.number for p in known if p.session == one.session and p.start_s <= one.time_s < p.end_s)
        out.append((next(inside, None), f"at {one.time_s:.2f} s: {one.text}"))
    return out


def read_notes(source: Path, ring: str = "") -> dict[str, str]:
    """The remarks by pull number (as text); empty without a file. Raises RingpullError if the file can't be read."""
    return {number: text for number, text in _kept(source, ring).items() if number != DATE}


def read_date(source: Path, ring: str = "") -> str:
    """The noted date of a drive; "" if there is none. Raises RingpullError like read_notes."""
    return _kept(source, ring).get(DATE, "")


def _kept(source: Path, ring: str) -> dict[str, str]:
    path = notes_path(source, ring)
    try:
        notes = read_json(path)
        if not isinstance(notes, dict | None):
            raise ValueError
    except (ValueError, OSError):
        raise RingpullError(
            f"{path} does not hold readable remarks.",
            "It was edited by hand, or is incomplete.",
            "Correct it so that it holds one JSON object of pull numbers and texts, or delete it.",
        ) from None
    return {writable(str(number)): writable(str(text)) for number, text in (notes or {}).items()}


def read_json(path: Path) -> Any:
    """The content of a small JSON file; None without a file. Raises ValueError if it isn't one, or OSError."""
    if not path.exists():
        return None
    if not path.is_file() or path.stat().st_size > MOST_BYTES:  # reading a pipe would wait for ever
        raise ValueError
    try:
        return json.loads(path.read_text(encoding="utf-8"))
    except RecursionError:
        raise ValueError from None


def writable(text: str) -> str:
    """The text with unpaired surrogates, which can't be encoded, replaced by question marks."""
    return text.encode("utf-8", "replace").decode("utf-8")


def replace_text(path: Path, words: str) -> None:
    """Replace a file by this text, completely or not at all, never following a link in its place.

    Raises OSError, or ValueError if the text can't be encoded as UTF-8.
    """
    body = words.encode("utf-8")
    handle, fresh = tempfile.mkstemp(prefix=path.name + ".", dir=path.parent)
    try:
        with open(handle, "wb") as out:
            out.write(body)
        os.chmod(fresh, 0o644)
        os.replace(fresh, path)
    except OSError:
        os.unlink(fresh)
        raise


def write_note(source: Path, pull: int, text: str, ring: str = "") -> dict[str, str]:
    """Set the remark of a pull ("" removes it) and return all remarks. Raises RingpullError if it can't be written."""
    kept = _write(source, str(pull), text, ring)
    return {number: words for number, words in kept.items() if number != DATE}


def write_date(source: Path, day: str, ring: str = "") -> None:
    """Note the date of a drive ("" removes it). Raises RingpullError if it can't be written."""
    _write(source, DATE, day, ring)


def _write(source: Path, key: str, text: str, ring: str) -> dict[str, str]:
    notes = _kept(source, ring)
    if text:
        notes[key] = text
    else:
        notes.pop(key, None)
    ordered = {number: notes[number] for number in sorted(notes, key=lambda n: (len(n), n))}
    path = notes_path(source, ring)
    try:
        replace_text(path, json.dumps(ordered, indent=1, ensure_ascii=False) + "\n")
    except OSError as fault:
        raise RingpullError(
            f"{path} can't be written.",
            f"The folder is read-only or full ({fault.strerror}).",
            "Copy the card's files to a folder of your own and note it there.",
        ) from None
    return ordered
