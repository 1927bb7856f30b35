"""The date of a drive: from the logger's clock, else as noted by the user, else guessed from the file's date."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import UTC, date, datetime
from pathlib import Path
from typing import Any

from ringpull.files.remarks import read_date

CLOCK, CONNECTION, NOTED, FILE, UNKNOWN = "clock", "connection", "noted", "file's date", "unknown"


@dataclass(frozen=True)
class Driven:
    """The date of a drive and its source.

    day: "2026-11-20", with the time of day if it is from a clock; "" if not known. known_from: CLOCK, CONNECTION (a PC
    set the clock during the recording), NOTED, FILE (a guess, since a copy often has the date of copying) or UNKNOWN.
    """

    day: str
    known_from: str

    @property
    def words(self) -> str:
        """The date as shown to people; never empty."""
        if self.known_from == FILE:
            return f"{self.day} (a guess: the file's date)"
        return self.day or "not known: the logger has no clock"


def driven(drive: Any) -> Driven:
    """The date of a drive.Drive. Raises RingpullError if its remarks can't be read."""
    told = next((session for session in drive.sessions if session.start_utc), None)
    if told:
        return Driven(told.start_utc, CONNECTION if told.start_from == CONNECTION else CLOCK)
    noted = read_date(drive.source, drive.older_ring)
    if noted:
        return Driven(noted, NOTED)
    day = of_file(drive.source)
    return Driven(day, FILE) if day else Driven("", UNKNOWN)


def began_words(session: Any, before_utc: str | None) -> str:
    """When a session.Session began, for people; "" where nothing tells it. before_utc: of Drive.before_utc()."""
    if session.start_utc:
        return session.start_utc + (" (by the PC that was connected)" if session.start_from == CONNECTION else "")
    return f"before {before_utc} (a guess: an earlier start than the one of that time)" if before_utc else ""


def of_file(source: Path) -> str:
    """The day on which the newest ring file of SRC was written; "" if there is none."""
    source = Path(source)
    paths = [source] if source.is_file() else [*source.glob("*.rpl"), *source.glob("*/*.rpl")]
    try:
        newest = max((path.stat().st_mtime for path in paths), default=0.0)
    except OSError:
        return ""
    return datetime.fromtimestamp(newest, UTC).astimezone().date().isoformat() if newest > 0 else ""


def as_day(text: str) -> str:
    """A date in the form that is kept, "2026-11-20". Raises ValueError for any other text."""
    return date.fromisoformat(text.strip()).isoformat()
