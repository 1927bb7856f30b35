"""Which car is apart from its like? The car is the unit; its like have the same engine and fuel."""

from __future__ import annotations

import math

import numpy as np

from ringpull.analysis.cells import stats
from ringpull.shelf.questions.found import LEVEL, Found, Row, Shown, place
from ringpull.shelf.questions.live import Live

LEAST_CARS = 4
LEAST_CELLS = 3  # that a car shares with the others
LEAST = {"measured / target": 0.01, "lag": 0.010, "lean events a pull": 0.05}  # less is not worth naming
COLUMNS = (
    Shown("car_name", "car"),
    Shown("like", "its like"),
    Shown("what", "what"),
    Shown("cars", "others"),
    Shown("value", "this car", 4),
    Shown("others", "the others' mean", 4),
    Shown("scatter", "their scatter", 4),
    Shown("difference", "difference", 4, True),
    Shown("chance", "chance", 4),
    Shown("called", "apart"),
)


def cells(live: Live):
    """Of each car and cell the mean of the drives. An expression."""
    return (
        live.drive_means()
        .group_by(["car_name", "bank", "load_unit", "rpm", "load"])
        .agg(n=lambda t: t.count(), ratio=lambda t: t.ratio.sum() / t.count())
    )


def cars(live: Live):
    """Of each car its engine, fuel and counts. An expression."""
    return live.drives.group_by("car_name").agg(
        cylinders=lambda t: t.cylinders.max(),
        cc=lambda t: t.displacement_cc.max(),
        fuel=lambda t: t.fuel.max(),
        pulls=lambda t: t.judged_pulls.sum(),
        events=lambda t: t.lean_events.sum(),
    )


def lags(live: Live):
    """Of each car the mean of the lags that its drives told. An expression."""
    found = live.beside("delays", "car_name").filter(lambda t: t.lag_found)
    return found.group_by("car_name").agg(lag=lambda t: t.lag_s.cast("float64").sum() / t.count())


def outliers(live: Live) -> Found:
    """Every car and figure; `called`: by Holm over all of them, and a difference that is worth naming."""
    known = {one["car_name"]: one for one in live.run(cars(live))}
    like = {name: kind(one) for name, one in known.items()}
    figures = {
        "measured / target": levels(live.run(cells(live)), like),
        "lag": {one["car_name"]: one["lag"] for one in live.run(lags(live))},
        "lean events a pull": {n: one["events"] / one["pulls"] for n, one in known.items() if one["pulls"]},
    }
    rows = [row for what, values in figures.items() for row in apart(what, values, like)]
    called = stats.holm(np.array([row["chance"] for row in rows]), LEVEL) if rows else []
    for row, rejected in zip(rows, called, strict=True):
        row["called"] = bool(rejected) and abs(row["difference"]) >= LEAST[row["what"]]
    rows.sort(key=lambda row: (not row["called"], row["car_name"], row["what"]))
    return Found("outliers", COLUMNS, rows, words(rows, like))


def kind(car: Row) -> str:
    """What makes cars alike, in words."""
    parts = [f"{car['cylinders']} cylinders"] if car["cylinders"] else []
    parts += [f"{car['cc']:.0f} cc"] if car["cc"] else []
    return ", ".join([*parts, car["fuel"] or "fuel not told"])


def levels(rows: list[Row], like: dict[str, str]) -> dict[str, float]:
    """Car -> mean over cells of how far it is from the mean of its like in each, plus 1: cars visit other cells."""
    by_cell: dict[tuple, list[Row]] = {}
    for row in rows:
        by_cell.setdefault((like[row["car_name"]], row["load_unit"], *place(row)[2:]), []).append(row)
    off: dict[str, list[float]] = {}
    for key in sorted(by_cell, key=str):
        some = by_cell[key]
        if len({row["car_name"] for row in some}) >= LEAST_CARS:
            mean = sum(row["ratio"] for row in sorted(some, key=place)) / len(some)
            for row in some:
                off.setdefault(row["car_name"], []).append(row["ratio"] - mean)
    return {car: 1.0 + sum(some) / len(some) for car, some in off.items() if len(some) >= LEAST_CELLS}


def apart(what: str, values: dict[str, float], like: dict[str, str]) -> list[Row]:
    """Each car against all others of its kind."""
    out = []
    for car in sorted(values):
        others = np.array([values[one] for one in sorted(values) if one != car and like[one] == like[car]])
        if len(others) + 1 < LEAST_CARS:
            continue
        mean, scatter = float(others.mean()), float(others.std(ddof=1))
        difference, error = values[car] - mean, scatter * math.sqrt(1.0 + 1.0 / len(others))
        chance = stats.t_two_sided(difference / error, float(len(others) - 1)) if error > 0 else float(difference == 0)
        row = {"car_name": car, "like": like[car], "what": what, "cars": len(others), "value": values[car]}
        out.append(row | {"others": mean, "scatter": scatter, "difference": difference, "chance": chance})
    return out


def words(rows: list[Row], like: dict[str, str]) -> list[str]:
    if not rows:
        return [f"{len(like)} cars; {LEAST_CARS} of one engine and fuel are the least that can be told apart"]
    called = {row["car_name"] for row in rows if row["called"]}
    return [
        f"{len(called)} of {len({row['car_name'] for row in rows})} cars stand apart",
        f"called where the chance is below {LEVEL:.0%} for all cars and figures together; two that are apart alike "
        "hide each other in part",
        "measured / target: against the mean of its like in the cells that it shares with them; lag in seconds",
    ]
