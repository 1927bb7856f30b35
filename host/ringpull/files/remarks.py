"""Remarks about pulls and about moments of a drive, kept in two small JSON files beside the ring file, which is never
touched. Whoever shows remarks shows both."""

from __future__ import annotations

import json
import os
import tempfile
from collections.abc import Iterable
from pathlib import Path
from typing import Any, NamedTuple

from ringpull.errors import RingpullError

NAME, TIMES = "notes.json", "times.json"
DATE = "date"  # key of notes.json beside the pulls' numbers
MOST_BYTES = 1 << 22


def notes_path(source: Path, ring: str = "") -> Path:
    """notes.json in the card folder, or FILE.notes.json beside a single ring file. ring: id of an older ring of the
    card, whose pulls have numbers of their own and whose remarks a file of their own."""
    return _beside(source, NAME, ring)


def times_path(source: Path, ring: str = "") -> Path:
    """times.json likewise: remarks on moments."""
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
    """Remarks on moments, in order. OSError, or ValueError where the file is there and can't be read."""
    found = read_json(times_path(source, ring))
    try:
        return sorted(Moment(int(r["session"]), float(r["time_s"]), writable(str(r["text"]))) for r in found or [])
    except (TypeError, KeyError, OverflowError):
        raise ValueError from None


def of_pulls(source: Path, pulls: Iterable[Any], ring: str = "") -> dict[str, str]:
    """Pull number (as text) -> all that was remarked about it: its note, then what was kept on moments in it. pulls:
    with number, session, start_s and end_s. RingpullError as read_notes; damaged remarks on moments count as none."""
    out = read_notes(source, ring)
    for number, words in placed(source, pulls, ring):
        if number is not None:
            key = str(number)
            out[key] = f"{out[key]}; {words}" if key in out else words
    return out


def placed(source: Path, pulls: Iterable[Any], ring: str = "") -> list[tuple[int | None, str]]:
    """(number of the pull that it lies in or None, words) of each remark on a moment."""
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
    """Pull number (as text) -> remark; empty where there is no file. RingpullError when the file can't be read."""
    return {number: text for number, text in _kept(source, ring).items() if number != DATE}


def read_date(source: Path, ring: str = "") -> str:
    """The date that was noted of a drive; "" where none was. RingpullError as read_notes."""
    return _kept(source, ring).get(DATE, "")


def _kept(source: Path, ring: str) -> dict[str, str]:
    path = notes_path(source, ring)
    try:
        notes = read_json(path)
        if not isinstance(notes, dict | None):
            raise ValueError
    except (ValueError, OSError):
        raise RingpullError(
            f"{path} can't be read as remarks.",
            "It was edited by hand, or cut short.",
            "Mend it so that it holds one JSON object of pull number and text, or delete it.",
        ) from None
    return {writable(str(number)): writable(str(text)) for number, text in (notes or {}).items()}


def read_json(path: Path) -> Any:
    """What a small JSON file holds, None where there is none. ValueError where it is no such file, OSError."""
    if not path.exists():
        return None
    if not path.is_file() or path.stat().st_size > MOST_BYTES:  # a pipe would be waited for
        raise ValueError
    try:
        return json.loads(path.read_text(encoding="utf-8"))
    except RecursionError:
        raise ValueError from None


def writable(text: str) -> str:
    """A text without what no file and no terminal takes: half of a surrogate pair becomes a question mark."""
    return text.encode("utf-8", "replace").decode("utf-8")


def replace_text(path: Path, words: str) -> None:
    """Put a text in a file's place: all of it or nothing, and never through a link that lies there. OSError, or
    ValueError where the text can't be written as UTF-8."""
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
    """Set (or with "" remove) the remark of one pull; returns all remarks. RingpullError when it can't be written."""
    kept = _write(source, str(pull), text, ring)
    return {number: words for number, words in kept.items() if number != DATE}


def write_date(source: Path, day: str, ring: str = "") -> None:
    """Note (or with "" forget) the date of a drive. RingpullError when it can't be written."""
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
            "Copy the card's files to a folder of yours and note there.",
        ) from None
    return ordered
