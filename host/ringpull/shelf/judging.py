"""One ring copy -> the rows of every table: a pure function of a path, and of a configuration where one is given."""

from __future__ import annotations

import hashlib
import json
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np

from ringpull.analysis import local
from ringpull.analysis.cells.passes import Axes, SessionPulls, nearest, passes
from ringpull.analysis.cells.ratio import ratio
from ringpull.analysis.cells.sets import pulls_in
from ringpull.analysis.cells.settling import settling
from ringpull.analysis.delay import transport
from ringpull.analysis.judge.lean_events import WINDOW_S
from ringpull.analysis.judge.session import Judged
from ringpull.drive import Drive, read
from ringpull.errors import BadConfig
from ringpull.files.configuration import Configuration

if TYPE_CHECKING:
    from ringpull.session import Session

# Fixed axes, so that drives add up
STEP_RPM, MOST_RPM = 500, 15_000
STEP_LOAD, MOST_LOAD = 20, 500
AXES = Axes(
    np.arange(0.0, MOST_RPM + 1, STEP_RPM),
    np.arange(0.0, MOST_LOAD + 1, STEP_LOAD),
)
REFERENCE_RPM, REFERENCE_KPA = 3000.0, 100.0  # where delays are compared
TURNING_RPM = 300.0
Row = dict[str, Any]


@dataclass(frozen=True)
class Judgement:
    """drive: what the drive's row tells of it. tables: rows of the tables beside it. samples: columns of the table of
    rows, (rows,) each."""

    drive: Row
    tables: dict[str, list[Row]]
    samples: dict[str, np.ndarray]


def digest(told: Any) -> str:
    """Start of the SHA-256 of something that JSON holds."""
    return hashlib.sha256(json.dumps(told, sort_keys=True).encode()).hexdigest()[:12]


def judge(ring: Path, calibration: Configuration | None = None) -> Judgement:
    """What a ring copy says. calibration: a configuration instead of the ring's own."""
    drive = read(ring)
    if calibration is not None:
        refuse_other_channels(drive.sessions[0], calibration)
        drive = drive.calibrated_by(calibration)
    session = drive.sessions[0]
    answer = drive.answer()
    view = drive.views()[0]
    judged = view.judged
    spans = pulls_in(drive, view)
    return Judgement(
        drive=about(drive, answer, judged),
        tables={
            "pulls": [pull_row(one) for one in answer.pulls],
            "events": [event_row(pull, event) for pull in answer.pulls for event in pull.lean_events],
            "cells": cell_rows(judged, spans),
            "delays": [delay_row(judged, name) for name in judged.banks],
            "instruments": [instrument_row(one) for one in answer.instruments if one.session in (None, session.id)],
        },
        samples=samples(judged, [(p.number, p.start_s, p.end_s) for p in drive.pulls()]),
    )


def refuse_other_channels(session: Session, calibration: Configuration) -> None:
    """BadConfig where a configuration does not describe what a ring holds."""

    def inputs(config: Configuration) -> dict[str, tuple]:
        return {one.name: (one.input, one.kind) for one in config.channels}

    there, given = inputs(session.config), inputs(calibration)
    missing = [name for name, place in there.items() if given.get(name) != place]
    if missing:
        raise BadConfig(
            f"the configuration describes another logger: {', '.join(missing)} is not there, or of another kind or "
            "input",
            "it is another car's, or channels were renamed",
            "copy the car's own logger.json and change calibration figures alone",
        )


def about(drive: Drive, answer, judged: Judged) -> Row:
    """Of the drive's row what its ring tells."""
    session = drive.sessions[0]
    columns, config = judged.columns, session.config
    with np.errstate(invalid="ignore"):
        turning = np.count_nonzero(columns.rpm > TURNING_RPM)
    return {
        "rows": session.rows,
        "first_row": round(session.start_s / session.period_s),
        "end_row": round(session.duration_s / session.period_s),
        "seconds": session.duration_s,
        "engine_s": float(turning * columns.period_s),
        "rate_hz": session.rate_hz,
        "pulls": len(answer.pulls),
        "judged_pulls": len(answer.judged),
        "lean_events": sum(len(one.lean_events) for one in answer.judged),
        "verdict": answer.verdict,
        "doubted": bool(judged.doubted),
        "assumed_target": not config.with_target,
        "load_unit": columns.load_unit,
        "cylinders": config.engine.cylinders,
        "displacement_cc": config.engine.displacement_cc,
        "firmware": session.firmware,
        "board": session.board,
        "calibration": digest(config.written),
        "fuel": config.fuel.name if config.fuel else None,
    }


def pull_row(pull) -> Row:
    n = pull.numbers
    return {
        "pull": pull.number,
        "start_s": pull.pull.start_s,
        "end_s": pull.pull.end_s,
        "source": pull.pull.source,
        "spoiled": pull.spoiled,
        "rpm_from": known(n.rpm_from),
        "rpm_to": known(n.rpm_to),
        "lambda_mean": known(n.lambda_mean),
        "lambda_min": known(n.lambda_min),
        "lambda_max": known(n.lambda_max),
        "load_max": known(n.load_max),
        "judged_s": n.judged_s,
        "excess_max": known(n.excess_max),
        "lean_events": len(pull.lean_events),
    }


def event_row(pull, event) -> Row:
    return {
        "pull": pull.number,
        "bank": event.bank or next(iter(pull.judged.banks), ""),
        "start_s": event.start_s,
        "end_s": event.end_s,
        "rpm_from": known(event.rpm_from),
        "rpm_to": known(event.rpm_to),
        "rpm_deepest": known(event.deepest_rpm),
        "load_from": known(event.load_from),
        "load_to": known(event.load_to),
        "target": known(event.target),
        "depth": event.depth,
        "depth_u": event.depth_u,
        "systematic_u": event.systematic_u,
        "exposure": event.exposure_s,
        "chance": event.chance,
        "bound": event.bound,
    }


def cell_rows(judged: Judged, spans) -> list[Row]:
    """A row for each pull, bank and cell on AXES: what was judged under load, once the engine has settled."""
    with_load = judged.columns.load() is not None
    axes = AXES if with_load else Axes(AXES.speeds)
    out = []
    for bank in judged.each_bank:
        value = np.where(judged.loaded & ~settling(judged), ratio(judged, bank), np.nan)
        largest = largest_means(judged, value, spans, axes)
        for one in passes(SessionPulls(judged, spans), value, axes, bank=bank):
            if one.unit is None:
                continue
            pull = one.unit[1]
            out.append(
                {
                    "pull": pull,
                    "bank": bank,
                    "rpm": one.speed * STEP_RPM,
                    "load": one.load * STEP_LOAD if with_load else None,
                    "seconds": one.seconds,
                    "ratio": one.value,
                    "ratio_max": largest.get((pull, one.speed, one.load), one.value),
                }
            )
    return out


def largest_means(judged: Judged, value: np.ndarray, spans, axes: Axes) -> dict[tuple[int, int, int], float]:
    """(pull, speed, load) -> largest mean over WINDOW_S of what was measured there."""
    columns = judged.columns
    half = local.half_rows(WINDOW_S, columns.period_s)
    smooth, count = local.mean(value, half)
    speed = nearest(axes.speeds, columns.rpm)
    load = columns.load()
    row = np.zeros(len(columns), int) if axes.loads is None or load is None else nearest(axes.loads, load.values)
    good = np.isfinite(value) & (count >= half) & (speed >= 0) & (row >= 0)
    out: dict[tuple[int, int, int], float] = {}
    for number, start_s, end_s in spans:
        rows = columns.rows(start_s, end_s)
        here = np.flatnonzero(good[rows]) + rows.start
        for key in np.unique(speed[here] * 1000 + row[here]).tolist():
            inside = here[speed[here] * 1000 + row[here] == key]
            out[number, key // 1000, key % 1000] = float(smooth[inside].max())
    return out


def delay_row(judged: Judged, bank: str) -> Row:
    """Delay and lag of one lambda sensor; where the throttle is time zero, the delay that was found moves nothing, and
    is told all the same."""
    one = judged.banks[bank]
    found, config = one.identified, judged.columns.config
    done = found is not None and found.done
    model = one.aligned.model
    told = found.estimate if found is not None and found.estimate is not None else model
    litres_per_s = transport.steady_flow_l_s(config, REFERENCE_RPM, REFERENCE_KPA, one.aligned.flow.full_g_s)
    return {
        "bank": bank,
        "found": done,
        "lag_found": done and model.tau_s != transport.default(config).tau_s,
        "events": 0 if found is None else found.events,
        "lag_s": model.tau_s,
        "lag_u_s": model.tau_u_s,
        "delay_s": float(told.delay_s(REFERENCE_RPM, litres_per_s)),
        "delay_u_s": float(told.delay_u_s(litres_per_s)),
        "volume_l": told.volume_l,
    }


def instrument_row(one) -> Row:
    return {
        "channel": one.channel,
        "role": one.role,
        "state": one.state.value,
        "against": "; ".join(finding.check.value for finding in one.against) or None,
    }


def samples(judged: Judged, spans) -> dict[str, np.ndarray]:
    """The rows of the pulls."""
    columns, extra = judged.columns, judged.columns.extra
    blank = np.full(len(columns), np.nan)
    load = columns.load()
    every = {
        "time_s": columns.time_s,
        "rpm": columns.rpm,
        "map_kpa": columns.map_kpa,
        "throttle_pct": columns.throttle,
        "load": None if load is None else load.values,
        "lambda_measured": columns.lambda_,
        "lambda_aligned": judged.lambda_aligned,
        "lambda_target": judged.target,
        "fuel_pressure_kpa": extra.get("fuel_pressure"),
        "battery_v": extra.get("battery"),
        "intake_degc": extra.get("intake"),
        "coolant_degc": extra.get("coolant"),
        "loaded": judged.loaded,
        "judged": judged.masks.valid & judged.loaded,
    }
    rows = [(number, columns.rows(start_s, end_s)) for number, start_s, end_s in spans]
    out = {"pull": np.concatenate([np.zeros(0, np.int32), *(np.full(r.stop - r.start, n) for n, r in rows)])}
    for name, values in every.items():
        whole = blank if values is None else values
        out[name] = np.concatenate([whole[:0], *(whole[r] for _, r in rows)])
    return out


def known(value: float | None) -> float | None:
    """A number, or None for what isn't known."""
    return float(value) if value is not None and np.isfinite(value) else None
