"""Two drives judged by targets of their own: that is said first, and no change is called better by it."""

import re
from pathlib import Path

import pytest
from analysis_scenes import CONFIG, StandInDrive, StandInSession, scene

from ringpull.analysis.answer import answer
from ringpull.analysis.cells import compare
from ringpull.analysis.cells.drive_comparison import Side, of_mixture
from ringpull.cli.commands import compare as command
from ringpull.files import configuration
from ringpull.report import compare_part
from ringpull.report.against import Against

LEANER = 0.03


def drive(target_by, seed):
    """The same mixture on either day, LEANER than the usual target; target_by: of the day, above the usual."""
    made = scene(offset=LEANER, seed=seed)
    target = CONFIG["target"]
    of_day = {**target, "lambda": [one + target_by for one in target["lambda"]]}
    made.columns.config = made.columns.config.judged_by(of_day)
    out = StandInDrive(StandInSession(made.columns, [(*span, False) for span in made.spans]))
    out.source = Path("card")
    return out


@pytest.fixture(scope="module", params=[(0.0, LEANER, compare.BETTER), (LEANER, 0.0, compare.WORSE)])
def unlike(request):
    """(before, after, their comparison): nothing but the target has changed."""
    before, after = (drive(by, seed) for seed, by in enumerate(request.param[:2], 1))
    compared = of_mixture(Side(before), Side(after))
    assert compared.result.verdict == request.param[2]
    return before, after, compared


def test_the_command_says_it_in_its_first_line(unlike, capsys):
    command.show(unlike[2].result, unlike[2], "kPa")
    told = [" ".join(one.split()) for one in re.split(r"\n(?! )", capsys.readouterr().out)]
    assert told[0].startswith("unlike targets: 0.8")
    assert sum("unlike targets" in one for one in told) == 1
    (result,) = [one for one in told if one.endswith((": better", ": worse"))]
    assert result.startswith("measured over targets that differ, which does not show what the change did")


def test_the_page_says_it_first_and_claims_no_change(unlike):
    before, after, compared = unlike
    first = compare_part.summary(after, answer(after), Against(before, answer(before), compared))
    for words in (first, compare_part.part(compared)):
        assert re.search(r'(<strong>|<p class="sentence">)Unlike targets: 0\.8', words)
        assert "that does not show what the change did." in words
        assert "The change brought" not in words and "The change took" not in words


def test_one_target_for_both_is_no_remark(capsys):
    before, after = drive(0.0, 1), drive(0.0, 2)
    compared = of_mixture(Side(before), Side(after))
    command.show(compared.result, compared, "kPa")
    assert "unlike targets" not in capsys.readouterr().out
    assert compare_part.heading(compared).endswith("no difference of the mean mixture at any engine speed.")


def test_targets_of_equal_means_that_cross_are_unlike():
    """One engine speed's target 0.03 higher, another's lower: their means are equal."""
    before, after = drive(0.0, 1), drive(0.0, 2)
    columns = after.views()[0].columns
    target = CONFIG["target"]
    tilted = [[one + by for one in target["lambda"]] for by in (-0.03, 0.03)]
    columns.config = columns.config.judged_by({**target, "rpm": [2500, 6500], "lambda": tilted})
    (told,) = (one for one in of_mixture(Side(before), Side(after)).unlike if one.kind == "target")
    assert 0.015 < abs(told.after - told.before) < 0.03


def test_the_same_recording_on_both_sides_has_no_verdict():
    before, after = drive(0.0, 1), drive(LEANER, 1)
    compared = of_mixture(Side(before), Side(after))
    assert compared.twice == len(before.pulls()) and compared.result.verdict == compare.NOT_ENOUGH


def test_pressure_is_not_held_against_throttle():
    before, after = drive(0.0, 1), drive(0.0, 2)
    columns = after.views()[0].columns
    columns.map_kpa = None
    channels = [one for one in CONFIG["channels"] if one["name"] != "map"]
    columns.config = configuration.of({**CONFIG, "channels": channels, "target": {"lambda": 0.85}})
    kinds = [one.kind for one in of_mixture(Side(before), Side(after)).unlike]
    assert columns.load_unit != before.views()[0].columns.load_unit and "load" not in kinds
