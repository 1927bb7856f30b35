"""How much of the bus's time the logger's questions and the car's answers took in a session, from its rows."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from ringpull.session import Session
from shared_math.obd import bus_time, pids

USUAL_KBIT = 500  # where logger.json does not tell the rate: the stored rows do not either
NEVER = 1 << 17  # above every age


@dataclass(frozen=True)
class BusTime:
    """Shares from 0 to 1, every frame counted at its longest. mean: from the first value to the last one. most: in the
    busiest second. kbit: the bus's rate; told: whether it is logger.json's, or assumed."""

    mean: float
    most: float
    kbit: int
    told: bool


def of_rows(session: Session, raw) -> BusTime | None:
    """None where no value was asked for, or none came. raw: the session's rows.

    Values that came with one answer have one age. Frames of the first questions (who is there, codes) are left out.
    """
    came = [_answers(raw, pid, name) for pid, name in _asked(session).items()]
    keys = np.concatenate([np.zeros(0, int), *(one for one, _ in came)])
    if not len(keys):
        return None
    sizes = np.concatenate([size for _, size in came])
    answers, which = np.unique(keys, return_inverse=True)
    lengths = 1 + np.bincount(which, weights=sizes).astype(int)
    count = np.array([bus_time.frames(int(length)) for length in lengths])
    row_s = raw["row"].to_numpy() / session.rate_hz
    times = row_s[answers // NEVER] - answers % NEVER / 1000.0
    lost = np.diff(raw["bus_lost"].to_numpy().astype(int), prepend=0) & 0xFFFF
    times, count = np.concatenate([times, row_s[lost > 0]]), np.concatenate([count, lost[lost > 0]])
    inside = times >= times[: len(answers)].min()
    seconds = np.bincount((times[inside] - times[inside].min()).astype(int), weights=count[inside])
    kbit = session.config.bus_kbit
    extended = any(len(unit.who) > 3 for unit in session.codes or ())
    span_s = max(1.0, float(np.ptp(times[inside])))
    return BusTime(
        bus_time.share(float(count[inside].sum()), extended, kbit or USUAL_KBIT, span_s),
        bus_time.share(float(seconds.max()), extended, kbit or USUAL_KBIT, 1.0),
        kbit or USUAL_KBIT,
        kbit is not None,
    )


def _asked(session: Session) -> dict[int, str]:
    """PID -> a channel that asks for it."""
    return {one.config.pid: one.name for one in session.channels if one.config.pid is not None}


def _answers(raw, pid: int, name: str) -> tuple[np.ndarray, np.ndarray]:
    """(a key of row and age for each answer with this parameter, the bytes that it takes there)."""
    age = raw[name + ".held"].to_numpy().astype(int)
    at = np.flatnonzero(np.diff(age, prepend=NEVER) < 0)
    at = at[age[at] < NEVER - 1]
    return at * NEVER + age[at], np.full(len(at), 1 + (pids.length_of(pid) or 1))
