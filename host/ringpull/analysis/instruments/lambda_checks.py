"""Checks of each lambda sensor against the drive."""

from __future__ import annotations

import numpy as np

from ringpull.analysis import local
from ringpull.analysis.drive_state.columns import Columns
from ringpull.analysis.instruments.glance import CLOSED_ABOVE_REST_PCT, RUNNING_RPM, Glance, lambda_range
from ringpull.analysis.instruments.records import Cause, Check, Finding, State, contradicted, not_tested, sound
from shared_math import judging

# Standing still: changing by less than this over STILL_S although the load changed early enough for its gas to arrive.
# The mixture of any engine scatters by more
STILL_LAMBDA, STILL_S, REACTION_S = 0.005, 3.0, 1.2
LOAD_KPA, LOAD_PCT = 30.0, 30.0
RICH_END, LEAN_END = 0.03, 0.01  # share of the range within which the output counts as being at that end
DEAD_S = 0.5
BREAKS_LEAST = 8
WARM_UP_S = 90.0  # a controller may hold its output at the rich end for so long after power-on
AIR_SHARE = 0.95
CUT_S, CUT_RISE, CUT_WAIT_S = 0.8, 0.10, 2.5
CUTS_LEAST = 2
CRUISE_RPM = (1200.0, 4500.0)
CRUISE_SLOPE_RPM_S, CRUISE_SETTLED_S, CRUISE_S = 150.0, 1.2, 6.0
CRUISE_WANTED = (0.95, 1.02)
CRUISE_OFF, CRUISE_QUARTER_OFF = 0.050, 0.035  # lambda: no closed loop stays further from its target for so long
STEP_TAU_S, STEP_CHANGE = 0.020, 0.40  # lag of the fastest sensor, largest change of mixture under load
SETTLED_S, BEFORE_OFF_S = 0.7, 0.3  # a fuel cut may follow at once when the load is taken off
STEPS_LEAST = 10
RICH_OFF, RICH_OFF_UNTESTED, RICH_S = 0.05, 0.04, 2.0  # lambda under load; the second if no cruise tested the scale
TAIL_FROM, TAIL_TO, TAIL_LEAST_S, TAIL_WITHIN_S = 1.20, 1.08, 0.15, 8.0
TAIL_S, TAILS_LEAST = 0.7, 2  # five times the slowest sound sensor, with an allowance for wall film
BEHIND_S, BEHIND_MOST_S = 1.3, 5.0
BEHIND_MOVES, BEHIND_BELOW, BEHIND_CORRELATION = 0.03, 1.15, 0.6
TWINS_APART = 0.0012  # two inputs on one wire differ by less, two sensors by more
BANK_MOVES, BANK_STILL_SHARE, BANK_CORRELATION, BANK_S = 0.03, 0.25, 0.3, 20.0


def ends(columns: Columns, name: str) -> tuple[np.ndarray, np.ndarray]:
    """(where a bank's sensor is at the rich end of its range, where at the lean end), (rows,)."""
    least, most = lambda_range(columns, name)
    span = most - least if np.isfinite(most - least) else 0.0
    with np.errstate(invalid="ignore"):
        return columns.banks[name] <= least + RICH_END * span, columns.banks[name] >= most - LEAN_END * span


def measured(columns: Columns, name: str) -> np.ndarray:
    """A bank's lambda between the ends of its range, NaN elsewhere."""
    rich, lean = ends(columns, name)
    return np.where(rich | lean, np.nan, columns.banks[name])


def moving(values: np.ndarray, width: int) -> tuple[np.ndarray, np.ndarray]:
    """(least, most) over `width` steps from each step, (steps - width + 1,); NaN if one of them is not known."""
    if len(values) < width:
        return np.zeros(0), np.zeros(0)
    windows = np.lib.stride_tricks.sliding_window_view(values, width)
    return windows.min(axis=1), windows.max(axis=1)


def load_moved(glance: Glance, width: int, early: int) -> np.ndarray:
    """Whether throttle or pressure changed within the first `early` of `width` steps from each step."""
    out = np.zeros(max(0, len(glance) - width + 1), bool)
    for values, least in ((glance.throttle, LOAD_PCT), (glance.map_kpa, LOAD_KPA)):
        low, high = moving(values, early)
        with np.errstate(invalid="ignore"):
            out |= (high - low)[: len(out)] >= least
    return out


def still_runs(glance: Glance, values: np.ndarray, within: float, seconds: float) -> list[tuple[int, int]]:
    """Stretches with the engine running in which a column changes by less than `within` over any `seconds`."""
    width = glance.steps(seconds)
    low, high = moving(np.where(glance.running, values, np.nan), width)
    with np.errstate(invalid="ignore"):
        begins = np.flatnonzero(high - low <= within)
    flags = np.zeros(len(glance) + 1, np.int64)
    np.add.at(flags, begins, 1)
    np.add.at(flags, begins + width, -1)
    return local.spans(np.cumsum(flags[:-1]) > 0)


def moves(glance: Glance, name: str) -> Finding:
    """Whether a sensor's reading changes when the load does."""
    values = glance.mean(measured(glance.columns, name))
    width = glance.steps(STILL_S)
    asked = load_moved(glance, width, glance.steps(STILL_S - REACTION_S))
    runs = still_runs(glance, values, STILL_LAMBDA, STILL_S)
    frozen = [(a, b) for a, b in runs if asked[a : b - width + 1].any()]
    tested_s = float(np.count_nonzero(asked & np.isfinite(values[: len(asked)]))) * glance.step_s
    if frozen:
        seconds = sum(b - a for a, b in frozen) * glance.step_s
        at = float(np.nanmedian(np.concatenate([values[a:b] for a, b in frozen])))
        spans = tuple(glance.span(*run) for run in frozen)
        return contradicted(Check.MOVES, Cause.SENSOR, spans, seconds=seconds, at=at, load_s=tested_s)
    return sound(Check.MOVES, load_s=tested_s) if tested_s > 0 else not_tested(Check.MOVES)


def silent(glance: Glance, name: str) -> np.ndarray:
    """Rows in which the engine runs and the sensor measures nothing, (rows,).

    It is at the rich end, in a state that means heating, or outside its range. Other states are reported by the
    controller itself and do not count.
    """
    columns = glance.columns
    nothing = ~np.isfinite(columns.banks[name])
    for (channel, state), flags in columns.states.items():
        if channel == name and columns.meaning(channel, state) != judging.HEATING:
            nothing &= ~flags
    if "present" in columns.extra:
        nothing &= columns.extra["present"] > 0.5
    with np.errstate(invalid="ignore"):
        return (nothing | ends(columns, name)[0]) & (columns.rpm > RUNNING_RPM)


def dead(glance: Glance, name: str) -> Finding:
    """Whether the sensor goes on measuring once it has begun.

    No running petrol engine stays at the rich end, but an output without power does.
    """
    columns = glance.columns
    if not glance.running.any():
        return not_tested(Check.DEAD)
    period_s = columns.period_s
    nothing = silent(glance, name)
    started = int(np.argmax(columns.rpm > RUNNING_RPM))
    runs = [(a, b) for a, b in local.spans(nothing) if (b - a) * period_s >= DEAD_S]
    # the first stretch is the warm-up, if it ends in time
    runs = [
        (a, b)
        for a, b in runs
        if not ((a - started) * period_s < 5.0 and (b - started) * period_s < WARM_UP_S and b < len(columns) - 1)
    ]
    if not runs:
        return sound(Check.DEAD, seconds=0.0)
    spans = tuple(glance.times(a, b) for a, b in runs)
    return contradicted(Check.DEAD, Cause.POWER, spans, seconds=sum(b - a for a, b in runs) * period_s)


def breaks(glance: Glance, name: str) -> Finding:
    """Whether the reading drops out and returns repeatedly, as with a loose contact."""
    period_s = glance.columns.period_s
    if np.count_nonzero(glance.running) * glance.step_s < CRUISE_S:
        return not_tested(Check.BREAKS)
    runs = local.spans(silent(glance, name))
    short = [(a, b) for a, b in runs if (b - a) * period_s < DEAD_S]
    figures = {"breaks": float(len(short)), "seconds": sum(b - a for a, b in short) * period_s}
    if len(short) >= BREAKS_LEAST:
        return contradicted(Check.BREAKS, Cause.LOOSE, **figures)
    return sound(Check.BREAKS, **figures)


def in_air(glance: Glance, name: str) -> Finding:
    """Whether the output is at the lean end throughout."""
    lean = shares_of(glance, ends(glance.columns, name)[1])
    known = np.isfinite(glance.mean(glance.columns.banks[name])) & glance.running
    if np.count_nonzero(known) * glance.step_s < CRUISE_S:
        return not_tested(Check.IN_AIR)
    share = float((lean[known] > 0.5).mean())
    if share >= AIR_SHARE:
        return contradicted(Check.IN_AIR, Cause.WIRING, share=share)
    return sound(Check.IN_AIR, share=share)


def shares_of(glance: Glance, flags: np.ndarray) -> np.ndarray:
    return glance.mean(flags.astype(float))


def answers_cuts(glance: Glance, name: str) -> Finding:
    """Whether lambda rises after known fuel cuts.

    Without injector time or commanded lambda no cut is known for certain, since many engines do not cut fuel.
    """
    if glance.cuts is None:
        return not_tested(Check.CUTS)
    values = glance.mean(glance.columns.banks[name])
    wait = glance.steps(CUT_WAIT_S)
    answered, failed, slowest_s = 0, [], 0.0
    for first, last in glance.cuts:
        if (last - first) * glance.step_s < CUT_S or first < glance.steps(0.5):
            continue
        before = values[first - glance.steps(0.4) : first]
        after = values[first : last + wait]
        if not np.isfinite(before).any() or np.isfinite(after).mean() < 0.9 or len(after) < last - first + wait // 2:
            continue
        with np.errstate(invalid="ignore"):
            rises = np.flatnonzero(after > np.nanmean(before) + CUT_RISE)
        if np.nanmean(before) > lambda_range(glance.columns, name)[1] - 2 * CUT_RISE:
            continue
        if len(rises):
            answered += 1
            slowest_s = max(slowest_s, float(rises[0]) * glance.step_s)
        else:
            failed.append((first, last + wait))
    cuts = answered + len(failed)
    if cuts < CUTS_LEAST:
        return not_tested(Check.CUTS)
    if len(failed) >= CUTS_LEAST and failed[-1][0] > 0 and (answered == 0 or len(failed) > answered):
        spans = () if answered == 0 else tuple(glance.span(*run) for run in failed)
        return contradicted(
            Check.CUTS, Cause.SENSOR, spans, cuts=float(cuts), answered=float(answered), slowest_s=slowest_s
        )
    return sound(Check.CUTS, cuts=float(cuts), answered=float(answered), slowest_s=slowest_s)


def cruises(glance: Glance) -> np.ndarray:
    """Settled steps of steady part load where the target is that of a closed loop."""
    with np.errstate(invalid="ignore"):
        steady = (glance.rpm > CRUISE_RPM[0]) & (glance.rpm < CRUISE_RPM[1]) & ~glance.loaded
        steady &= np.abs(glance.rpm_slope) < CRUISE_SLOPE_RPM_S
        steady &= (glance.wanted >= CRUISE_WANTED[0]) & (glance.wanted <= CRUISE_WANTED[1])
        if np.isfinite(glance.throttle).any():
            steady &= glance.throttle > glance.throttle_rest + 2.0
    for first, last in glance.cuts or ():
        steady[first:last] = False
    return ~local.spread_after(~steady, glance.steps(CRUISE_SETTLED_S))


def cruise(glance: Glance, name: str, trusted_load: bool) -> Finding:
    """Whether lambda stays near its target in long steady cruise, if the target is 1.0."""
    values = glance.mean(measured(glance.columns, name))
    good = cruises(glance) & np.isfinite(values)
    seconds = float(np.count_nonzero(good)) * glance.step_s
    if not trusted_load or seconds < CRUISE_S:
        return not_tested(Check.CRUISE)
    shown, wanted = float(np.median(values[good])), float(np.median(glance.wanted[good]))
    off = np.percentile(values[good] - glance.wanted[good], (25, 50, 75))
    figures = {"seconds": seconds, "lambda": shown, "target": wanted}
    near = min(abs(off[0]), abs(off[2])) if off[0] * off[2] > 0 else 0.0
    if abs(off[1]) > CRUISE_OFF and near > CRUISE_QUARTER_OFF:
        return contradicted(Check.CRUISE, Cause.SCALE, **figures)
    return sound(Check.CRUISE, **figures)


def rich(glance: Glance, name: str, cruised: Finding) -> Finding:
    """Whether lambda under load is far richer than its target throughout.

    Such a rich engine is rare, but a wrong scale is not, and it could hide a lean event. cruised: the finding of
    `cruise`.
    """
    values = glance.mean(measured(glance.columns, name))
    settled = ~local.spread_after(~glance.loaded, glance.steps(SETTLED_S))
    good = settled & np.isfinite(values) & np.isfinite(glance.wanted)
    seconds = float(np.count_nonzero(good)) * glance.step_s
    if seconds < RICH_S or cruised.state is State.CONTRADICTED:
        return not_tested(Check.RICH)
    off = float(np.median(values[good] - glance.wanted[good]))
    figures = {"seconds": seconds, "off": off}
    if off < -(RICH_OFF if cruised.state is State.SOUND else RICH_OFF_UNTESTED):
        return contradicted(Check.RICH, Cause.SCALE, **figures)
    return sound(Check.RICH, **figures)


def quick(glance: Glance, name: str) -> Finding:
    """Whether lambda falls after fuel cuts as fast as a sound sensor's, and follows its target soon enough."""
    values = glance.mean(glance.columns.banks[name])
    tails = []
    with np.errstate(invalid="ignore"):
        for first, last in local.spans(values > TAIL_FROM):
            if (last - first) * glance.step_s < TAIL_LEAST_S:
                continue
            after = values[last : last + glance.steps(TAIL_WITHIN_S)]
            below = np.flatnonzero(after < TAIL_TO)
            if len(below) and (after[: below[0]] <= TAIL_FROM).all():
                tails.append(float(below[0]) * glance.step_s)
    behind_s, correlation = behind(glance, values)
    tail_s = float(np.median(tails)) if len(tails) >= TAILS_LEAST else float("nan")
    figures = {"tails": float(len(tails)), "tail_s": tail_s, "behind_s": behind_s, "correlation": correlation}
    if tail_s > TAIL_S or behind_s > BEHIND_S:
        return contradicted(Check.QUICK, Cause.SENSOR, **figures)
    if np.isfinite(tail_s) or np.isfinite(behind_s):
        return sound(Check.QUICK, **figures)
    return not_tested(Check.QUICK)


def behind(glance: Glance, values: np.ndarray) -> tuple[float, float]:
    """(seconds by which lambda follows its target, their correlation then).

    NaN if the target hardly changes or lambda does not follow it. Fuel cuts are left out, since no target shows them.
    """
    nothing = float("nan"), float("nan")
    wanted = np.where(glance.running, glance.wanted, np.nan)
    with np.errstate(invalid="ignore"):
        shut = glance.throttle < glance.throttle_rest + CLOSED_ABOVE_REST_PCT
        shown = np.where(values < BEHIND_BELOW, values, np.nan)
    wanted = np.where(shut, np.nan, wanted)
    known = wanted[np.isfinite(wanted)]
    if len(known) < 200 or float(np.std(known)) < BEHIND_MOVES:
        return nothing
    found = []
    for lag in range(glance.steps(BEHIND_MOST_S)):
        x, y = wanted[: len(wanted) - lag], shown[lag:]
        good = np.isfinite(x) & np.isfinite(y)
        if np.count_nonzero(good) < 200 or np.std(x[good]) < 0.5 * BEHIND_MOVES or np.std(y[good]) < 1e-9:
            found.append(-1.0)
        else:
            found.append(float(np.corrcoef(x[good], y[good])[0, 1]))
    best = int(np.argmax(found))
    return (best * glance.step_s, found[best]) if found[best] >= BEHIND_CORRELATION else nothing


def steps(glance: Glance, name: str) -> Finding:
    """Whether lambda under load ever changes faster than the fastest sensor could show."""
    columns = glance.columns
    off = ~np.repeat(glance.loaded, glance.rows)
    before = local.spread_after(off[::-1], round(BEFORE_OFF_S / columns.period_s))[::-1]
    loaded = ~(local.spread_after(off, round(SETTLED_S / columns.period_s)) | before)
    values = columns.banks[name][: len(loaded)]
    most = max(0.06, STEP_CHANGE * (1.0 - np.exp(-columns.period_s / STEP_TAU_S)))
    with np.errstate(invalid="ignore"):
        change = np.abs(np.diff(values)) * (loaded[1:] & loaded[:-1])
    jumps = np.flatnonzero(np.nan_to_num(change) > most)
    seconds = float(np.count_nonzero(loaded)) * columns.period_s
    if seconds < 1.0:
        return not_tested(Check.STEPS)
    largest = float(np.nanmax(change)) if np.isfinite(change).any() else 0.0
    figures = {"steps": float(len(jumps)), "seconds": seconds, "largest": largest}
    if len(jumps) >= STEPS_LEAST:
        return contradicted(Check.STEPS, Cause.LOOSE, **figures)
    return sound(Check.STEPS, **figures)


def twins(glance: Glance, name: str, other: str) -> Finding:
    """Whether two banks' readings differ at all; those of two inputs on one wire do not."""
    a, b = (measured(glance.columns, one) for one in (name, other))
    with np.errstate(invalid="ignore"):
        good = np.isfinite(a) & np.isfinite(b) & (glance.columns.rpm > RUNNING_RPM)
    if np.count_nonzero(good) * glance.columns.period_s < BANK_S or np.std(a[good]) < BANK_MOVES:
        return not_tested(Check.TWINS)
    apart = float(np.std(a[good] - b[good]))
    return (
        sound(Check.TWINS, apart=apart) if apart > TWINS_APART else contradicted(Check.TWINS, Cause.WIRING, apart=apart)
    )


def banks_agree(glance: Glance, name: str, other: str) -> Finding:
    """Whether two banks move together; a bank that hardly moves while the other does is contradicted."""
    a, b = (glance.mean(measured(glance.columns, one)) for one in (name, other))
    good = glance.running & np.isfinite(a) & np.isfinite(b)
    if np.count_nonzero(good) * glance.step_s < BANK_S:
        return not_tested(Check.BANKS)
    own, others = float(np.std(a[good])), float(np.std(b[good]))
    if max(own, others) < BANK_MOVES:
        return not_tested(Check.BANKS)
    correlation = float(np.corrcoef(a[good], b[good])[0, 1]) if min(own, others) > 1e-9 else 0.0
    figures = {"correlation": correlation, "own": own, "other": others}
    if correlation < BANK_CORRELATION and own <= others:
        return contradicted(Check.BANKS, Cause.SENSOR, **figures)
    return sound(Check.BANKS, **figures) if correlation >= BANK_CORRELATION else not_tested(Check.BANKS)
