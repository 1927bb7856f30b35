"""Wheel power on random drives with known truth: from the edges of the tach signal, as rows tell them, to watts."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
from bench.random_drives import BIN_RPM, columns_of
from truth.drives import Settings, make_drive, pair

from ringpull.analysis.cells import compare
from ringpull.analysis.cells.passes import Axes
from ringpull.analysis.power import compare_power, pull_power
from ringpull.analysis.power.car import Car, rotating_of
from ringpull.ring.values import edges as read_edges
from ringpull.ring.values.speed import SLOWEST_US

ROW_US, COUNT_BITS, AGE_BITS = 5000.0, 16, 20
MOST_RPM = 9000.0


def turns_of(edges_s, per_rev, until_s):
    """[(times_s, turns)] of a tach signal as the logger keeps it: edges too soon after the last are refused, and a row
    tells how many there were and when the last one was."""
    least_s = 0.6 * 60.0 / (MOST_RPM * per_rev)
    kept, last = [], -1.0
    for edge in edges_s.tolist():
        if edge - last >= least_s:
            kept.append(edge)
            last = edge
    kept_us = np.round(np.array(kept) * 1e6)
    row = np.arange(int(until_s * 1e6 / ROW_US))
    count = np.searchsorted(kept_us, row * ROW_US, side="right")
    age = row * ROW_US - kept_us[np.maximum(count - 1, 0)]
    never = (1 << AGE_BITS) - 1
    age = np.where(count > 0, np.minimum(age, never), never).astype(np.int64)
    found = read_edges.stretches(
        read_edges.EdgeColumns(row, count, age, ROW_US, COUNT_BITS, AGE_BITS), max(2.0, 2.0 * per_rev), SLOWEST_US
    )
    return [(one.time_us / 1e6, one.number / per_rev) for one in found]


def car_of(drive):
    """The true car as `wheel` takes it."""
    car = drive.truth.car
    return Car(
        mass_kg=car.mass_kg,
        rpm_per_kmh=car.rad_per_m / 3.6 * 60.0 / (2.0 * np.pi),
        cda_m2=car.cda_m2,
        crr=car.crr,
        grade=car.grade,
        rotating=car.rotating,
        air_kg_m3=car.air_kg_m3,
    )


EXACT = ("mass_u", "cda_u", "crr_u", "air_u", "rotating_u", "gear_u", "slip_u", "wind_u")


def off_car(car, random):
    """The car as its driver believes it to be: mass, what turns, drag, rolling, air, tyre and slip, wind and grade are
    off by what the words assume; random: of one pull."""
    rotating, rotating_u = rotating_of(car.rpm_per_kmh)
    believed = Car(mass_kg=car.mass_kg, rpm_per_kmh=car.rpm_per_kmh, rotating=rotating, rotating_u=rotating_u)
    slip = random.normal(0.0, np.hypot(believed.gear_u, believed.slip_u))
    return replace(
        believed,
        mass_kg=car.mass_kg / (1.0 + random.normal(0.0, believed.mass_u)),
        rpm_per_kmh=car.rpm_per_kmh * (1.0 + slip),
    )


def believed_power(seed):
    """(pulls on the road, of them those whose true power lies inside the interval at nine of ten points, mean share of
    points inside) of one drive whose car is another than believed, by what the words assume.

    The truth is made from the drive's own motion by the road load of the true car.
    """
    drive = make_drive(seed)
    columns, true_car = columns_of(drive), car_of(drive)
    turns = turns_of(drive.edges_s, drive.truth.chain.per_rev, drive.rows["time_s"][-1])
    random = np.random.default_rng([7, seed])
    pulls, inside, points = 0, 0, []
    for p in drive.pulls:
        believed = off_car(true_car, random)
        true = replace(
            true_car,
            rotating=believed.rotating + random.normal(0.0, believed.rotating_u),
            cda_m2=believed.cda_m2 * (1.0 + random.normal(0.0, believed.cda_u)),
            crr=believed.crr * (1.0 + random.normal(0.0, believed.crr_u)),
            air_kg_m3=believed.air_kg_m3 * (1.0 + random.normal(0.0, believed.air_u)),
            grade=random.normal(0.0, believed.grade_u),
        )
        exact = pull_power.pull_power(columns, p.start_s, p.end_s, true, turns)
        found = pull_power.pull_power(columns, p.start_s, p.end_s, believed, turns)
        if exact is None or found is None:
            continue
        v = exact.rpm / 60.0 * true.metres_per_rev
        wind = random.normal(0.0, believed.wind_u)
        watts = exact.watts + 0.5 * true.air_kg_m3 * true.cda_m2 * (np.abs(v + wind) * (v + wind) - v**2) * v
        share = float(np.mean((found.low <= watts) & (watts <= found.high)))
        pulls, inside = pulls + 1, inside + (share > 0.9)
        points.append(share)
    return pulls, inside, points


def wheel_power(seed):
    """Errors of wheel power of one drive, as shares: (bins of BIN_RPM, peaks, pulls whose true power lies inside the
    interval of an unknown grade, pulls on the road, pulls that gave no power)."""
    drive = make_drive(seed)
    truth, known, columns = drive.truth, car_of(drive), columns_of(drive)
    turns = turns_of(drive.edges_s, truth.chain.per_rev, drive.rows["time_s"][-1])
    exact = {name: 0.0 for name in EXACT}
    bins, peaks, covered, road, none = [], [], 0, 0, 0
    for p in drive.pulls:
        result = pull_power.pull_power(columns, p.start_s, p.end_s, known, turns)
        if result is None:
            none += 1
            continue
        rows = columns.rows(p.start_s, p.end_s)
        true = np.interp(result.rpm, truth.speed_rpm[rows], truth.wheel_w[rows])
        which = (result.rpm // BIN_RPM).astype(int)
        means = [(result.watts[which == k].mean(), true[which == k].mean()) for k in np.unique(which)]
        bins += [a / b - 1.0 for a, b in means]
        peaks.append(max(a for a, _ in means) / max(b for _, b in means) - 1.0)
        if not truth.car.dyno:
            road += 1
            wide = pull_power.pull_power(columns, p.start_s, p.end_s, replace(known, grade=None, **exact), turns)
            covered += np.mean((wide.low <= true) & (true <= wide.high)) > 0.9
    return bins, peaks, covered, road, none


def passes_of_power(columns, spans, speeds, car, turns, session=1):
    """The passes of power of several pulls."""
    out = []
    for number, start_s, end_s in spans:
        power = pull_power.pull_power(columns, start_s, end_s, car, turns)
        if power is not None:
            out += compare_power.passes_of(power, speeds, (session, number))
    return out


def driven_anew(drive, factor):
    """The pulls of a drive with wheel power multiplied by `factor(pull, rpm)`: (columns, spans, turns, pulses' truth).

    Each pull is integrated again from the road load, so that its speed, its length and its pulses all follow.
    """
    truth, columns = drive.truth, columns_of(drive)
    car = truth.car
    time_s, parts, spans, edges = [], [], [], []
    begin = 0.0
    random = np.random.default_rng([3, drive.seed])
    for p in drive.pulls:
        rows = columns.rows(p.start_s, p.end_s)
        rpm, watts = truth.speed_rpm[rows], truth.wheel_w[rows]
        v = rpm * 2.0 * np.pi / 60.0 / car.rad_per_m
        loads = car.load_n(v) * v
        inertia = car.mass_kg * car.rotating * v
        slope = np.maximum((watts * factor(p.number, rpm) - loads) / inertia, 1e-3)
        slope *= car.rad_per_m * 60.0 / (2.0 * np.pi)
        # time over speed: where speed stands still in the recording nothing is gained either
        rising = np.concatenate([[True], rpm[1:] > np.maximum.accumulate(rpm)[:-1]])
        rpm, slope = rpm[rising], slope[rising]
        took = np.concatenate([[0.0], np.cumsum(2.0 * np.diff(rpm) / (slope[1:] + slope[:-1]))])
        fine = np.arange(0.0, took[-1], 0.0005)
        speed = np.interp(fine, took, rpm)
        turned = np.concatenate([[0.0], np.cumsum((speed[1:] + speed[:-1]) / 120.0 * 0.0005)])
        per_rev = truth.chain.per_rev
        at = np.interp(np.arange(1, int(turned[-1] * per_rev)) / per_rev, turned, fine)
        edges.append(begin + at + random.normal(0.0, 0.3e-6, len(at)))
        grid = np.arange(0.0, took[-1], 0.005)
        time_s.append(begin + grid)
        parts.append(np.interp(grid, took, rpm))
        spans.append((p.number, begin, begin + float(took[-1])))
        begin += float(np.ceil(took[-1] + 3.0))
    rows = np.arange(0.0, begin, 0.005)
    speed, throttle = np.full(len(rows), 2000.0), np.zeros(len(rows))
    for at_s, part, (_, start_s, end_s) in zip(time_s, parts, spans, strict=True):
        inside = (rows >= start_s) & (rows < end_s)
        speed[inside], throttle[inside] = np.interp(rows[inside], at_s, part), 100.0
    made = replace(
        columns,
        time_s=rows,
        lambda_=np.ones(len(rows)),
        rpm=speed,
        map_kpa=None,
        throttle=throttle,
        extra={},
        banks={},
        named={},
        states={},
    )
    turns = [pair for part in edges for pair in turns_of(part, truth.chain.per_rev, begin)]
    return made, spans, turns


def power_changed(car_seed, pulls, spread, factor=1.0):
    """The verdict on power of a pair of drives: each pull's power has its own factor of `spread`, and after the change
    the middle 4 of 12 bins of speed have `factor`."""
    settings = Settings(pulls=(pulls, pulls), hole_share=0.0)
    engine = make_drive(car_seed).truth.engine
    edges = np.linspace(engine.low_rpm + 300, engine.limit_rpm, 13)
    middles = 0.5 * (edges[1:] + edges[:-1])
    sides = []
    for session, drive in enumerate(pair(car_seed, settings, None)):
        own = np.random.default_rng([4, drive.seed]).normal(0.0, spread, pulls)

        def scaled(number, rpm, own=own, session=session):
            part = np.where((rpm > edges[5]) & (rpm < edges[9]), factor, 1.0) if session else 1.0
            return (1.0 + own[number - 1]) * part

        columns, spans, turns = driven_anew(drive, scaled)
        sides.append(passes_of_power(columns, spans, middles, car_of(drive), turns, session))
    return compare.compare(*sides, Axes(middles), compare_power.MORE_POWER).verdict
