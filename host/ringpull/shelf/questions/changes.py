"""What did each entry of a car's log do? The drives after it against those before it, up to its neighbours."""

from __future__ import annotations

from datetime import date, timedelta

import numpy as np

from ringpull.analysis.cells import stats
from ringpull.shelf.questions import drift
from ringpull.shelf.questions.found import LEAST_STEP, LEVEL, Found, Row, Shown, at, place
from ringpull.shelf.questions.live import Live

LEAST_DRIVES = 2  # a side
COLUMNS = (
    Shown("car_name", "car"),
    Shown("day", "before"),
    Shown("entry", "entry"),
    Shown("bank", "sensor"),
    Shown("rpm", "rpm"),
    Shown("load", "load"),
    Shown("drives_before", "drives before"),
    Shown("drives_after", "after"),
    Shown("before", "measured / target before", 3),
    Shown("after", "after", 3),
    Shown("difference", "difference", 3, True),
    Shown("low", "from", 3, True),
    Shown("high", "to", 3, True),
    Shown("chance", "chance", 4),
    Shown("called", "shown"),
    Shown("drifts", "drift taken out"),
)


def entries(live: Live):
    """The drives that an entry stands before, whether they can be asked or not. An expression."""
    names = ("car_name", "drive", "day", "segment", "change", "other_fuel", "fuel", "fuel_before", "other_sensor")
    return live.history.filter(lambda t: t.entry).select(*names)


def changes(live: Live) -> Found:
    """Every entry and cell; `called`: by Holm over all of them, and a difference of LEAST_STEP or more."""
    return of_sums(live.run(drift.sums(live)), live.run(entries(live)))


def of_sums(stretches: list[Row], noted: list[Row]) -> Found:
    """`changes` of what the engine has summed, and the entries."""
    log = {(one["car_name"], one["segment"]): one for one in noted}
    cells: dict[tuple, dict[int, Row]] = {}
    for row in stretches:
        cells.setdefault((*place(row), row["load_unit"]), {})[row["segment"]] = row
    moving = drifting([list(parts.values()) for parts in cells.values()])
    rows = []
    for key in sorted(cells, key=str):
        for segment, after in sorted(cells[key].items()):
            before, entry = cells[key].get(segment - 1), log.get((after["car_name"], segment))
            if entry is not None and before is not None and min(before["n"], after["n"]) >= LEAST_DRIVES:
                rows.append(compared(before, after, entry, moving.get(key)))
    called = stats.holm(np.array([row["chance"] for row in rows]), LEVEL) if rows else []
    for row, rejected in zip(rows, called, strict=True):
        row["called"] = bool(rejected) and abs(row["difference"]) >= LEAST_STEP
    rows.sort(key=lambda row: (not row["called"], row["car_name"], row["day"], place(row)))
    return Found("changes", COLUMNS, rows, [*words(rows, list(log.values())), *untold(rows, log, cells)])


def untold(rows: list[Row], log: dict[tuple, Row], cells: dict[tuple, dict[int, Row]]) -> list[str]:
    """The entries of the log that nothing could be compared for, and why."""
    tested = {(row["car_name"], row["day"], row["entry"]) for row in rows}
    out = []
    for (car, segment), entry in sorted(log.items()):
        if (car, day_text(entry["day"]), name(entry)) in tested:
            continue
        own = [parts for key, parts in cells.items() if key[0] == car]
        before, after = (max((p[at]["n"] for p in own if at in p), default=0) for at in (segment - 1, segment))
        if min(before, after) < LEAST_DRIVES:
            why = f"no cell has more than {before} before it and {after} after it"
        else:
            why = "no cell has as many on both sides"
        out.append(
            f"{car}, {day_text(entry['day'])}, {name(entry)}: not compared; {LEAST_DRIVES} drives on each side are "
            f"needed, up to the next entry, and {why}"
        )
    return out


def drifting(cells: list[list[Row]]) -> dict[tuple, tuple[float, float]]:
    """Cell -> (its rate a year, the rate's standard error), of the cells that drift between the entries."""
    known = []
    for parts in cells:
        rate, error, free = drift.slope(parts)
        if np.isfinite(rate) and error > 0:
            known.append(
                ((*place(parts[0]), parts[0]["load_unit"]), rate, error, stats.t_two_sided(rate / error, free))
            )
    called = stats.holm(np.array([one[3] for one in known]), LEVEL) if known else []
    return {key: (rate, error) for (key, rate, error, _), yes in zip(known, called, strict=True) if yes}


def compared(before: Row, after: Row, entry: Row, moving: tuple[float, float] | None) -> Row:
    """One cell on both sides of an entry. moving: rate a year that the cell has anyhow, and its standard error: what it
    comes to from the middle of one side to that of the other is taken out."""
    sides = [stats.mean_of(one["n"], one["y"], one["yy"]) for one in (before, after)]
    difference, error, free, chance = stats.welch_of(*sides)
    if moving is not None:
        years = after["x"] / after["n"] - before["x"] / before["n"]
        difference -= moving[0] * years
        error = float(np.hypot(error, moving[1] * years))
        chance = stats.t_two_sided(difference / error, free) if error > 0 else 1.0
    half = stats.t_quantile(0.975, round(free, 2)) * error
    return {key: after[key] for key in ("car_name", "bank", "load_unit", "rpm", "load")} | {
        "day": day_text(entry["day"]),
        "entry": name(entry),
        "drives_before": sides[0][0],
        "drives_after": sides[1][0],
        "before": sides[0][1],
        "after": sides[1][1],
        "difference": difference,
        "low": difference - half,
        "high": difference + half,
        "chance": chance,
        "drifts": moving is not None,
    }


def name(entry: Row) -> str:
    """An entry in words."""
    parts = [] if entry["change"] is None else [entry["change"]]
    if entry["other_fuel"]:
        parts.append(f"fuel {entry['fuel_before']} to {entry['fuel']}")
    if entry["other_sensor"]:
        parts.append("another lambda sensor")
    return "; ".join(parts)


def day_text(day: float) -> str:
    """A day since 1970 as 2026-04-01."""
    return (date(1970, 1, 1) + timedelta(days=int(day))).isoformat()


def words(rows: list[Row], log: list[Row]) -> list[str]:
    tested = {(row["car_name"], row["day"], row["entry"]) for row in rows}
    counted = "1 entry" if len(log) == 1 else f"{len(log)} entries"
    out = [f"{counted} in the log, {len(tested)} with {LEAST_DRIVES} drives or more on both sides"]
    for car, day, entry in sorted(tested):
        shown = [r for r in rows if (r["car_name"], r["day"], r["entry"]) == (car, day, entry) and r["called"]]
        told = "; ".join(f"{at(r)} {r['difference']:+.3f}" for r in shown[:4]) + ("; ..." if len(shown) > 4 else "")
        out.append(f"{car}, {day}, {entry}: {told or 'no difference shown'}")
    return [
        *out,
        "difference above 0: leaner after it; its interval is 95 % for this cell alone",
        f"shown where the chance is below {LEVEL:.0%} for all entries, cells and cars together, and the difference is "
        f"{LEAST_STEP:.2f} or more",
        "each entry is held against the drives since the entry before it, up to the next; where a cell drifts anyhow "
        "(ask drift), that is taken out of the difference",
    ]
