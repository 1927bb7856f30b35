"""The tach from end to end at its limits: slowest to fastest, ringing of a coil, missing edges.

Through the firmware's pin-interrupt tach on the desk, whose ticks are whole microseconds, up to 2000 edges a second.
"""

import json

import numpy as np
import pytest
from truth import desk
from truth.profile import Profile, holds, ramps
from truth.signals import Signals, Tach, cycle_s

import ringpull
from ringpull.dryrun.run import dry_run
from ringpull.ring.values import edges as read_edges
from shared_math import config

STEADY = 0.0005
LAMBDA = Profile([(0, 0.9), (1, 0.9)])
# pulses a turn -> speeds; an age of 1.05 s is the longest that a row can tell, so a pulse in two turns ends at 115
# 1/min
SPEEDS = {
    0.5: [120, 900, 7000, 15000],
    1: [60, 900, 7000, 15000],
    2: [60, 800, 6000, 15000],
    3: [60, 2500, 15000],
    8: [60, 3300, 15000],
    17.14: [60, 1000, 7000],
    60: [60, 500, 2000],
}


@pytest.mark.parametrize(
    "per_rev", [pytest.param(one, marks=pytest.mark.slow if one in (1, 3, 8) else ()) for one in SPEEDS]
)
def test_steady_speed_over_half_a_second(tmp_path, per_rev):
    """Mean of what is told over whole cycles in 0.5 s (a cycle where that is longer), and each row by itself."""
    levels = SPEEDS[per_rev]
    assert max(levels) * per_rev / 60 <= 2000
    speed = holds(levels, 9.0)
    signals = Signals(speed, Tach(per_rev, max_rpm=max(300, max(levels))), {"lambda_1": LAMBDA}, 200)
    (session,) = ringpull.read(desk.dry_run(signals, tmp_path)).sessions
    frame = session.frame()
    zero_s = desk.power_on_s(session.raw(), signals, session.period_s)
    error, _ = desk.speed_error(frame, zero_s, signals, session.period_s)
    assert np.isfinite(error).all() and np.abs(error).max() < STEADY
    t_s, told = frame["time_s"].to_numpy() + zero_s, frame["engine_speed_rpm"].to_numpy()
    for n, rpm in enumerate(levels):
        cycle = float(cycle_s(rpm))
        wide = max(1, int(0.5 / cycle)) * cycle
        begin = 9.0 * n + max(2.2 * cycle + 1 / per_rev * 60 / rpm, 0.1)
        for start in np.arange(begin, 9.0 * (n + 1) - wide - 2.2 * cycle - 60 / rpm / per_rev, 0.5):
            mean = told[(t_s >= start) & (t_s < start + wide)].mean()
            assert abs(mean / rpm - 1) < STEADY, (rpm, start, mean)


def ringing(edges_s, rng, longest_us):
    """One to five edges 20 us to `longest_us` after each true one."""
    out = [edges_s]
    for _ in range(5):
        hit = edges_s[rng.random(edges_s.size) < 0.6]
        out.append(hit + rng.uniform(20, longest_us, hit.size) / 1e6)
    first = edges_s + rng.uniform(20, longest_us, edges_s.size) / 1e6
    return np.sort(np.concatenate([*out, first]))


def coil_drive(folder, channel, edges_s, until_s):
    folder.mkdir()
    lam = {"name": "lambda_1", "input": "a0", "kind": "lambda", "volts": [0, 5], "values": [0.6, 1.4]}
    (folder / "logger.json").write_text(json.dumps({"version": 1, "channels": [channel, lam]}))
    (folder / "volts.csv").write_text(f"t_s,lambda_1\n0,2.0\n{until_s},2.0\n")
    (folder / "edges.csv").write_text("t_s,input\n" + "".join(f"{t:.6f},engine_speed\n" for t in edges_s))
    dry_run(folder / "logger.json", folder / "volts.csv", folder / "edges.csv", None, folder / "card")
    (session,) = ringpull.read(folder / "card").sessions
    return session


# pulses a turn, highest speed, where the filter is written: the last has 601 us between edges at the most for 300 of
# ringing
COILS = {
    "wasted spark": (1, 9000, None),
    "distributor": (2, 9000, None),
    "six cylinders": (3, 9000, 320),
    "at the limit": (8, 12479, None),
}


@pytest.mark.parametrize("coil", COILS)
def test_a_coils_ringing_changes_nothing(tmp_path, coil):
    """Up to six edges within 300 us after each true one: every number stored but the refused edges stays as it was."""
    per_rev, max_rpm, limit_us = COILS[coil]
    channel = {"name": "engine_speed", "input": "p0", "kind": "pulses", "per_rev": per_rev, "max_rpm": max_rpm}
    channel["ringing_us"] = 300
    if limit_us:
        channel["min_period_us"] = limit_us
    speed = ramps([800, max_rpm * 0.999, 1500], 2000, 0.5)
    truth = Signals(speed, Tach(per_rev, max_rpm=max_rpm), {"lambda_1": LAMBDA})
    clean_s = np.round(truth.kept_edges_s, 6)
    assert np.diff(clean_s).min() > 600e-6
    # Ringing is over 300 us after its edge, a microsecond of rounding included
    rung_s = ringing(clean_s, np.random.default_rng(4), 299)
    clean = coil_drive(tmp_path / "clean", channel, clean_s, truth.until_s)
    rung = coil_drive(tmp_path / "rung", channel, rung_s, truth.until_s)
    before, after = clean.raw(), rung.raw()
    assert before["engine_speed.rejected"].max() == 0
    assert rung.timing.rejected_edges["engine_speed"] == rung_s.size - clean_s.size > clean_s.size
    for name in set(before.columns) - {"engine_speed.rejected", "lambda_1"}:
        np.testing.assert_array_equal(before[name], after[name], err_msg=name)
    np.testing.assert_array_equal(clean.frame()["engine_speed_rpm"], rung.frame()["engine_speed_rpm"])


def test_other_combinations_are_refused():
    """Whatever is written: accepted exactly where the shortest period exceeds twice the ringing and the filter lies
    between the ringing and half of that period; and an accepted one never throws a true edge away."""
    rng = np.random.default_rng(7)
    lam = {"name": "lambda_1", "input": "a0", "kind": "lambda", "volts": [0, 5], "values": [0.6, 1.4]}
    accepted = 0
    for _ in range(3000):
        channel = {"name": "engine_speed", "input": "p0", "kind": "pulses"}
        channel["per_rev"] = float(rng.choice([0.5, 1, 2, 3, 4, 6, 8, 12]))
        channel["max_rpm"] = int(rng.integers(3000, 16000))
        channel["ringing_us"] = ringing_us = int(rng.choice([20, 100, 300, 600, 1500]))
        shortest_us = int(60e6 / (channel["per_rev"] * channel["max_rpm"]))
        if rng.random() < 0.6:
            channel["min_period_us"] = int(rng.uniform(0.1, 1.3) * shortest_us) + 1
        limit_us = channel.get("min_period_us", shortest_us // 2)
        codes = [code for code, _, _ in config.check({"version": 1, "channels": [lam, channel]})]
        fine = shortest_us > 2 * ringing_us and ringing_us <= limit_us < shortest_us / 2 + 0.5
        if "min_period_us" in channel and 2 * limit_us >= shortest_us:
            fine = False
        assert (codes == []) == fine, (channel, codes)
        accepted += fine
        if codes:
            told = {"ringing_too_long", "filter_too_long", "filter_too_short", "filter_over_half", "pulses_too_fast"}
            assert set(codes) <= told
    assert 300 < accepted < 2700


def missing_cases():
    """Four tachs on ramps, two of them at steady speeds too; the slow tier has all at all."""
    for per_rev, rate_hz in ((0.5, 200), (1, 200), (2, 200), (3, 50), (4, 200), (8, 200)):
        for shape in (900, 3000, 7000, "ramps"):
            often = (shape == "ramps" and per_rev in (0.5, 2, 3, 8)) or (per_rev, shape) in ((2, 900), (8, 7000))
            yield pytest.param(per_rev, rate_hz, shape, marks=() if often else pytest.mark.slow)


@pytest.mark.parametrize(("per_rev", "rate_hz", "shape"), list(missing_cases()))
def test_one_edge_in_a_hundred_missing(tmp_path, per_rev, rate_hz, shape):
    """Seen as missing: the turns are all counted, and no row is off by more than one per cent."""
    speed = ramps([1200, 7500, 2000], 700, 1.0) if shape == "ramps" else holds([shape], 60 * 400 / shape / per_rev + 3)
    signals = Signals(speed, Tach(per_rev), {"lambda_1": LAMBDA}, rate_hz)
    at = np.arange(signals.true_edges_s.size)
    there = (at % 100 != 57) | (at < 20) | (at > at.size - 20)
    signals.kept_edges_s = signals.true_edges_s[there]
    (session,) = ringpull.read(desk.dry_run(signals, tmp_path)).sessions
    frame, raw = session.frame(), session.raw()
    zero_s = desk.power_on_s(raw, signals, session.period_s)
    error, _ = desk.speed_error(frame, zero_s, signals, session.period_s)
    assert error.size > 2 * rate_hz and np.isfinite(error).all() and np.abs(error).max() < 0.01
    cycle = max(1.0, 2 * per_rev)
    row, count, age = (raw[name].to_numpy() for name in ("row", "engine_speed", "engine_speed.age"))
    told = read_edges.EdgeColumns(row, count, age, session.period_s * 1e6, 24, 20)
    found = read_edges.stretches(told, max(2.0, np.floor(cycle)), float(1 << 20))
    assert len(found) == 1
    (stretch,) = found
    first, last = (np.searchsorted(signals.true_edges_s, t / 1e6 + zero_s - 1e-5) for t in stretch.time_us[[0, -1]])
    assert (~there[first:last]).sum() > 3
    assert stretch.number[-1] == last - first
