"""How far from lean, by engine speed, month by month."""

from __future__ import annotations

import math

from ringpull.analysis.cells import stats
from ringpull.shelf.questions.found import Found, Row, Shown
from ringpull.shelf.questions.live import Live

COLUMNS = (
    Shown("car_name", "car"),
    Shown("month", "month"),
    Shown("rpm", "rpm"),
    Shown("drives", "drives"),
    Shown("pulls", "pulls"),
    Shown("margin", "margin %", 1, True, 100.0),
    Shown("low", "from", 1, True, 100.0),
    Shown("high", "to", 1, True, 100.0),
    Shown("least", "least %", 1, True, 100.0),
    Shown("events", "lean events"),
    Shown("deepest", "deepest %", 1, False, 100.0),
    Shown("called", "lean"),
)


def margins(live: Live):
    """Of each car, month and speed: number and sums of the drives' leanest cells. An expression."""
    keys = ["car_name", "month", "rpm", "drive"]
    leaner = (
        live.drive_means()
        .group_by(keys)
        .agg(ratio=lambda t: t.ratio.max(), worst=lambda t: t.worst.max(), pulls=lambda t: t.pulls.max())
    )
    return leaner.group_by(keys[:3]).agg(
        n=lambda t: t.count(),
        pulls=lambda t: t.pulls.sum(),
        y=lambda t: t.ratio.sum(),
        yy=lambda t: (t.ratio * t.ratio).sum(),
        worst=lambda t: t.worst.max(),
    )


def events(live: Live):
    """Of each car, month and speed: how many lean events, and the deepest as a share of target. An expression."""
    found = live.beside("events", "car_name", "month").filter(lambda t: t.rpm_deepest.notnull())
    found = found.mutate(rpm=((found.rpm_deepest.cast("float64") / 500.0 + 0.5).floor() * 500).cast("int32"))
    return found.group_by(["car_name", "month", "rpm"]).agg(
        events=lambda t: t.count(), deepest=lambda t: (t.depth.cast("float64") / t.target.cast("float64")).max()
    )


def lean(live: Live) -> Found:
    """Margins by car, month and speed. `called`: where a drive had a lean event."""
    lean_ones = {(one["car_name"], one["month"], one["rpm"]): one for one in live.run(events(live))}
    rows: list[Row] = []
    for one in live.run(margins(live)):
        key = one["car_name"], one["month"], one["rpm"]
        event = lean_ones.pop(key, {})
        n, mean, variance = stats.mean_of(one["n"], one["y"], one["yy"])
        half = stats.t_quantile(0.975, float(n - 1)) * math.sqrt(variance / n) if n > 1 else math.nan
        rows.append(
            dict(zip(("car_name", "month", "rpm"), key, strict=True))
            | {
                "drives": n,
                "pulls": one["pulls"],
                "margin": 1.0 - mean,
                "low": 1.0 - mean - half,
                "high": 1.0 - mean + half,
                "least": 1.0 - one["worst"],
                "events": event.get("events", 0),
                "deepest": event.get("deepest"),
                "called": bool(event),
            }
        )
    for key, event in lean_ones.items():
        blank = {"drives": 0, "pulls": 0, "margin": math.nan, "low": math.nan, "high": math.nan, "least": math.nan}
        names = dict(zip(("car_name", "month", "rpm"), key, strict=True))
        rows.append(names | blank | {"events": event["events"], "deepest": event["deepest"], "called": True})
    rows.sort(key=lambda row: (row["car_name"], row["month"], row["rpm"]))
    return Found("lean", COLUMNS, rows, words(rows))


def words(rows: list[Row]) -> list[str]:
    if not rows:
        return ["nothing under load was judged in any drive"]
    counted = sum(row["events"] for row in rows)
    months = len({row["month"] for row in rows})
    return [
        f"{counted} lean event{'' if counted == 1 else 's'} in {months} month{'' if months == 1 else 's'}",
        "margin: how far below target lambda stood, of the leanest load at that speed, mean of the drives with its "
        "95 % interval; below 0 it is leaner than target",
        "least: of the leanest 0.2 s of all drives",
        "the systematic error of a sensor shifts all of them alike",
    ]
