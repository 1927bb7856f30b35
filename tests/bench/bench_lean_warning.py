"""The lean warning on random drives: holes that it tells, how late, and alarms where nothing was lean."""

import copy
import statistics
import sys
from pathlib import Path

import pandas as pd

sys.path.insert(0, str(Path(__file__).resolve().parents[1]))

from lean_replay import intervals, replay
from truth import drives

from shared_math import judging

DRIVES = 60
SURE_EXCESS, SURE_S = 0.06, 0.45  # a hole above this for so long must be told


def rows():
    pulls = false = holes = 0
    late_s = []
    for seed in range(DRIVES):
        made = drives.make_drive(seed)
        settings = copy.deepcopy(made.config)
        for one in settings["channels"]:
            if one["kind"] == "lambda":
                one.setdefault("states", [{"name": "warm-up", "volts": [-0.4, -0.3]}])
        shown = intervals(*replay(settings, pd.DataFrame(made.rows)))
        time_s = made.rows["time_s"]
        excess = made.truth.lambda_cylinder - made.truth.target
        pulls += len(made.pulls)
        for on_s, _ in shown:
            before = (time_s > on_s - 1.2) & (time_s < on_s)
            false += excess[before].max() < judging.MARGIN
        for hole in made.truth.holes:
            near = (time_s > hole.start_s - 0.2) & (time_s < hole.end_s + 0.2)
            if (excess[near] > SURE_EXCESS).sum() / 200 >= SURE_S:
                holes += 1
                told = [on_s for on_s, _ in shown if hole.start_s < on_s < hole.end_s + 0.6]
                late_s += [told[0] - hole.start_s] if told else []
    yield "lean warning, false alarms", false, "", f"in {pulls} pulls of {DRIVES} drives"
    yield "lean warning, holes told", len(late_s), "", f"of {holes} above {SURE_EXCESS} for {SURE_S} s"
    yield "lean warning, after the hole began", statistics.median(late_s), "s", f"median; latest {max(late_s):.2f} s"
