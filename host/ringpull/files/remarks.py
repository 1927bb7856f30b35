"""Remarks about pulls, kept in a small JSON file beside the ring file; the ring file itself is never touched."""

from __future__ import annotations

import json
import os
import tempfile
from pathlib import Path
from typing import Any

from ringpull.errors import RingpullError

NAME = "notes.json"
MOST_BYTES = 1 << 22


def notes_path(source: Path, ring: str = "") -> Path:
    """notes.json in the card folder, or FILE.notes.json beside a single ring file. ring: id of an older ring of the
    card, whose pulls have numbers of their own and whose remarks a file of their own."""
    source = Path(source)
    name = f"{ring}.{NAME}" if ring else NAME
    return source / name if source.is_dir() else source.with_name(source.name + "." + name)


def read_notes(source: Path, ring: str = "") -> dict[str, str]:
    """Pull number (as text) -> remark; empty where there is no file. RingpullError when the file can't be read."""
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
    notes = read_notes(source, ring)
    if text:
        notes[str(pull)] = text
    else:
        notes.pop(str(pull), None)
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
