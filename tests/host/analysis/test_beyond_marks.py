"""With lambda and engine speed alone a mark tells full load: what the button left of a run is judged, or told."""

import numpy as np
import pytest
from analysis_scenes import CONFIG, Hole, StandInDrive, StandInSession, scene, why

from ringpull.analysis import answer
from ringpull.analysis.judge import verdict
from ringpull.analysis.judge.reasons import Why

TARGET = {"lambda": 0.80}


def minimum(**what):
    """A scene of lambda and engine speed alone."""
    at_once = {"load": "map", "load_kpa": [40, 55, 200], "lambda": [1.0, 0.80, 0.80]}  # lambda once the throttle opens
    made = scene(config={**CONFIG, "target": at_once}, **what)
    made.columns.config = {**CONFIG, "channels": CONFIG["channels"][:2], "target": dict(TARGET)}
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


def reshaped(made, rise, first_rpm=2500.0):
    """The first pull's engine speed made anew by a rise in rpm/s over the seconds since its start; its end."""
    columns, (a, b) = made.columns, made.spans[0]
    rows = columns.rows(a, b)
    columns.rpm[rows] = first_rpm + np.cumsum([rise(t) for t in columns.time_s[rows] - a]) * columns.period_s
    return a, b


def test_a_rise_that_tapers_is_followed_to_its_end():
    """From 900 to 300 rpm/s, an engine that runs out of breath: less than half of the rise at the press."""
    made = minimum(pulls=2)
    a, b = reshaped(made, lambda t: 900.0 - 98.0 * t)
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
