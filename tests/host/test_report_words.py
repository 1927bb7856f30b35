"""What the report's first page says to do, against what the pulls show."""

from analysis_scenes import Hole, StandInDrive, StandInSession, scene

from ringpull.analysis.answer import answer
from ringpull.report import answer_part, cards


def steps(*scenes):
    sessions = [
        StandInSession(made.columns, [(a, b, False) for a, b in made.spans], session_id=at + 1)
        for at, made in enumerate(scenes)
    ]
    result = answer(StandInDrive(*sessions))
    events = answer_part.numbered(result)
    return answer_part.next_steps(result, events)[1], answer_part.headline(result, events, "kPa")


def test_other_pulls_that_were_on_target_at_the_event_are_said_to_be():
    said, _ = steps(scene(pulls=3, hole=Hole(2, 5600, 6400, 0.08)))
    assert said.startswith("The other pulls were on target there")


def test_pulls_that_never_came_to_those_speeds_are_not_said_to_be_on_target_there():
    short = scene(pulls=2, rpm_high=5000.0, seed=2)
    said, _ = steps(scene(pulls=1, hole=Hole(1, 5600, 6400, 0.08)), short)
    assert said.startswith("No other pull was judged at those speeds")
    said, _ = steps(scene(pulls=2, hole=Hole(1, 5600, 6400, 0.08)), short)
    assert said.startswith("Pull 2 was on target there")


def test_a_hole_that_every_pull_has_is_one_of_the_table():
    same = [scene(pulls=1, hole=Hole(1, 5000, 5600, 0.08), seed=seed) for seed in (1, 2, 3)]
    said, headline = steps(*same)
    assert said.startswith("Every pull that was judged at those speeds shows it") and "3 of 3 pulls" in headline


def test_lean_at_other_speeds_is_another_matter():
    low, high = scene(pulls=1, hole=Hole(1, 3800, 4300, 0.07)), scene(pulls=1, hole=Hole(1, 5600, 6200, 0.10), seed=2)
    said, _ = steps(low, high)
    assert said.startswith("Pull 1 was on target there")


def test_a_pull_of_which_too_little_is_judged_is_not_called_free_of_events():
    made = scene(pulls=2)
    start, end = made.spans[1]
    made.columns.lambda_[made.columns.rows(start, end - 0.4)] = float("nan")
    session = StandInSession(made.columns, [(a, b, False) for a, b in made.spans])
    first, second = answer(StandInDrive(session)).pulls
    assert 0 < second.judged_s < 0.5
    assert cards.state_of(first, 0) == "no lean event" and cards.state_of(second, 0) == "too little to judge"
