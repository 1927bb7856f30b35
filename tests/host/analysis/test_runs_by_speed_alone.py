"""With lambda and engine speed alone a mark tells full load: what the button left of a run is judged, or told."""

from dataclasses import replace

import numpy as np
import pytest
from analysis_scenes import CONFIG, Hole, StandInDrive, StandInSession, scene, why

from ringpull.analysis import answer
from ringpull.analysis.instruments.records import State
from ringpull.analysis.judge import verdict
from ringpull.analysis.judge.reasons import Why
from ringpull.files import configuration
from ringpull.wording import next_steps

TARGET = {"lambda": 0.80}


def minimum(**what):
    """A scene of lambda and engine speed alone."""
    at_once = {"load": "map", "load_kpa": [40, 55, 200], "lambda": [1.0, 0.80, 0.80]}  # lambda once the throttle opens
    made = scene(config={**CONFIG, "target": at_once}, **what)
    made.columns.config = configuration.of({**CONFIG, "channels": CONFIG["channels"][:2], "target": TARGET})
    made.columns.map_kpa = made.columns.throttle = None
    for name in ("map", "throttle"):
        made.columns.named.pop(name)
    return made


def answered(made, marks, void=()):
    session = StandInSession(made.columns, marks)
    for number in void:
        session.marks[number].void = True
    return answer.answer(StandInDrive(session))


@pytest.mark.parametrize("spoiled", [False, True])
def test_a_run_goes_on_behind_a_press_in_its_middle(spoiled):
    """The press that ended the mark was one too many, or the second of a double press."""
    made = minimum(hole=Hole(2, 5600, 6000, 0.12))
    first, (a, b), last = made.spans
    found = answered(made, [(*first, False), (a, (a + b) / 2, spoiled), (*last, False)])
    rest = next(p for p in found.pulls if p.pull.source == "found")
    assert (rest.pull.start_s, rest.pull.end_s) == pytest.approx(((a + b) / 2, b), abs=0.2)
    assert found.verdict == verdict.ATTENTION and rest.lean_events
    assert 5400 < rest.lean_events[0].rpm_from < 5800


def test_a_sound_run_with_a_press_in_its_middle_is_calm_over_all_of_it():
    made = minimum()
    first, (a, b), last = made.spans
    found = answered(made, [(*first, False), (a, (a + b) / 2, False), (*last, False)])
    assert [p.pull.source for p in found.pulls] == ["mark", "mark", "found", "mark"]
    assert found.verdict == verdict.NO_EVENT and not any(p.lean_events for p in found.pulls)


def test_a_press_that_came_late_leaves_the_start_of_the_run():
    made = minimum(hole=Hole(1, 4000, 4300, 0.12), pulls=2)
    (a, b), last = made.spans
    found = answered(made, [((a + b) / 2, b, False), (*last, False)])
    assert [p.pull.source for p in found.pulls] == ["found", "mark", "mark"]
    assert found.verdict == verdict.ATTENTION and found.pulls[0].lean_events


def test_a_hole_across_the_press_is_told_once():
    made = minimum(hole=Hole(1, 4500, 4710, 0.06), pulls=2)
    (a, b), last = made.spans
    found = answered(made, [(a, a + (4600 - 2500) / 700, False), (*last, False)])
    assert [bool(p.lean_events) for p in found.pulls].count(True) == 1


def test_a_gentle_rise_beside_a_mark_is_no_full_load():
    """Half the mark's rise before it, a third behind it: part throttle at lambda 1.0, which is no lean event."""
    made = minimum(pulls=2)
    rpm, time_s = made.columns.rpm, made.columns.time_s
    (a, b), last = made.spans
    before, behind = (time_s >= a - 3.0) & (time_s < a), (time_s >= b) & (time_s < b + 3.0)
    rpm[before] = 2500.0 - (a - time_s[before]) * 350.0
    rpm[behind] = rpm[np.flatnonzero(behind)[0] - 1] + (time_s[behind] - b) * 230.0
    made.columns.lambda_[before | behind] = 1.0
    found = answered(made, [(a, b, False), (*last, False)])
    assert [p.pull.source for p in found.pulls] == ["mark", "mark"]


def test_a_press_at_the_end_of_a_run_leaves_nothing():
    made = minimum()
    found = answered(made, [(a, b + 0.4, False) for a, b in made.spans])
    assert [p.pull.source for p in found.pulls] == ["mark"] * 3


def test_a_run_whose_mark_was_withdrawn_is_told_and_never_calm():
    made = minimum(hole=Hole(2, 5600, 6000, 0.12))
    marks = [(a, b, False) for a, b in made.spans]
    marks[1] = (marks[1][0], marks[1][0] + 0.2, False)
    found = answered(made, marks, void=[1])
    (told,) = (one for one in found.reasons if one.kind is Why.WITHDRAWN)
    assert found.verdict == verdict.NOT_ENOUGH and len(found.pulls) == 2
    assert told.values["rpm_from"] < 2700 and told.values["rpm_to"] > 6500
    assert any("2500-6800 rpm, is in no pull" in one for one in map(str, why(found)))


def test_a_withdrawn_press_at_rest_or_in_a_pull_says_nothing():
    made = minimum()
    (a, b), *rest = made.spans
    marks = [(a, b, False), *((c, d, False) for c, d in rest), (a - 4.0, a - 3.8, False), (a + 2.0, a + 2.2, False)]
    found = answered(made, marks, void=[3, 4])
    assert found.verdict == verdict.NO_EVENT
    assert not any(one.kind is Why.WITHDRAWN for one in found.reasons)


def reshaped(made, rise, first_rpm=2500.0, pull=0):
    """A pull's engine speed made anew by a rise in rpm/s over the seconds since its start; its start and end."""
    columns, (a, b) = made.columns, made.spans[pull]
    rows = columns.rows(a, b)
    columns.rpm[rows] = first_rpm + np.cumsum([rise(t) for t in columns.time_s[rows] - a]) * columns.period_s
    return a, b


@pytest.mark.parametrize("same_gear", [True, False])
def test_a_rise_that_tapers_is_followed_to_its_end(same_gear):
    """From 900 to 300 rpm/s, an engine that runs out of breath: less than half of the rise at the press. The other
    pull tells it too, or is of another gear and tells nothing."""
    made = minimum(pulls=2)
    a, b = reshaped(made, lambda t: 900.0 - 98.0 * t)
    reshaped(made, (lambda t: 820.0 - 82.0 * t) if same_gear else (lambda t: 500.0), pull=1)
    found = answered(made, [(a, a + 1.5, False), (*made.spans[1], False)])
    rest = next(p for p in found.pulls if p.pull.source == "found")
    assert rest.pull.end_s == pytest.approx(b, abs=0.2)


@pytest.mark.parametrize(
    ("rise", "told"),
    [
        (lambda t: 60.0 if t < 4.0 else 800.0, (4.0, 2500, 2740)),  # held, then run up
        (lambda t: 800.0 if t < 3.0 else 60.0, (3.1, 4900, 5090)),  # the rise fades, on a hill
        (lambda t: 0.0 if t < 1.5 else 800.0, None),  # the driver waited
    ],
)
def test_what_of_a_mark_hardly_rises_is_told_and_not_calm(rise, told):
    made = minimum(pulls=2)
    a, b = reshaped(made, rise)
    found = answered(made, [(a, b, False), (*made.spans[1], False)])
    reasons = [one for one in found.reasons if one.kind is Why.LOAD_UNTOLD]
    if told is None:
        assert not reasons
        return
    (one,) = reasons
    assert found.verdict != verdict.NO_EVENT and one.pull == 1
    assert one.values["seconds"] == pytest.approx(told[0], abs=0.4)
    assert (one.values["rpm_from"], one.values["rpm_to"]) == pytest.approx(told[1:], abs=120)
    assert any("engine speed hardly rose" in text for text in map(str, why(found)))


def test_an_engines_start_with_the_button_held_is_no_run():
    made = minimum(pulls=2)
    rows = made.columns.rows(0.5, 3.5)
    made.columns.rpm[: rows.start] = 200.0
    made.columns.rpm[rows] = np.linspace(200.0, 1200.0, rows.stop - rows.start)
    made.columns.rpm[rows.stop : made.columns.rows(4.0, 5.0).start] = 1100.0
    marks = [(a, b, False) for a, b in made.spans]
    found = answered(made, [*marks, (0.2, 0.4, False)], void=[2])
    assert not any(one.kind is Why.WITHDRAWN for one in found.reasons)


def two_gears(share=1.0):
    """Two pulls, of which the first goes on after a gear change, from 4600 rpm on by the square of the ratio times
    `share`; (the scene, end of its first gear)."""
    made = minimum(pulls=2)
    columns, (a, _) = made.columns, made.spans[0]
    change = a + (6500.0 - 2500.0) / 700.0
    rows, later = columns.rows(change, change + 0.4), columns.rows(change + 0.4, change + 5.4)
    columns.rpm[rows] = np.linspace(6500.0, 4600.0, rows.stop - rows.start)
    rise = 700.0 * (4600.0 / 6500.0) ** 2 * share
    columns.rpm[later] = 4600.0 + rise * (columns.time_s[later] - change - 0.4)
    after = columns.rows(change + 5.4, change + 7.4)
    columns.rpm[after] = np.linspace(columns.rpm[later.stop - 1], 2500.0, after.stop - after.start)
    good = columns.lambda_[columns.rows(a + 2.0, change)]  # a reading that stands still would be doubted
    columns.lambda_[later.start : after.stop] = np.resize(good, after.stop - later.start)
    return made, change


@pytest.mark.parametrize(("share", "late_s"), [(1.0, 0.0), (0.9, 0.5)])
def test_a_run_in_another_gear_beside_a_mark_is_told_and_never_calm(share, late_s):
    made, change = two_gears(share)
    a, _ = made.spans[0]
    found = answered(made, [(a, change + late_s, False), (*made.spans[1], False)])
    (told,) = (one for one in found.reasons if one.kind is Why.OTHER_GEAR)
    assert found.verdict == verdict.NOT_ENOUGH and told.pull == 1
    assert told.values["rpm_from"] == pytest.approx(4600, abs=150)
    assert any("in another gear" in text for text in map(str, why(found)))
    assert "elsewhere in this drive would not show" in str(found.sentence)


def test_a_run_in_the_gear_before_the_mark_is_told():
    made, change = two_gears()
    found = answered(made, [(change + 0.4, change + 5.4, False), (*made.spans[1], False)])
    (told,) = (one for one in found.reasons if one.kind is Why.OTHER_GEAR)
    assert found.verdict != verdict.NO_EVENT and told.values["rpm_to"] == pytest.approx(6500, abs=150)


@pytest.mark.parametrize("share", [0.3, 1.0])
def test_a_gentle_run_in_another_gear_or_a_marked_one_says_nothing(share):
    made, change = two_gears(share)
    a, _ = made.spans[0]
    end = change if share < 1.0 else change + 5.4
    found = answered(made, [(a, end, False), (*made.spans[1], False)])
    assert not any(one.kind is Why.OTHER_GEAR for one in found.reasons)


def test_an_unmarked_run_as_fast_as_the_pulls_is_said_beside_the_verdict():
    made = minimum()
    found = answered(made, [(*span, False) for span in made.spans[:2]])
    (told,) = (one for one in found.reasons if one.kind is Why.UNMARKED)
    assert found.verdict == verdict.NO_EVENT and told.values["runs"] == 1
    assert told.values["start_s"] == pytest.approx(made.spans[2][0], abs=0.3)
    assert any("1 run in no pull" in text for text in map(str, why(found)))
    assert str(next_steps.next_steps(found, found.holes)[0]).startswith(
        "Press the button before every full-throttle run"
    )


def test_an_unmarked_run_that_rises_less_is_no_matter():
    made = minimum()
    columns, (a, b) = made.columns, made.spans[2]
    rows = columns.rows(a, b)
    columns.rpm[rows] = 2500.0 + 500.0 * (columns.time_s[rows] - a)
    found = answered(made, [(*span, False) for span in made.spans[:2]])
    assert not any(one.kind is Why.UNMARKED for one in found.reasons)


@pytest.mark.parametrize("deep", [0.12, 0.0])
def test_lean_during_spool_up_against_one_number_says_that_this_may_be_boost_alone(deep):
    made = minimum(hole=Hole(1, 2500, 3150, deep))
    found = answered(made, [(*span, False) for span in made.spans])
    kinds = [one.kind for one in found.reasons]
    assert (Why.SPOOL_LEAN in kinds) == (Why.ONE_TARGET in kinds) == (deep > 0)
    made.columns.map_kpa = np.full(len(made.columns), 180.0)
    by_load = {"load": "map", "load_kpa": [40, 200], "lambda": [0.8, 0.8]}
    made.columns.config = made.columns.config.judged_by(by_load)
    found = answered(made, [(*span, False) for span in made.spans])
    assert not any(one.kind is Why.ONE_TARGET for one in found.reasons)


def without_target(hole):
    """A boosted engine, for which nobody gave a target."""
    made = minimum(hole=hole)
    made.columns.config = replace(made.columns.config, targets=())
    return made, [(a, b, False) for a, b in made.spans]


def test_a_missing_target_is_said_first_and_no_sensor_accused_for_it():
    """At full load this engine is 0.08 richer than the target that is guessed for one without boost."""
    made, marks = without_target(Hole(2, 4500, 4900, 0.05))
    found = answered(made, marks)
    assert found.verdict == verdict.NOT_ENOUGH and found.reasons[0].kind is Why.NO_TARGET
    assert str(found.sentence).startswith("No target is configured, and no manifold pressure tells")
    assert not any(one.state is State.CONTRADICTED for one in found.instruments)
    (step,) = next_steps.next_steps(found, found.holes)
    assert str(step).startswith("Enter the target") and "--target-preset petrol-natural, or petrol-boosted" in step
    session = StandInSession(made.columns, marks)
    named = answer.answer(StandInDrive(session), target={"preset": "petrol-boosted"})
    assert named.verdict == verdict.ATTENTION and named.holes
    assert all(one.kind is not Why.NO_TARGET for one in named.reasons)


def test_what_is_lean_without_boost_too_is_told_without_a_target():
    made, marks = without_target(Hole(2, 4500, 4900, 0.20))
    found = answered(made, marks)
    assert found.verdict == verdict.ATTENTION and found.holes
    assert any(one.kind is Why.NO_TARGET for one in found.reasons)


def test_a_sensor_that_reads_far_too_rich_for_a_given_target_is_still_accused():
    made, marks = without_target(None)
    made.columns.config = made.columns.config.judged_by({"lambda": 0.88})
    found = answered(made, marks)
    assert [one.channel for one in found.instruments if one.state is State.CONTRADICTED] == ["lambda_1"]


@pytest.mark.parametrize(
    ("share", "lambda_", "kind"),
    [
        (0.66, 0.95, Why.SLOWER_REST),  # eased to part throttle, rightly leaner there
        (0.66, 0.80, None),  # rich enough for full load: whatever it was, nothing is hidden
        (0.85, 0.95, Why.LEAN),  # uphill
    ],
)
def test_a_run_that_goes_on_slower_than_the_other_marks_is_judged_by_what_it_shows(share, lambda_, kind):
    made = minimum()
    a, b = reshaped(made, lambda t: 700.0 if t < 3.0 else 700.0 * share)
    columns, random = made.columns, np.random.default_rng(4)
    rest = columns.rows(a + 3.2, b)
    columns.lambda_[rest] = lambda_ + random.normal(0.0, 0.003, rest.stop - rest.start)
    marks = [(a, a + 3.0, False), *((*span, False) for span in made.spans[1:])]
    found = answered(made, marks)
    kinds = [one.kind for one in found.reasons]
    words = {None: verdict.NO_EVENT, Why.SLOWER_REST: verdict.NOT_ENOUGH, Why.LEAN: verdict.ATTENTION}
    assert found.verdict == words[kind] and (kind is None or kind in kinds)
    assert [p.pull.source for p in found.pulls].count("found") == (kind is Why.LEAN)
    if kind is Why.SLOWER_REST:
        (told,) = (one for one in found.reasons if one.kind is kind)
        assert told.pull == 1 and told.values["rpm_from"] == pytest.approx(4600, abs=150)
        assert told.values["excess"] > 0.1 and "part throttle or a hill" in str(why(found)[0])


def test_without_another_mark_at_those_speeds_a_slower_rest_is_judged():
    made = minimum(pulls=1)
    a, b = reshaped(made, lambda t: 700.0 if t < 3.0 else 480.0)
    made.columns.lambda_[made.columns.rows(a + 3.2, b)] += 0.12
    found = answered(made, [(a, a + 3.0, False)])
    assert found.verdict == verdict.ATTENTION and [p.pull.source for p in found.pulls] == ["mark", "found"]
