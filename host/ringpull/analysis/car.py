"""What the car's own computer says beside the logger's channels: how the bus was, how late it tells the engine speed,
whether it agrees with the tach, and what it wanted in each pull."""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np

from ringpull.analysis.bus_time import BusTime, of_rows
from ringpull.files.configuration import crank_of
from ringpull.session import Channel, Session
from shared_math import bus_states, channels
from shared_math.obd.status import CLOSED

EARLIEST_S, LATEST_S, STEP_S = -0.10, 0.60, 0.005
STRETCH_S = 8.0
MOVES_RPM = 400.0  # a stretch with less tells nothing of a delay
LEAST_STRETCHES = 4
LEAST_VALUES = 20  # of a stretch
DISAGREES = 0.03  # of engine speed: the tach's per_rev, or another unit's value
SPEED, COMMANDED, SPARK, INTAKE, SHORT_TRIM, LONG_TRIM = 0x0C, 0x44, 0x0E, 0x0F, 0x06, 0x07
FUEL_STATE = 0x03
TRIMS = (SHORT_TRIM, LONG_TRIM)


@dataclass(frozen=True)
class Delay:
    """How much later than the tach the bus tells engine speed: seconds, and half of its 95 % interval. stretches: that
    it is from. off: median difference between the two with the delay undone, as a share."""

    delay_s: float
    u_s: float
    stretches: int
    off: float

    @property
    def disagrees(self) -> bool:
        """Whether the two speak of different speeds."""
        return self.off > DISAGREES


@dataclass
class CarSaid:
    """Of one session. states: numbers of bus_states.py, in the order in which they came. lost: answers that never came
    whole. trip_ms: median from request to answer, None where nothing answered. time: of the bus, that asking took."""

    session: int
    states: list[int]
    lost: int
    trip_ms: float | None
    delay: Delay | None = None
    time: BusTime | None = None
    never: list[Channel] = field(default_factory=list)  # channels that got no value although the bus spoke
    pulls: dict[int, dict[int, float]] = field(default_factory=dict)  # pull's number -> PID -> mean
    # pull's number -> states of the fuel system in it (numbers of status.fuel_state), the longest first
    fuel: dict[int, list[int]] = field(default_factory=dict)
    trims: bool = False  # one is logged
    closed_s: float = 0.0  # in closed loop, as far as its state is known,
    closed: dict[int, float] = field(default_factory=dict)  # and the trims' means there: PID -> per cent


def of_session(session: Session, answers: list) -> CarSaid | None:
    """None where the session has no channel from the bus. answers: of its pulls; means are over the rows that were
    judged."""
    if not any(one.kind in channels.BUS_KINDS for one in session.channels):
        return None
    raw = session.awake.raw()
    state = raw["bus_state"].to_numpy().astype(int)
    changed = state[np.diff(state, prepend=-1) != 0]
    trip = raw["bus_trip"].to_numpy()
    answered = trip[trip < trip.max(initial=0)] if trip.max(initial=0) == 4095 else trip
    out = CarSaid(
        session.id,
        list(dict.fromkeys(changed.tolist())),
        int(raw["bus_lost"].iloc[-1]) if len(raw) else 0,
        float(np.median(answered)) if len(answered) else None,
        _delay(session, raw),
        of_rows(session, raw),
    )
    table = session.awake.table()
    out.trims = any(_first(session, table, part) is not None for part in TRIMS)
    _in_closed_loop(out, session, table)
    if bus_states.ANSWERED in out.states or bus_states.LISTENING in out.states:
        told = [one for one in session.channels if one.kind in channels.BUS_KINDS]
        out.never = [one for one in told if not np.isfinite(table[one.column]).any()]
    for answer in answers:
        pull, judged = answer.pull, answer.judged
        inside = (table["time_s"] >= pull.start_s) & (table["time_s"] < pull.end_s)
        keep = judged.masks.valid & judged.loaded
        if len(keep) == len(inside) and (inside & keep).any():
            inside = inside & keep
        state = _first(session, table, FUEL_STATE)
        out.fuel[pull.number] = [] if state is None else _longest_first(state[inside])
        found = {}
        for part in (COMMANDED, SPARK, INTAKE, *TRIMS):
            values = _first(session, table, part)
            if values is None:
                continue
            # In open loop a trim is a leftover: nothing follows it
            there = inside & np.isin(state, CLOSED) if part in TRIMS and state is not None else inside
            if np.isfinite(values[there]).any():
                found[part] = float(np.nanmean(values[there]))
        out.pulls[pull.number] = found
    return out


def _first(session: Session, table, pid: int) -> np.ndarray | None:
    """The decoded column of the first channel that asks for a parameter; None without one."""
    return next((table[one.column] for one in session.channels if one.config.pid == pid), None)


def _in_closed_loop(out: CarSaid, session: Session, table) -> None:
    """The trims' means over all of a session's closed loop."""
    state = _first(session, table, FUEL_STATE)
    if state is None:
        return
    closed = np.isin(state, CLOSED)
    out.closed_s = float(closed.sum()) / session.rate_hz
    for part in TRIMS:
        values = _first(session, table, part)
        if values is not None and np.isfinite(values[closed]).any():
            out.closed[part] = float(np.nanmean(values[closed]))


def _longest_first(states: np.ndarray) -> list[int]:
    known, count = np.unique(states[np.isfinite(states)], return_counts=True)
    return [int(one) for one in known[np.argsort(-count, kind="stable")]]


def _delay(session: Session, raw) -> Delay | None:
    asked = [one for one in session.channels if one.config.pid == SPEED]
    crank = crank_of(session.config.channels)
    if not asked or crank is None:
        return None
    table = session.awake.table()
    age_s = raw[asked[0].name + ".held"].to_numpy() / 1000.0
    told = table[asked[0].column]
    new = np.diff(age_s, prepend=np.inf) < 0  # a value that was not there in the row before
    keep = new & np.isfinite(told)
    times, told = (table["time_s"] - age_s)[keep], told[keep]
    tach_s, tach = table["time_s"], table[crank.column]
    known = np.isfinite(tach)
    if known.sum() < 2 or not len(times):
        return None
    tach_s, tach = tach_s[known], tach[known]
    found = []
    for start in np.arange(times[0], times[-1], STRETCH_S):
        inside = (times >= start) & (times < start + STRETCH_S)
        if inside.sum() < LEAST_VALUES or np.ptp(told[inside]) < MOVES_RPM:
            continue
        one = _of_stretch(times[inside], told[inside], tach_s, tach)
        if one is not None:
            found.append(one)
    if len(found) < LEAST_STRETCHES:
        return None
    delays = np.array(found)
    middle = float(np.mean(delays))
    u_s = _t975(len(delays) - 1) * float(np.std(delays, ddof=1)) / np.sqrt(len(delays))
    there = np.interp(times - middle, tach_s, tach)
    turning = there > 300.0
    off = float(np.median(np.abs(told[turning] / there[turning] - 1.0))) if turning.any() else 0.0
    return Delay(middle, u_s, len(delays), off)


def _of_stretch(times: np.ndarray, told: np.ndarray, tach_s: np.ndarray, tach: np.ndarray) -> float | None:
    """The delay with the least squared difference, a parabola through the three least; None at the end of the range."""
    grid = np.arange(EARLIEST_S, LATEST_S + STEP_S / 2, STEP_S)
    error = np.array([np.mean((told - np.interp(times - delay, tach_s, tach)) ** 2) for delay in grid])
    at = int(np.argmin(error))
    if at in (0, len(grid) - 1):
        return None
    before, here, after = error[at - 1 : at + 2]
    bend = before - 2 * here + after
    return float(grid[at] + (0.5 * (before - after) / bend if bend > 0 else 0.0) * STEP_S)


def _t975(degrees: int) -> float:
    from ringpull.analysis.cells import stats

    return stats.t_quantile(0.975, degrees)
