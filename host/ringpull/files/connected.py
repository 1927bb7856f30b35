"""When sessions began by the clock of the PC that fetched them, kept in clock.json in the card folder."""

from __future__ import annotations

import json
from pathlib import Path

from ringpull.files.remarks import read_json, replace_text

NAME = "clock.json"
FORM = "%Y-%m-%dT%H:%M:%SZ"


def read(source: Path, ring: str) -> dict[str, str]:
    """Session number (as text) -> wall clock at its row 0; {} where nothing is kept. source: a card folder or a ring
    file in one."""
    folder = source if source.is_dir() else source.parent
    try:
        kept = read_json(folder / NAME) or {}
        return {str(number): str(utc) for number, utc in kept.get(ring, {}).items()}
    except (OSError, ValueError, AttributeError):  # whatever is wrong with it, the drive can be read
        return {}


def write(folder: Path, ring: str, session: int, utc: str) -> None:
    """Keep when a session began, where that is not kept yet. OSError where it can't be written."""
    kept = {str(session): utc} | read(folder, ring)
    replace_text(folder / NAME, json.dumps({ring: kept}, indent=1) + "\n")
