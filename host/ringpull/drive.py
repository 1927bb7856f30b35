"""A drive: its sessions, its pulls, its damage, and `read`, which opens it."""

from __future__ import annotations

import os
from collections.abc import Callable
from dataclasses import replace
from functools import cached_property
from pathlib import Path
from typing import TYPE_CHECKING

from ringpull.errors import NothingReadable
from ringpull.files import connected
from ringpull.files.configuration import Configuration
from ringpull.ring.blocks.rings import Ring, as_text
from ringpull.ring.blocks.store import Blocks, Damage, Store, open_store
from ringpull.ring.rows import sessions as read_sessions
from ringpull.session import Session

if TYPE_CHECKING:
    import numpy as np
    import pandas as pd

    from ringpull.analysis.answer import Answer
    from ringpull.analysis.find_pulls import Pull, View
    from ringpull.analysis.instruments.records import Instrument


class Drive:
    """The content of a ring file or a card. Made by ringpull.read()."""

    def __init__(self, source: Path, store: Store, found: read_sessions.Found, target: dict | None = None) -> None:
        self.source = source
        self._target = target
        self._store = store
        self._found = found
        fetched = connected.read(source, self.ring_id)
        self.sessions: list[Session] = [Session(blocks, fetched.get(str(blocks.id), "")) for blocks in found.sessions]

    def judged_by(self, target: dict) -> Drive:
        """This drive with another target than its configuration's: in the same form, or {"preset": name}."""
        other = Drive(self.source, self._store, self._found, target)
        other.sessions = self.sessions
        return other

    def calibrated_by(self, config: Configuration) -> Drive:
        """This drive with another configuration than its sessions' own, of the same channels: a calibration that was
        mended after the drive."""
        sessions = [
            replace(one, setup=replace(one.setup, config=config, refused=None, looked_up={}))
            for one in self._found.sessions
        ]
        return Drive(self.source, self._store, replace(self._found, sessions=sessions), self._target)

    @classmethod
    def open(
        cls, source: str | os.PathLike[str], progress: Callable[[float], None] | None = None, ring: str | None = None
    ) -> Drive:
        """See ringpull.read()."""
        path = Path(source)
        store = open_store(path, progress, ring)
        found = read_sessions.find(store)
        if not found.sessions:
            _refuse(path, store, found)
        return cls(path, store, found)

    def __repr__(self) -> str:
        return f"<Drive {self.source}: {len(self.sessions)} sessions>"

    def session(self, session_id: int) -> Session:
        """The session with this number. Raises KeyError if there is none."""
        for one in self.sessions:
            if one.id == session_id:
                return one
        raise KeyError(f"there is no session {session_id} in {self.source}")

    def before_utc(self, session_id: int) -> str | None:
        """The start of the first later session whose time is known: a session without a time began before it. A
        guess at its date, by the order of boots. None where its own time is known, or no later one. KeyError where
        there is no such session."""
        at = self.sessions.index(self.session(session_id))
        if self.sessions[at].start_utc:
            return None
        return next((one.start_utc for one in self.sessions[at + 1 :] if one.start_utc), None)

    def blocks_of(self, session: Session) -> np.ndarray:
        """The blocks of one of the sessions as they stand in the files, in order, (n, 512) uint8."""
        return self._store.fetch(session.block_runs)

    @property
    def rings(self) -> list[Ring]:
        """All rings in the files, the newest first; older drives of the card stay until they are overwritten."""
        return self._store.ordered.rings

    @property
    def ring_id(self) -> str:
        """The id of the ring that was read, in hexadecimal."""
        return as_text(self._store.ordered.ring or 0)

    @property
    def older_ring(self) -> str:
        """ring_id if it is not the newest ring, else ""."""
        return "" if any(one.newest and one.id == self.ring_id for one in self.rings) else self.ring_id

    @property
    def damage(self) -> list[Damage]:
        """The slots that were rejected, with file and reason. Rows found inconsistent when decoded are added later."""
        return self._store.damage()

    @property
    def blocks(self) -> Blocks:
        """The counts of blocks: read, damaged, missing."""
        return self._store.blocks()

    @property
    def cut_short(self) -> tuple[str, bool] | None:
        """(name, whether it has no rows) of the drive's own file, if copies of pulls reach further; else None."""
        return self._store.cut_short

    @property
    def undecoded(self) -> dict[int, int]:
        """Session -> number of row blocks that can't be decoded because all setup blocks of the session are lost."""
        return self._found.undecoded

    @cached_property
    def _found_pulls(self) -> tuple[list[View], list[Pull]]:
        from ringpull.analysis import find_pulls

        views = [find_pulls.View(session, self._target) for session in self.sessions]
        return views, find_pulls.find(views)

    def views(self) -> list[View]:
        """The sessions in the form that the analysis uses; their pulls refer to them."""
        return self._found_pulls[0]

    def pulls(self) -> list[Pull]:
        """The pulls of all sessions, marked with the button or found in the signals."""
        return self._found_pulls[1]

    def frame(self, time_index: bool = False) -> pd.DataFrame:
        """The frames of all sessions one below the other, with the column `session` to distinguish them.

        A channel that a session lacks is NaN there. attrs["units"]: column -> unit. time_index: as in Session.frame();
        times begin again with each session.
        """
        import pandas as pd

        frames = [session.frame(time_index) for session in self.sessions]
        units: dict[str, str] = {}
        for session in reversed(self.sessions):
            units |= session.units
        out = pd.concat(frames, ignore_index=not time_index) if len(frames) > 1 else frames[0].copy()
        out.attrs["units"] = {column: units[column] for column in out.columns}
        return out

    def answer(self, target: dict | None = None) -> Answer:
        """The answer to the drive: verdict, sentence, reasons, judged pulls and lean places.

        target: used instead of the configuration's, in the same form, or {"preset": name}. Without it the answer is
        computed once.
        """
        from ringpull.analysis.answer import answer

        return self._answer if target is None else answer(self, target)

    @cached_property
    def _answer(self) -> Answer:
        from ringpull.analysis.answer import answer

        return answer(self)

    def instruments(self, most_s: float | None = None) -> list[Instrument]:
        """The evidence for and against each instrument of each session (ringpull.analysis.instruments).

        most_s: examine at most so many seconds from the beginning of a session; None for all of it.
        """
        from ringpull.analysis import find_pulls

        if most_s is None:
            return [one for view in self.views() for one in view.trust.instruments]
        found = [find_pulls.beginning(session, most_s, self._target) for session in self.sessions]
        return [one for trust in found for one in trust.instruments]


def read(
    source: str | os.PathLike[str], progress: Callable[[float], None] | None = None, ring: str | None = None
) -> Drive:
    """Read the drive in SRC: a ring file, a folder of segments, or a card folder.

    progress: called with the fraction of the files that was scanned. Rows are decoded on demand. ring: id of an older
    ring, from Drive.rings, to read instead of the newest.
    Raises errors.SourceMissing, NotARingFile (no block of a ring), NothingReadable (blocks, but no rows that can be
    decoded), BadUsage (no such ring), and OSError.
    """
    return Drive.open(source, progress, ring)


def _refuse(path: Path, store: Store, found: read_sessions.Found) -> None:
    older = [one for one in store.ordered.rings if one.sessions and one.id != as_text(store.ordered.ring or 0)]
    if older:
        raise NothingReadable(
            f"{path.name} holds no rows of its newest ring that can be decoded",
            "the card was used before, and the logger has not yet recorded a second on it; or the newest drive's setup "
            "is damaged",
            "drive again; read the card's earlier drives with " + " or ".join(f"--ring {one.id}" for one in older),
        )
    if found.undecoded:
        raise NothingReadable(
            f"{path.name} holds rows, but they can't be decoded: no complete setup of their session is left",
            found.faults[0] if found.faults else "the file is a small part of a ring, or its setup blocks are damaged",
            "read the whole card, or its other ring file",
        )
    raise NothingReadable(
        f"{path.name} holds no rows",
        "it was just prepared, or the logger was switched off before it had recorded a second",
        "check that its lamp shows recording, then drive again",
    )
