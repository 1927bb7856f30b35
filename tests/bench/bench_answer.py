"""What the analysis finds in random drives whose truth is known (tests/truth/drives.py).

RINGPULL_DRIVES sets how many drives (500 unless set; the figures that are judged are for 500).
"""

from __future__ import annotations

import os

import numpy as np
from bench import random_drives as rd

DRIVES = int(os.environ.get("RINGPULL_DRIVES", "500"))


def share(flags):
    flags = list(flags)
    return 100.0 * float(np.mean(flags)) if flags else float("nan")


def rows():
    answers = rd.in_pool(rd.answer, [(seed,) for seed in range(DRIVES)])
    yield from delay_rows([delay for delay, _, _ in answers])
    yield from curve_rows([curve for _, curve, _ in answers])
    yield from lean_rows("", [lean for _, _, lean in answers], judged=True)
    yield from lean_rows(
        ", noise 0.010", rd.in_pool(rd.noisier, [(seed, 0.010) for seed in range(DRIVES)]), judged=False
    )
    yield from map_rows()
    yield from compare_rows()
    yield from power_rows()
    yield from speed_rows()


def delay_rows(found):
    timed = [f for f in found if f["timing"] != "none"]
    alone = [f for f in found if f["timing"] == "none"]
    for name, some, near_ms in (("known time zero", timed, 15), ("throttle alone", alone, 20)):
        yield (
            f"delay, {name}",
            share(abs(f["pull"]) < near_ms for f in some),
            "% of drives",
            f"within {near_ms} ms at pull flow; limit 90; {len(some)} drives",
        )
        yield "  not identifiable", share(not f["done"] for f in some), "% of drives", ""
    near = [abs(f["cruise"]) < max(20.0, 0.25 * f["cruise_true"]) for f in found]
    yield "delay at cruise", share(near), "% of drives", "within 20 ms or 25 %; limit 75"
    cut = [f for f in found if f["recovered"]]
    for name, some in (
        ("", cut),
        (", no wall film", [f for f in cut if not f["film"]]),
        (", wall film", [f for f in cut if f["film"]]),
    ):
        near = [abs(f["tau"]) < max(15.0, 0.2 * f["tau_true"]) for f in some]
        yield (
            f"lag{name}",
            share(near),
            "% of drives",
            f"within 15 ms or 20 %; limit 90 without film; {len(some)} drives",
        )
    done = [f for f in found if f["done"]]
    for name in ("pull", "cruise", "tau"):
        inside = [abs(f[name]) <= 1.96 * f[name + "_u"] for f in done]
        yield f"95 % intervals, {name}", share(inside), "% cover", "limit 90"


def curve_rows(found):
    for where, limit in (("", 3.0), ("hole ", 10.0)):
        for name in ("raw", "delay", "both", "noisy"):
            values = 1e3 * np.array([f[where + name] for f in found])
            values = values[np.isfinite(values)]
            remark = f"limit {limit:g}" if name == "both" else "as logged, with its noise" if name == "noisy" else ""
            yield f"bins {where}{name}, 90 % of drives", float(np.percentile(values, 90)), "lambda/1000", remark
        gain = [f[where + "raw"] / f[where + "both"] for f in found if np.isfinite(f[where + "both"])]
        yield f"  {where}raw over both, median", float(np.median(gain)), "times", "limit 3"


def lean_rows(name, found, judged):
    total = {key: sum(f[key] for f in found) for key in found[0]}

    def limit(words):
        return f"limit {words}" if judged else "not judged"

    some = f"{total['found']} of {total['wanted']}; {limit('98')}"
    yield f"lean events found{name}", 100.0 * total["found"] / total["wanted"], "%", some
    some = f"{total['false']} in {total['clean']}; {limit('2')}"
    yield "  false, in 500 clean pulls", 500.0 * total["false"] / total["clean"], "events", some
    yield "  edges near enough", 100.0 * total["edges_near"] / total["edges"], "%", limit("90")
    yield "  depth inside its interval", 100.0 * total["depth_within"] / total["found"], "%", ""


def map_rows():
    count = max(DRIVES // 5, 10)
    pooled = []
    for spread in (0.002, 0.006, 0.012, 0.020):
        cells = np.array(
            [c for some in rd.in_pool(rd.map_cells, [(s, spread) for s in range(count)]) for c in some], float
        )
        pooled.append(cells)
        yield from map_figures(f"spread {spread}", cells)
    yield from map_figures("all spreads", np.concatenate(pooled))


def map_figures(name, cells):
    judged = cells[cells[:, 1] == 1]
    inside = np.abs(judged[:, 4]) <= judged[:, 3]
    drives = [inside[judged[:, 0] == seed] - inside.mean() for seed in np.unique(judged[:, 0])]
    error = 100.0 * np.sqrt(sum(d.sum() ** 2 for d in drives)) / len(inside)
    yield (
        f"fuel map, {name}",
        100.0 * inside.mean(),
        "% cover",
        f"+/- {error:.1f} by drives; limit 92-98; {len(inside)} cells",
    )
    five = cells[cells[:, 2] == 5]
    yield "  five passes: judged", 100.0 * five[:, 1].mean(), "%", "limit 80"
    yield "  five passes: half-width, median", float(np.nanmedian(five[:, 3])), "ratio", "limit 0.012"
    tight = judged[judged[:, 3] < 0.01]
    if len(tight):
        yield (
            "  under 0.01: within 1 % of the table",
            share(np.abs(tight[:, 5]) < 0.01),
            "%",
            f"limit 95; {len(tight)} cells",
        )


def compare_rows():
    count = max(DRIVES // 3, 10)
    for spread in (0.002, 0.006, 0.012):
        for pulls in (2, 4):
            called = rd.in_pool(rd.changed, [(seed, pulls, spread) for seed in range(count)])
            yield f"no change, {pulls} pulls, spread {spread}", share(called), "% called", f"limit 5; {count} pairs"
        called = rd.in_pool(rd.changed, [(seed, 4, spread, 1.03) for seed in range(count)])
        yield f"3 % in 4 of 12 bins, spread {spread}", share(called), "% called", "limit 80"


def power_rows():
    found = rd.in_pool(rd.wheel_power, [(seed,) for seed in range(max(DRIVES // 2, 10))])
    bins = np.abs([v for f in found for v in f[0]])
    peaks = np.abs([v for f in found for v in f[1]])
    yield (
        "wheel power, bins within 1 %",
        share(bins < 0.01),
        "%",
        f"95th percentile {100 * np.percentile(bins, 95):.2f} %; {len(bins)} bins",
    )
    yield (
        "wheel power, peaks within 1 %",
        share(peaks < 0.01),
        "%",
        f"95th percentile {100 * np.percentile(peaks, 95):.2f} %; {len(peaks)} pulls",
    )
    yield (
        "unknown grade inside its interval",
        100.0 * sum(f[2] for f in found) / sum(f[3] for f in found),
        "% of pulls",
        "",
    )


def speed_rows():
    import resource
    import time

    columns = hour()
    for identified, limit in ((False, 2.0), (True, 4.0)):
        began = time.perf_counter()
        ready = rd.judge.prepare(columns, identified=identified)
        for start_s in range(60, 3500, 60):
            rd.judge.judge_span(ready, start_s, start_s + 12.0)
        took = time.perf_counter() - began
        name = "with" if identified else "without"
        yield f"an hour, {name} identification", took, "s", f"limit {limit:g}; 200 Hz x 12 channels, 58 spans"
    yield "memory of the bench", resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024.0, "MB", "limit 500"


def hour():
    """An hour at 200 Hz made of random drives of one car, one after the other."""
    tables = []
    seconds = 0.0
    seed = 0
    while seconds < 3600.0:
        drive = rd.make_drive(seed, car_seed=2, settings=rd.Settings(timing="injector"))
        table = dict(drive.rows)
        table["time_s"] = table["time_s"] + seconds
        seconds = float(table["time_s"][-1]) + 0.005
        tables.append(table)
        seed += 1
    names = set.intersection(*(set(t) for t in tables))
    joined = {name: np.concatenate([t[name] for t in tables])[:720_000] for name in names}
    return rd.from_table(joined, drive.config)
