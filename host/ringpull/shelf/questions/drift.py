"""Does a cell drift? A line through the drives' means, between the entries of the car's log: a change that was noted is
no drift."""

from __future__ import annotations

import numpy as np

from ringpull.analysis.cells import stats
from ringpull.shelf.questions.found import LEAST_DRIVES, LEAST_STEP, LEVEL, Found, Row, Shown, place
from ringpull.shelf.questions.live import YEAR_D, Live

COLUMNS = (
    Shown("car_name", "car"),
    Shown("bank", "sensor"),
    Shown("rpm", "rpm"),
    Shown("load", "load"),
    Shown("drives", "drives"),
    Shown("days", "over days", 0),
    Shown("ratio", "measured / target", 3),
    Shown("rate", "% a year", 1, True, 100.0),
    Shown("low", "from", 1, True, 100.0),
    Shown("high", "to", 1, True, 100.0),
    Shown("chance", "chance", 4),
    Shown("called", "drifts"),
)


def sums(live: Live):
    """Of each cell and stretch of the log: number and sums over the drives' means. An expression."""
    y = "ratio"
    return (
        live.drive_means()
        .group_by(["car_name", "bank", "load_unit", "rpm", "load", "segment"])
        .agg(
            n=lambda t: t.count(),
            x=lambda t: t.x.sum(),
            xx=lambda t: (t.x * t.x).sum(),
            y=lambda t: t[y].sum(),
            xy=lambda t: (t.x * t[y]).sum(),
            yy=lambda t: (t[y] * t[y]).sum(),
            first=lambda t: t.day.min(),
            last=lambda t: t.day.max(),
        )
    )


def drift(live: Live) -> Found:
    """The cells of every car with their rate; `called`: by Holm over all of them, and LEAST_STEP or more over the time
    that was looked at."""
    return of_sums(live.run(sums(live)))


def of_sums(parts: list[Row]) -> Found:
    """`drift` of what the engine has summed."""
    cells: dict[tuple, list[Row]] = {}
    for row in parts:
        cells.setdefault((*place(row), row["load_unit"]), []).append(row)
    rows = [one for key in sorted(cells, key=str) if (one := line(cells[key])) is not None]
    called = stats.holm(np.array([row["chance"] for row in rows]), LEVEL) if rows else []
    for row, rejected in zip(rows, called, strict=True):
        row["called"] = bool(rejected) and abs(row["rate"]) * row["days"] / YEAR_D >= LEAST_STEP
    rows.sort(key=lambda row: (not row["called"], place(row)))
    most = max((sum(one["n"] for one in some) for some in cells.values()), default=0)
    return Found("drift", COLUMNS, rows, words(rows, most))


def slope(parts: list[Row]) -> tuple[float, float, float]:
    """stats.common_slope of the stretches that a cell's sums are of."""
    ordered = sorted(parts, key=lambda one: one["segment"])
    return stats.common_slope([(p["n"], p["x"], p["xx"], p["y"], p["xy"], p["yy"]) for p in ordered])


def line(parts: list[Row]) -> Row | None:
    """A cell's rate from the sums of its stretches; None where it has too few drives."""
    parts = sorted(parts, key=lambda one: one["segment"])
    drives = sum(one["n"] for one in parts)
    rate, error, free = slope(parts)
    if drives < LEAST_DRIVES or not np.isfinite(rate):
        return None
    half = stats.t_quantile(0.975, free) * error
    keys = ("car_name", "bank", "load_unit", "rpm", "load")
    return {key: parts[0][key] for key in keys} | {
        "drives": drives,
        "days": max(one["last"] for one in parts) - min(one["first"] for one in parts),
        "ratio": sum(one["y"] for one in parts) / drives,
        "rate": rate,
        "low": rate - half,
        "high": rate + half,
        "chance": stats.t_two_sided(rate / error, free) if error > 0 else float(rate == 0),
    }


def too_few(most: int, what: str) -> str:
    """Why no line could be drawn. most: drives of what has the most of them."""
    if most < LEAST_DRIVES:
        return f"{LEAST_DRIVES} drives are needed, {what} has {most}"
    return f"{what} has {most} drives, but no two between the same entries of the log or of different age"


def words(rows: list[Row], most: int) -> list[str]:
    """most: drives of the cell that has the most of them."""
    called = sum(row["called"] for row in rows)
    if not rows:
        return [too_few(most, "the most-driven cell")]
    return [
        f"{called} of {len(rows)} cells drift",
        "a rate above 0: it gets leaner; its interval is 95 % for this cell alone",
        f"called where the chance is below {LEVEL:.0%} for all cells and cars together, and the ratio moved by "
        f"{LEAST_STEP:.2f} or more",
        "the drive is the unit: its pulls share their day; between entries of the log (changes, fuel, sensor) each "
        "stretch has its own level",
        "weather that changes with the seasons drifts as well: a year compares better than a spring",
    ]
