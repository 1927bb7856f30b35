"""What the analysis finds in random drives whose truth is known (tests/truth/drives.py).

RINGPULL_DRIVES sets how many drives (500 unless set; the figures that are judged are for 500, and those of the last run
of 500 stand in ANSWER_RESULTS.md).
"""

from __future__ import annotations

import json
import os
import tempfile
from concurrent.futures import ProcessPoolExecutor
from multiprocessing import get_context
from pathlib import Path

import numpy as np
from bench import random_drives as rd
from bench import random_power as rp
from truth import exhaust

from ringpull.analysis.cells import compare

DRIVES = int(os.environ.get("RINGPULL_DRIVES", "500"))
RESULTS = Path(__file__).with_name("ANSWER_RESULTS.md") if DRIVES >= 500 else None
PAIRS = max(DRIVES // 3, 10)
MAPS = max(DRIVES * 2 // 5, 10)  # drives at each spread between pulls, of 13 judged cells each


def share(flags):
    flags = list(flags)
    return 100.0 * float(np.mean(flags)) if flags else float("nan")


def rows():
    answers = rd.in_pool(rd.answer, [(seed,) for seed in range(DRIVES)])
    yield from delay_rows([delay for delay, _, _ in answers])
    yield from kind_rows()
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


def kind_rows():
    """Whether the lag's interval holds it where the engine computer or the exhaust have habits of their own."""
    count = max(DRIVES // 5, 10)
    for kind in exhaust.KINDS:
        for timing in ("injector", "command", "none"):
            found = rd.in_pool(rd.delay_of_kind, [(seed, kind, timing) for seed in range(1000, 1000 + count)])
            done = [f for f in found if f["done"]]
            inside = [abs(f["tau"]) <= 1.96 * f["tau_u"] for f in done]
            yield f"95 % intervals, tau, {kind}, {timing}", share(inside), "% cover", f"limit 90; {len(done)} drives"


def curve_rows(found):
    for where, limit in (("", 3.0), ("hole ", 10.0)):
        for name in ("raw", "delay", "both", "noisy"):
            values = 1e3 * np.array([f[where + name] for f in found])
            values = values[np.isfinite(values)]
            remark = f"limit {limit:g}" if name == "both" else "as logged, with its noise" if name == "noisy" else ""
            yield f"bins {where}{name}, 90 % of drives", float(np.percentile(values, 90)), "lambda/1000", remark
        gain = np.array([f[where + "raw"] / f[where + "both"] for f in found if np.isfinite(f[where + "both"])])
        yield (
            f"  {where}raw over both, at least 3",
            share(gain >= 3.0),
            "% of drives",
            f"limit 90; median {np.median(gain):.1f} times",
        )


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
    pooled = []
    for spread in (0.002, 0.006, 0.012, 0.020):
        found = rd.in_pool(rd.map_cells, [(s, spread) for s in range(MAPS)])
        cells = np.array([c for some in found for c in some], float)
        pooled.append(cells)
        yield from map_figures(f"spread {spread}", cells)
    yield from map_figures("all spreads", np.concatenate(pooled))


def covered(cells):
    """(per cent of intervals that hold the true mean ratio, its standard error with whole drives as units, cells)."""
    inside = np.abs(cells[:, 4]) <= cells[:, 3]
    drives = [inside[cells[:, 0] == seed] - inside.mean() for seed in np.unique(cells[:, 0])]
    return 100.0 * inside.mean(), 100.0 * np.sqrt(sum(d.sum() ** 2 for d in drives)) / len(inside), len(inside)


def map_figures(name, cells):
    judged = cells[cells[:, 1] == 1]
    for part, some in (
        ("", judged),
        (", under load", judged[judged[:, 6] == 1]),
        (", part load", judged[judged[:, 6] == 0]),
    ):
        cover, error, count = covered(some)
        limit = "limit 92-98; " if not part else ""
        yield f"fuel map, {name}{part}", cover, "% cover", f"+/- {error:.1f} by drives; {limit}{count} cells"
    five = cells[cells[:, 2] == 5]
    yield "  five passes: judged", 100.0 * five[:, 1].mean(), "%", f"limit 80; {len(five)} cells"
    yield "  five passes: half-width, median", float(np.nanmedian(five[:, 3])), "ratio", "limit 0.012, of all spreads"
    yield "  one or two passes, yet judged", float(judged[judged[:, 2] < 3].shape[0]), "cells", "limit 0"
    tight = judged[judged[:, 3] < 0.01]
    yield (
        "  under 0.01: within 1 % of the table",
        share(np.abs(tight[:, 5]) < 0.01),
        "%",
        f"limit 95; {len(tight)} cells",
    )


def compare_rows():
    for what, verdict in (("mixture", rd.mixture_changed), ("power", rp.power_changed)):
        one = rd.in_pool(verdict, [(seed, 1, 0.006) for seed in range(20)])
        untested = share(v == compare.NOT_ENOUGH for v in one)
        yield f"{what}, one pull a side: not tested", untested, "% of pairs", "limit 100; 20 pairs"
        for spread in (0.006, 0.012):
            for pulls in (2, 4):
                found = rd.in_pool(verdict, [(seed, pulls, spread) for seed in range(PAIRS)])
                called = share(v not in (compare.NONE, compare.NOT_ENOUGH) for v in found)
                yield (
                    f"{what}, no change, {pulls} pulls, {spread}",
                    called,
                    "% called",
                    f"limit 3; {PAIRS} pairs, {sum(v == compare.NOT_ENOUGH for v in found)} not tested",
                )
            if what == "mixture":
                found = rd.in_pool(rd.mixture_mended, [(seed, 4, spread) for seed in range(PAIRS)])
                better = share(v == compare.BETTER for v in found)
                yield f"mixture, 3 % lean, then right, {spread}", better, "% better", f"limit 90; {PAIRS} pairs"
            found = rd.in_pool(verdict, [(seed, 4, spread, 1.03) for seed in range(PAIRS)])
            # lambda that goes up 3 % may be better or worse by where it was; power that does is better
            right = [compare.BETTER in v or (what == "mixture" and compare.WORSE in v) for v in found]
            yield f"{what}, 3 % in 4 of 12 bins, {spread}", share(right), "% called", f"limit 80; {PAIRS} pairs"


def power_rows():
    found = rd.in_pool(rp.wheel_power, [(seed,) for seed in range(DRIVES)])
    bins = np.abs([v for f in found for v in f[0]])
    peaks = np.abs([v for f in found for v in f[1]])
    for name, errors, of in (("bins", bins, "bins"), ("peaks", peaks, "pulls")):
        yield (
            f"wheel power, {name} within 1 %",
            share(errors < 0.01),
            "%",
            f"largest {100 * errors.max():.2f} %, 95 in 100 below {100 * np.percentile(errors, 95):.2f} %; "
            f"{len(errors)} {of}",
        )
    yield "  pulls too short for it", float(sum(f[4] for f in found)), "pulls", ""
    believed = rd.in_pool(rp.believed_power, [(seed,) for seed in range(DRIVES)])
    points = [share for f in believed for share in f[2]]
    yield (
        "wheel power of a car that is off as assumed",
        100.0 * float(np.mean(points)),
        "% cover",
        f"limit 95; {len(points)} pulls, mass, what turns, drag, tyre, slip, wind and grade drawn anew for each",
    )
    road = sum(f[3] for f in found)
    inside = 100.0 * sum(f[2] for f in found) / road
    yield "unknown grade inside its interval", inside, "% of pulls", f"{road} pulls on the road, grade of sd 1 %"


def speed_rows():
    table, config = rd.hour()
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "hour.npz"
        np.savez(path, config=json.dumps(config), **table)
        for identified, limit in ((False, 2.0), (True, 4.0)):
            with ProcessPoolExecutor(1, mp_context=get_context("spawn")) as alone:
                took, peak_mb, words = alone.submit(rd.judge_hour, path, identified).result()
            name = "with" if identified else "without"
            channels = len(config["channels"])
            yield (
                f"an hour, {name} identification",
                took,
                "s",
                f"limit {limit:g}; 200 Hz x {channels} channels, 58 pulls",
            )
            yield "  peak memory of its process", peak_mb, "MB", "limit 500" + ("; " + words if identified else "")
