"""The analysis on random drives with known truth: what each bench and test of it measures. One drive, plain numbers.

The drives are made by tests/truth/drives.py, which knows nothing of the analysis.
"""

from __future__ import annotations

import os
from concurrent.futures import ProcessPoolExecutor

import numpy as np
from truth.drives import Settings, make_drive, pair

from ringpull.analysis.cells import compare, fuelmap, passes, settling
from ringpull.analysis.cells.cell import NOT_MAPPED
from ringpull.analysis.cells.passes import Axes, SessionPulls
from ringpull.analysis.cells.ratio import ratio
from ringpull.analysis.delay import identify, transport
from ringpull.analysis.delay.align import align
from ringpull.analysis.drive_state.columns import Columns, from_table
from ringpull.analysis.judge import session
from ringpull.files import configuration
from ringpull.wording import delay as delay_words

BIN_RPM = 250
LEAST_ROWS = 10
HOUR_CHANNELS = 12
SLOW = (
    ("coolant", "degC", "coolant_degc", 88.0),
    ("exhaust", "degC", "exhaust_degc", 780.0),
    ("oil_pressure", "kPa", "oil_pressure_kpa", 420.0),
    ("oil", "degC", "oil_degc", 96.0),
    ("knock", "V", "knock_v", 0.4),
    ("gearbox", "degC", "gearbox_degc", 74.0),
)


def columns_of(drive) -> Columns:
    return from_table(drive.rows, configuration.of(drive.config))


def in_pool(measure, arguments):
    """[measure(*a) for a in arguments], over the machine's cores, in order."""
    arguments = list(arguments)
    with ProcessPoolExecutor(max_workers=os.cpu_count()) as pool:
        return list(pool.map(measure, *zip(*arguments, strict=True), chunksize=4))


def where_cruising(drive, columns):
    """Rows of steady speed at part load with fuel."""
    steady = np.abs(np.gradient(drive.truth.speed_rpm)) < 0.5
    return steady & (columns.map_kpa < 75) & ~drive.truth.cut & (columns.throttle > 3)


def spans_of(drive):
    return [(p.number, p.start_s, p.end_s) for p in drive.pulls]


def answer(seed):
    """One drive judged as logged: (delay, curve, lean), as those functions return them."""
    drive = make_drive(seed)
    columns = columns_of(drive)
    found = identify.identify(columns)
    ready = session.prepare(columns, found.model)
    return delay(drive, columns, found), curve(drive, columns, ready), lean(drive, ready)


def delay_of_kind(seed, kind, timing):
    """Delay and lag of one drive of another kind than the plain one: as `delay` gives them."""
    drive = make_drive(seed, settings=Settings(kind=kind, timing=timing))
    columns = columns_of(drive)
    return delay(drive, columns, identify.identify(columns))


def noisier(seed, correlated):
    """The lean events of one drive with more of the noise that hangs together."""
    drive = make_drive(seed, settings=Settings(correlated=correlated))
    return lean(drive, session.prepare(columns_of(drive)))


def delay(drive, columns, found):
    """Transport delay and lag of one drive: milliseconds of error, stated standard uncertainty and truth."""
    truth = drive.truth
    model = found.estimate or found.model
    flow = transport.flow(columns)
    apart = transport.arrival_s(model, flow) - flow.time_s - truth.delay_s
    pull = np.zeros(len(columns), bool)
    for p in drive.pulls:
        pull[columns.rows((p.start_s + p.end_s) / 2, p.end_s)] = True
    cruise = where_cruising(drive, columns)
    u_s = model.delay_u_s(flow.litres_per_s)
    return {
        "timing": truth.chain.timing,
        "done": found.done,
        "film": truth.film,
        "recovered": truth.cuts_recovered,
        "pull": 1e3 * apart[pull].mean(),
        "pull_u": 1e3 * np.median(u_s[pull]),
        "cruise": 1e3 * apart[cruise].mean(),
        "cruise_u": 1e3 * np.median(u_s[cruise]),
        "cruise_true": 1e3 * truth.cruise_delay_s,
        "tau": 1e3 * (model.tau_s - truth.tau_s),
        "tau_u": 1e3 * model.tau_u_s,
        "tau_true": 1e3 * truth.tau_s,
    }


def rms(values):
    return float(np.sqrt(np.mean(np.square(values)))) if len(values) else np.nan


def curve(drive, columns, ready):
    """Lambda against speed inside pulls: root-mean-square errors of bins of BIN_RPM, all and inside holes, of the raw
    curve, with the delay alone undone, and with both undone. Delay and lag come from the drive as logged; the curve
    is that of the same drive without noise, and `noisy` that of the drive as logged."""
    truth = drive.truth
    clean = columns_of(make_drive(drive.seed, settings=Settings(white=0.0, correlated=0.0)))
    aligned = align(clean, ready.aligned.model)
    curves = {
        "raw": clean.lambda_,
        "delay": aligned.delayed_only,
        "both": aligned.lambda_,
        "noisy": ready.lambda_aligned,
    }
    good = ready.masks.valid & ready.loaded
    errors, inside = {name: [] for name in curves}, {name: [] for name in curves}
    for p in drive.pulls:
        rows = np.arange(len(columns))[columns.rows(p.start_s, p.end_s)]
        rows = rows[good[rows]]
        bins = (truth.speed_rpm[rows] // BIN_RPM).astype(int)
        for one in np.unique(bins):
            here = rows[bins == one]
            if len(here) < LEAST_ROWS:
                continue
            middle_s = columns.time_s[here].mean()
            hole = any(h.pull == p.number and h.start_s <= middle_s <= h.end_s for h in truth.holes)
            for name, values in curves.items():
                error = np.nanmean(values[here]) - truth.lambda_cylinder[here].mean()
                errors[name].append(error)
                if hole:
                    inside[name].append(error)
    return {name: rms(v) for name, v in errors.items()} | {"hole " + name: rms(v) for name, v in inside.items()}


def lean(drive, ready):
    """Lean events of one drive: how many there were and were found, edges near enough, and events that were not."""
    truth = drive.truth
    found = {p.number: session.judge_span(ready, p.start_s - 0.3, p.end_s + 0.3).lean_events for p in drive.pulls}
    near_rpm = max(100.0, 0.06 * truth.car.ramp_rpm_s)
    wanted = [e for e in truth.events if not e.tip_in]
    hits = edges_near = edges = within = 0
    for event in wanted:
        ours = [e for e in found[event.pull] if e.start_s < event.end_s and e.end_s > event.start_s]
        if not ours:
            continue
        hits += 1
        edges += 2
        edges_near += abs(ours[0].rpm_from - event.rpm_from) <= near_rpm
        edges_near += abs(ours[-1].rpm_to - event.rpm_to) <= near_rpm
        deepest = max(ours, key=lambda e: e.depth)
        within += abs(deepest.depth - event.deepest) <= deepest.depth_u
    clean = [p for p in drive.pulls if p.clean_throughout]
    return {
        "wanted": len(wanted),
        "found": hits,
        "edges": edges,
        "edges_near": edges_near,
        "depth_within": within,
        "clean": len(clean),
        "false": sum(len(found[p.number]) for p in clean),
    }


def map_cells(seed, spread):
    """Cells of the fuel map of one drive of five pulls: (judged, passes, half-width, error against the true mean ratio
    over the same passes without the pulls' own factors, error against the injected table)."""
    drive = make_drive(seed, settings=Settings(pulls=(5, 5), between_pulls=spread, hole_share=0.0))
    columns, truth = columns_of(drive), drive.truth
    ready = session.prepare(columns)
    spans = spans_of(drive)
    made = fuelmap.fuelmap([SessionPulls(ready, spans)])
    own = np.zeros(len(columns))
    for p in drive.pulls:
        own[columns.rows(p.start_s, p.end_s)] = p.offset
    measured = np.where(settling.settling(ready), np.nan, ratio(ready))
    seen = np.isfinite(measured)
    true = np.where(seen, truth.lambda_cylinder / truth.target / (1.0 + own), np.nan)
    table = np.where(seen, truth.table(truth.speed_rpm, columns.map_kpa), np.nan)
    here = SessionPulls(ready, spans)
    kept = [fuelmap.steady(p) for p in passes.passes(here, measured, made.axes)]
    means = []
    for values in (true, table):
        by_cell = {}
        for one, steady in zip(passes.passes(here, values, made.axes), kept, strict=True):
            if steady:
                by_cell.setdefault((one.speed, one.load, one.loaded), []).append(one.value)
        means.append({key: np.mean(rows) for key, rows in by_cell.items()})
    out = []
    speeds, loads = made.axes.speeds, made.axes.loads
    for cell in made.cells:
        if cell.state == NOT_MAPPED:
            continue
        at = (int(np.argmin(abs(speeds - cell.rpm))), int(np.argmin(abs(loads - cell.load))), cell.loaded)
        half = 0.5 * (cell.high - cell.low)
        errors = [cell.ratio - mean[at] for mean in means]
        out.append((seed, cell.state == "judged", cell.passes, half, *errors, cell.loaded))
    return out


def mixture_changed(car_seed, pulls, spread, factor=1.0):
    """The verdict on a pair of drives; `factor` on lambda over the middle 4 of 12 bins of speed in the second."""
    middles, edges = speed_bins(car_seed)

    def change(rpm, kpa):
        return np.where((rpm > edges[5]) & (rpm < edges[9]) & (kpa > 75), factor, 1.0)

    settings = Settings(pulls=(pulls, pulls), between_pulls=spread, hole_share=0.0)
    return compared(pair(car_seed, settings, change if factor != 1.0 else None), middles)


def mixture_mended(car_seed, pulls, spread, lean=1.03, rpm_from=4500, rpm_to=6000):
    """The verdict on a pair of drives: lambda times `lean` between two speeds in the first, right in the second."""
    middles, _ = speed_bins(car_seed)

    def change(rpm, kpa):
        return np.where((rpm > rpm_from) & (rpm < rpm_to) & (kpa > 75), lean, 1.0)

    settings = Settings(pulls=(pulls, pulls), between_pulls=spread, hole_share=0.0)
    right, wrong = pair(car_seed, settings, change)
    return compared((wrong, right), middles)


def speed_bins(car_seed):
    """(middles, edges) of 12 bins over the speeds of a car's pulls."""
    engine = make_drive(car_seed).truth.engine
    edges = np.linspace(engine.low_rpm + 300, engine.limit_rpm, 13)
    return 0.5 * (edges[1:] + edges[:-1]), edges


def compared(drives, middles):
    """The verdict on two drives."""
    sides = []
    for side, drive in enumerate(drives):
        ready = session.prepare(columns_of(drive), identified=False)
        value = np.where(ready.loaded, ratio(ready), np.nan)
        sides.append(passes.passes(SessionPulls(ready, spans_of(drive)), value, Axes(middles), side))
    return compare.compare(*sides, Axes(middles)).verdict


def hour():
    """(table, configuration) of an hour at 200 Hz and 12 channels: random drives of one car one after the other."""
    tables, seconds, seed = [], 0.0, 0
    while seconds < 3600.0:
        drive = make_drive(seed, car_seed=2, settings=Settings(timing="injector"))
        table = dict(drive.rows)
        table["time_s"] = table["time_s"] + seconds
        seconds = float(table["time_s"][-1]) + 0.005
        tables.append(table)
        seed += 1
    names = set.intersection(*(set(t) for t in tables))
    joined = {name: np.concatenate([t[name] for t in tables])[:720_000] for name in names}
    config = {**drive.config, "channels": [c for c in drive.config["channels"] if any(_of(c, n) for n in names)]}
    random = np.random.default_rng(5)
    for name, unit, column, level in SLOW:
        if len(config["channels"]) < HOUR_CHANNELS:
            more = {"name": name, "input": "a9", "kind": "linear", "unit": unit, "volts": [0, 5], "values": [0, 1000]}
            config["channels"].append(more)
            joined[column] = level + random.normal(0.0, 0.3, len(joined["time_s"]))
    return joined, config


def _of(channel, column):
    return column == channel["name"] or column.startswith(channel["name"] + "_")


def judge_hour(path, identified):
    """(seconds, peak MB, words) of judging the columns kept in `path`, as a process of its own: every minute has a
    pull."""
    import json
    import time

    kept = dict(np.load(path))
    config = configuration.of(json.loads(str(kept.pop("config"))))
    identify.identify(from_table({n: v[:40_000] for n, v in kept.items()}, config))  # what is imported once
    began = time.perf_counter()
    ready = session.prepare(from_table(kept, config), identified=identified)
    for start_s in range(60, 3500, 60):
        session.judge_span(ready, start_s, start_s + 12.0)
    took = time.perf_counter() - began
    peak = next(line for line in open("/proc/self/status") if line.startswith("VmHWM"))
    return took, int(peak.split()[1]) / 1024.0, delay_words.source(ready.aligned.model.source)
