"""The truth about the invented drive, with which tests compare the answer. No part of the program reads it."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import numpy as np

from ringpull.invented import exhaust, scenario
from ringpull.invented.scenario import Drive

HOLE_EXCESS = 0.02  # the hole extends as long as the lost pressure alone leans the mixture by more than this
MEAN_S = 0.2
TRACE_STEPS = 20


def truth(drive: Drive, seed: int) -> dict[str, Any]:
    """A dict of pulls, hole, delay and traces. Times are seconds since power-on, at injection."""
    steps = np.s_[::TRACE_STEPS]
    return {
        "seed": seed,
        "pulls": [
            {
                "number": pull.number,
                "start_s": round(pull.press_s, 4),
                "end_s": round(pull.end_s, 4),
                "ended_by": pull.ended_by,
                "throttle_open_s": round(pull.open_s, 4),
                "throttle_closed_s": round(pull.lift_s, 4),
                "rpm_from": round(pull.rpm_from, 1),
                "rpm_to": round(pull.rpm_to, 1),
            }
            for pull in drive.pulls
        ],
        "hole": _hole(drive),
        "delay": _delay(drive),
        "trace": {
            "t_s": np.round(drive.t_s[steps], 3).tolist(),
            "rpm": np.round(drive.rpm[steps], 2).tolist(),
            "lambda_cylinder": np.round(drive.lambda_cylinder[steps], 4).tolist(),
            "lambda_sensor": np.round(drive.lambda_sensor[steps], 4).tolist(),
            "lambda_shown": np.round(drive.lambda_shown[steps], 4).tolist(),
        },
    }


def _hole(drive: Drive) -> dict[str, Any] | None:
    """The place where fuel pressure was lost, and the excess of lambda over target there (highest mean over MEAN_S).

    None for a sound pump.
    """
    pull = drive.pulls[scenario.HOLE_PULL - 1]
    lost = drive.lambda_cylinder - drive.lambda_steady
    within = (drive.t_s > pull.open_s) & (drive.t_s < pull.lift_s)
    where = np.flatnonzero(within & (lost > HOLE_EXCESS))
    if not len(where):
        return None
    first, last = where[0], where[-1]
    width = round(MEAN_S / scenario.STEP_S)
    excess = np.convolve(drive.lambda_cylinder - drive.target, np.full(width, 1.0 / width), "same")[first:last]
    return {
        "pull": scenario.HOLE_PULL,
        "from_s": round(float(drive.t_s[first]), 3),
        "to_s": round(float(drive.t_s[last]), 3),
        "rpm_from": round(float(drive.rpm[first]), 1),
        "rpm_to": round(float(drive.rpm[last]), 1),
        "depth": round(float(excess.max()), 4),
        "pressure_lost_kpa": round(float(np.max(drive.across_kpa[:first]) - np.min(drive.across_kpa[first:last])), 2),
    }


def _delay(drive: Drive) -> dict[str, Any]:
    """The delay from injection to the gas at the sensor along the first pull, and the lag that follows."""
    pull = drive.pulls[0]
    at = np.searchsorted(drive.t_s, np.linspace(pull.open_s + 0.5, pull.lift_s - 0.1, 6))
    return {
        "tau_s": exhaust.SENSOR_TAU_S,
        "volume_l": exhaust.VOLUME_M3 * 1000.0,
        "cycle_deg": exhaust.CYCLE_DEG,
        "at": [
            {
                "rpm": round(float(drive.rpm[n]), 1),
                "map_kpa": round(float(drive.map_kpa[n]), 2),
                "delay_s": round(float(drive.arrival_s[n] - drive.t_s[n]), 5),
            }
            for n in at
        ],
    }


def write(drive: Drive, folder: Path, seed: int) -> None:
    """Write truth.json to an existing folder."""
    (folder / "truth.json").write_text(json.dumps(truth(drive, seed)) + "\n")
