"""Do delay and lag grow with the sensor's age? A sensor that gets slow hides short holes."""

from __future__ import annotations

import numpy as np

from ringpull.analysis.cells import stats
from ringpull.shelf.questions import drift
from ringpull.shelf.questions.found import LEAST_DRIVES, LEVEL, Found, Row, Shown
from ringpull.shelf.questions.live import YEAR_D, Live

LEAST_STEP_S = 0.010  # less is not worth naming
WHAT = {"lag": "lag_s", "delay": "delay_s"}
BY_DATE, BY_HOURS = "years since fitting", "100 engine hours"
COLUMNS = (
    Shown("car_name", "car"),
    Shown("bank", "sensor"),
    Shown("what", "what"),
    Shown("drives", "drives"),
    Shown("age_by", "age in"),
    Shown("age_from", "from age", 2),
    Shown("age_to", "to age", 2),
    Shown("value_from", "ms at first", 0, False, 1000.0),
    Shown("value_to", "ms at last", 0, False, 1000.0),
    Shown("rate", "ms a unit of age", 1, True, 1000.0),
    Shown("low", "from", 1, True, 1000.0),
    Shown("high", "to", 1, True, 1000.0),
    Shown("chance", "chance", 4),
    Shown("called", "grows"),
)


def points(live: Live):
    """A row for each drive and sensor whose delay was found: its age and figures. An expression."""
    ibis = live.ibis
    found = live.beside("delays", "car_name", "day", "fitted", "hours").filter(lambda t: t.found)
    return found.mutate(
        dated=found.fitted.notnull(),
        age=ibis.ifelse(found.fitted.notnull(), (found.day - found.fitted) / YEAR_D, found.hours / 100.0),
    )


def sums(live: Live, what: str):
    """Number and sums of each sensor's drives. An expression."""
    rows = points(live)
    rows = rows.filter(lambda t: t.lag_found) if what == "lag_s" else rows
    return rows.group_by(["car_name", "bank", "dated", "fitted"]).agg(
        n=lambda t: t.count(),
        x=lambda t: t.age.sum(),
        xx=lambda t: (t.age * t.age).sum(),
        y=lambda t: t[what].cast("float64").sum(),
        xy=lambda t: (t.age * t[what].cast("float64")).sum(),
        yy=lambda t: (t[what].cast("float64") * t[what].cast("float64")).sum(),
        first=lambda t: t.age.min(),
        last=lambda t: t.age.max(),
    )


def delay(live: Live) -> Found:
    """Lag, and delay at 3000 rpm and 100 kPa, against age; `called`: by Holm over cars and sensors, growing, and by
    LEAST_STEP_S or more."""
    return of_sums({what: live.run(sums(live, column)) for what, column in WHAT.items()})


def of_sums(parts: dict[str, list[Row]]) -> Found:
    """`delay` of what the engine has summed of each figure."""
    rows, most = [], 0
    for what, some in parts.items():
        sensors: dict[tuple, list[Row]] = {}
        for row in some:
            sensors.setdefault((row["car_name"], row["bank"], row["dated"]), []).append(row)
        most = max([most, *(sum(one["n"] for one in group) for group in sensors.values())])
        rows += [one for key in sorted(sensors) if (one := line(sensors[key], what)) is not None]
    called = stats.holm(np.array([row["chance"] for row in rows]), LEVEL) if rows else []
    for row, rejected in zip(rows, called, strict=True):
        row["called"] = bool(rejected) and row["value_to"] - row["value_from"] >= LEAST_STEP_S
    rows.sort(key=lambda row: (not row["called"], row["car_name"], row["bank"], row["what"] != "lag"))
    return Found("delay", COLUMNS, rows, words(rows, most))


def line(parts: list[Row], what: str) -> Row | None:
    """One sensor's rate, or that of several one after the other; None where there are too few drives."""
    parts = sorted(parts, key=lambda one: one["fitted"] or 0.0)
    groups = [(one["n"], one["x"], one["xx"], one["y"], one["xy"], one["yy"]) for one in parts]
    rate, error, free = stats.common_slope(groups)
    drives = sum(one["n"] for one in parts)
    if drives < LEAST_DRIVES or not np.isfinite(rate):
        return None
    last = parts[-1]  # the ages that are shown are of the sensor that was fitted last
    level = (last["y"] - rate * last["x"]) / last["n"]
    half = stats.t_quantile(0.975, free) * error
    return {
        "car_name": last["car_name"],
        "bank": last["bank"],
        "what": what,
        "drives": drives,
        "age_by": BY_DATE if last["dated"] else BY_HOURS,
        "age_from": last["first"],
        "age_to": last["last"],
        "value_from": level + rate * last["first"],
        "value_to": level + rate * last["last"],
        "rate": rate,
        "low": rate - half,
        "high": rate + half,
        "chance": stats.t_two_sided(rate / error, free) if error > 0 else float(rate == 0),
    }


def words(rows: list[Row], most: int) -> list[str]:
    """most: drives of the sensor that has the most that told their delay."""
    if not rows:
        return [drift.too_few(most, "the sensor whose delay was found most often")]
    return [
        f"{sum(row['called'] for row in rows)} of {len(rows)} delays and lags grow",
        f"called where the chance is below {LEVEL:.0%} for all of them together, and it grew by "
        f"{1000 * LEAST_STEP_S:.0f} ms or more",
        "age: since the sensor was fitted, where that was told (keep --sensor-fitted), else by the engine hours of the "
        "drives on the shelf",
        "only drives count that told their delay by themselves; the delay is that at 3000 rpm and 100 kPa",
    ]
