"""A target's table that ends far below what the drive reaches is no target there, and the answer is never calm."""

import pytest
from analysis_scenes import Hole, StandInDrive, StandInSession, scene, why

from ringpull.analysis import answer
from ringpull.analysis.cells import fuelmap
from ringpull.analysis.judge import verdict
from ringpull.analysis.judge.reasons import Why
from ringpull.report import map_words

SHAPE = [1.0, 0.90, 0.82]  # a little leaner than the drive, so that nothing in it is lean


def drive_against(target, **what):
    """Three marked pulls to 6,800 rpm and 175 kPa, at most 0.82 there, held against another target."""
    made = scene(**what)
    made.columns.config = made.columns.config.judged_by(target)
    return StandInDrive(StandInSession(made.columns, [(a, b, False) for a, b in made.spans]))


def answered(target, **what):
    return answer.answer(drive_against(target, **what))


def told(found):
    return [one for one in found.reasons if one.kind is Why.BEYOND_TARGET]


@pytest.mark.parametrize(
    ("axes", "last", "most", "named"),
    [
        ({"load_kpa": [0, 90, 110], "lambda": SHAPE}, 110, 175, "kPa absolute"),  # gauge pressure, or per cent
        ({"load_kpa": [40, 100, 200], "rpm": [1, 4, 7], "lambda": [SHAPE] * 3}, 7, 6800, "in rpm"),  # thousands
        ({"load_kpa": [40, 100, 200], "rpm": [1000, 4000], "lambda": [SHAPE] * 2}, 4000, 6800, "made for this engine"),
    ],
)
def test_a_drive_beyond_the_tables_end_is_told_and_not_calm(axes, last, most, named):
    found = answered({"load": "map", **axes})
    (reason,) = told(found)
    assert found.verdict == verdict.NOT_ENOUGH
    assert reason.values["last"] == last and reason.values["most"] == pytest.approx(most, rel=0.02)
    assert reason.values["pulls"] == 3 and reason.values["seconds"] > 3.0
    assert any(named in one for one in map(str, why(found)) if "table ends at" in one)


@pytest.mark.parametrize(
    "axes",
    [
        {"load_kpa": [40, 100, 160], "lambda": SHAPE},  # 9 per cent short
        {"load_kpa": [40, 100, 200], "rpm": [1000, 6000], "lambda": [SHAPE] * 2},  # 13 per cent short
    ],
)
def test_a_table_that_nearly_reaches_is_taken(axes):
    found = answered({"load": "map", **axes})
    assert found.verdict == verdict.NO_EVENT and not told(found)


def test_a_lean_event_beyond_the_end_is_attention_and_the_end_is_told_beside_it():
    found = answered({"load": "map", "load_kpa": [0, 90, 110], "lambda": SHAPE}, hole=Hole(2, 5000, 5600, 0.12))
    assert found.verdict == verdict.ATTENTION and len(told(found)) == 1
    assert found.reasons[0].kind is Why.LEAN


def test_of_several_targets_the_one_that_holds_counts():
    short = {
        "load": "map",
        "load_kpa": [40, 100],
        "lambda": [0.8, 0.8],
        "when": {"channel": "throttle", "is": [101, 200]},
    }
    long = {"load": "map", "load_kpa": [40, 100, 200], "lambda": SHAPE}
    assert not told(answered([short, long]))
    short["when"]["is"] = [0, 200]
    (reason,) = told(answered([short, long]))
    assert reason.values["last"] == 100 and reason.values["most"] == pytest.approx(175, abs=2)


def test_a_map_reduces_no_fuel_by_a_target_that_ends_before_the_drive():
    short, long = ({"load": "map", "load_kpa": [40, 100, last], "lambda": SHAPE} for last in (110, 200))
    of_short, of_long = (fuelmap.of_drive(drive_against(one)) for one in (short, long))
    assert min(c.factor for c in of_long.cells if c.loaded) < 1.0 and not of_long.grounds.target_ends
    assert min(c.factor for c in of_short.cells if c.loaded) >= 1.0
    assert any("ends at 110 kPa" in str(one) for one in map_words.sentences(of_short))
