"""Synthetic drives with a known truth, for tests of the analysis.

Made by following single charges through crank angle and pipe, step by step, and not by the package's own clocks.
"""

from __future__ import annotations

import copy
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field
from types import SimpleNamespace

import numpy as np
import pandas as pd

from ringpull.analysis import local
from ringpull.analysis.drive_state.columns import Columns
from ringpull.files import configuration

RATE_HZ = 200
CONFIG = {
    "version": 1,
    "rate_hz": RATE_HZ,
    "engine": {"cylinders": 4, "strokes": 4, "displacement_cc": 1598},
    "fuel": {"name": "petrol"},
    "vehicle": {"exhaust_l": 1.8},
    "target": {"load": "map", "load_kpa": [40, 100, 200], "lambda": [1.0, 0.88, 0.79]},
    "channels": [
        {
            "name": "lambda_1",
            "input": "a0",
            "kind": "lambda",
            "volts": [0.0, 5.0],
            "values": [0.60, 1.40],
            "tau_ms": 80,
        },
        {"name": "engine_speed", "input": "p0", "kind": "pulses", "per_rev": 2, "max_rpm": 9000},
        {"name": "map", "input": "a1", "kind": "linear", "unit": "kPa", "volts": [0.5, 4.5], "values": [20, 300]},
        {"name": "throttle", "input": "a2", "kind": "linear", "unit": "%", "volts": [0.5, 4.5], "values": [0, 100]},
    ],
}


@dataclass
class Hole:
    """A lean hole in one pull: lambda above target by `depth` between two speeds."""

    pull: int
    rpm_from: float
    rpm_to: float
    depth: float


@dataclass
class Scene:
    """Columns with their truth. true_lambda: at the time of injection. spans: the pulls' (start_s, end_s)."""

    columns: Columns
    true_lambda: np.ndarray
    spans: list[tuple[float, float]]
    tau_s: float
    extra: dict = field(default_factory=dict)


@contextmanager
def rewriting(columns: Columns) -> Iterator[dict]:
    """A copy of the text of the columns' configuration, to be changed: they have its records afterwards."""
    written = copy.deepcopy(columns.config.written)
    yield written
    columns.config = configuration.of(written)


def charge_arrivals(time_s, rpm, litres_per_s, constant_s, cycle_deg, volume_l):
    """When each row's charge reaches the sensor, by stepping every charge along crank angle, then along the pipe."""
    out = np.full(len(time_s), np.nan)
    time_s, rpm, litres_per_s = time_s.tolist(), rpm.tolist(), litres_per_s.tolist()  # lists: read one by one
    step = time_s[1] - time_s[0]
    for first in range(len(time_s)):
        at, left = first, cycle_deg
        while at < len(time_s) - 1 and left > 0:
            turned = 6.0 * 0.5 * (rpm[at] + rpm[at + 1]) * step
            if turned >= left:
                break
            left -= turned
            at += 1
        if at >= len(time_s) - 1:
            break
        part = left / turned if left > 0 else 0.0
        moment, room = at + part, volume_l
        at = int(moment)
        first_share = 1.0 - (moment - at)
        while at < len(time_s) - 1:
            flowed = 0.5 * (litres_per_s[at] + litres_per_s[at + 1]) * step * first_share
            if flowed >= room:
                out[first] = time_s[at] + (1.0 - first_share) * step + room / flowed * first_share * step + constant_s
                break
            room -= flowed
            at, first_share = at + 1, 1.0
    return out


def lagged(values, tau_s, step):
    """First-order lag of a sampled column, exact for a held input."""
    keep = float(np.exp(-step / tau_s))
    out, state = [], float(values[0])
    for value in values.tolist():
        state = value + (state - value) * keep
        out.append(state)
    return np.array(out)


def scene(
    pulls=3,
    hole=None,
    rate_rpm_s=700.0,
    rpm_low=2500.0,
    rpm_high=6800.0,
    noise=0.003,
    offset=0.0,
    constant_s=0.012,
    volume_l=1.8,
    tau_s=0.080,
    seed=1,
    config=None,
):
    """Pulls of one gear with cruise between: throttle, pressure, speed, lambda at target plus `hole` and `offset`."""
    from ringpull.analysis.delay import transport

    random = np.random.default_rng(seed)
    config = configuration.of(copy.deepcopy(CONFIG if config is None else config))
    step = 1.0 / RATE_HZ
    pull_s = (rpm_high - rpm_low) / rate_rpm_s
    cycle_s = pull_s + 12.0
    rows = int((6.0 + pulls * cycle_s) * RATE_HZ)
    time_s = np.arange(rows) * step
    rpm, throttle, map_kpa = np.full(rows, rpm_low), np.full(rows, 18.0), np.full(rows, 45.0)
    which = np.zeros(rows, int)
    spans = []
    for number in range(pulls):
        start = 6.0 + number * cycle_s
        end = start + pull_s
        spans.append((start, end))
        inside = (time_s >= start) & (time_s < end)
        which[inside] = number + 1
        rpm[inside] = rpm_low + (time_s[inside] - start) * rate_rpm_s
        throttle[inside] = np.minimum(100.0, 18.0 + (time_s[inside] - start) / 0.1 * 82.0)
        map_kpa[inside] = np.minimum(175.0, 45.0 + (time_s[inside] - start) / 0.7 * 130.0)
        after = (time_s >= end) & (time_s < end + 6.0)
        rpm[after] = rpm_high + (time_s[after] - end) * (rpm_low - rpm_high) / 6.0
        throttle[after], map_kpa[after] = 0.0, 25.0
    target = config.targets[0]
    true_lambda = np.interp(map_kpa, target.loads, target.written["lambda"]) + offset
    if hole is not None:
        here = (which == hole.pull) & (rpm >= hole.rpm_from) & (rpm <= hole.rpm_to)
        true_lambda = true_lambda + np.where(here, hole.depth, 0.0)
    full_g_s = transport.mass_flow_g_s(config, rpm_high, 175.0)
    litres_per_s = transport.steady_flow_l_s(config, rpm, map_kpa, full_g_s)
    arrival = charge_arrivals(time_s, rpm, litres_per_s, constant_s, 540.0, volume_l)
    seen = np.isfinite(arrival)
    at_sensor = np.interp(time_s, arrival[seen], true_lambda[seen])
    measured = lagged(at_sensor, tau_s, step) + random.normal(0.0, noise, rows)
    columns = Columns(
        time_s=time_s,
        lambda_=measured,
        rpm=rpm.copy(),
        map_kpa=map_kpa + random.normal(0.0, 0.3, rows),
        throttle=throttle + random.normal(0.0, 0.1, rows),
        config=config,
        banks={"lambda_1": measured},
    )
    columns.named = {
        "lambda_1": measured,
        "engine_speed": columns.rpm,
        "map": columns.map_kpa,
        "throttle": columns.throttle,
    }
    return Scene(columns, true_lambda, spans, tau_s)


class StandInSession:
    """What the analysis asks of a session, made from columns."""

    codes = ()  # of the car's computers
    refused_config = None

    def __init__(self, columns, marks=(), session_id=1, drop=None, lean_warnings=()):
        self.lean_warnings = list(lean_warnings)
        self.id = session_id
        self.config = columns.config
        self.converters = columns.converters
        self.period_s = columns.period_s
        self.marks = [
            SimpleNamespace(id=n + 1, start_s=a, end_s=b, spoiled=spoiled, void=False)
            for n, (a, b, spoiled) in enumerate(marks)
        ]
        data = {"session": session_id, "time_s": columns.time_s}
        suffixes = {"lambda_1": "", "engine_speed": "_rpm", "map": "_kpa", "throttle": "_pct", "fuel_pressure": "_kpa"}
        for name, suffix in suffixes.items():
            if columns.named.get(name) is not None:
                data[name + suffix] = columns.named[name]
        frame = pd.DataFrame(data)
        self._frame = frame if drop is None else frame[~drop].reset_index(drop=True)
        self.rows = len(self._frame)
        self.duration_s = float(columns.time_s[-1])
        gone = [] if drop is None else local.spans(np.asarray(drop))
        self._gaps = [(columns.time_s[first], columns.time_s[last - 1] + self.period_s) for first, last in gone]
        self.lost_marks = 0

    def unrecorded(self):
        return self._gaps

    @property
    def awake(self):
        """Its engine never stands for hours."""
        return self

    def frame(self):
        return self._frame

    def table(self):
        return {name: self._frame[name].to_numpy() for name in self._frame}


class StandInDrive:
    """What the analysis asks of a drive."""

    cut_short = None

    def __init__(self, *sessions, target=None):
        from ringpull.analysis import find_pulls

        self.sessions = list(sessions)
        self._views = [find_pulls.View(session, target) for session in sessions]
        self._pulls = find_pulls.find(self._views)

    def judged_by(self, target):
        return StandInDrive(*self.sessions, target=target)

    def views(self):
        return self._views

    def pulls(self):
        return self._pulls


def why(result):
    """The reasons of an answer as people read them."""
    from ringpull.wording.reasons import reason

    return [reason(one) for one in result.reasons]


def assumed(result):
    """What an answer assumed, as people read it."""
    from ringpull.wording.assumed import lines

    return lines(result.assumptions)


def said_hints(hints):
    """Hints as people read them."""
    from ringpull.wording.events import hint

    return [hint(one) for one in hints]
