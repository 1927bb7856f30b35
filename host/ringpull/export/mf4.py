"""The decoded table as an ASAM MDF 4 file: a channel group for each session, with units and invalid values marked."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np

from ringpull.errors import MissingPart

if TYPE_CHECKING:
    from ringpull.drive import Drive
    from ringpull.session import Session


def write(drive: Drive, sessions: list[Session], path: Path, progress: Callable[[float], None]) -> int:
    """Write the sessions and return the number of rows. Raises MissingPart if asammdf is not installed."""
    try:
        from asammdf import MDF, Signal
    except ImportError:
        raise MissingPart(
            "MDF 4 files can't be written: asammdf is not installed",
            "it is an extra of ringpull, needed only for MDF 4",
            "run pip install '.[mf4]' in the folder that Ringpull was unpacked in",
        ) from None
    rows = 0
    with MDF(version="4.10") as mdf:
        for done, session in enumerate(sessions):
            pieces = list(session.tables())
            table = {name: np.concatenate([piece[name] for piece in pieces]) for name in pieces[0]}
            units = {channel.column: channel.unit for channel in session.channels}
            signals = []
            for name, values in table.items():
                if name == "time_s":
                    continue
                invalid = np.isnan(values) if values.dtype.kind == "f" else None
                signal = Signal(
                    samples=np.where(invalid, 0.0, values) if invalid is not None else values,
                    timestamps=table["time_s"],
                    name=name,
                    unit=units.get(name, ""),
                    invalidation_bits=invalid if invalid is not None and invalid.any() else None,
                )
                signals.append(signal)
            start = f", started {session.start_utc}" if session.start_utc else ""
            mdf.append(signals, acq_name=f"session {session.id}", comment=f"session {session.id}{start}")
            rows += len(table["time_s"])
            progress((done + 1) / len(sessions))
        mdf.save(path, overwrite=True, compression=1)
    return rows
