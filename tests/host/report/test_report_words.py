"""What the report's first page says to do, against what the pulls show."""

import re
from io import StringIO
from types import SimpleNamespace

import numpy as np
from analysis_scenes import Hole, StandInDrive, StandInSession, scene

from ringpull.analysis.answer import answer
from ringpull.analysis.cells.speed_curve import PullCurve
from ringpull.drive import Damage
from ringpull.report import answer_part, cards, curve, evidence
from ringpull.report.axes import Axis


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


def lean_at(rpm_from, rpm_to, number):
    event = SimpleNamespace(rpm_from=rpm_from, rpm_to=rpm_to, deepest_rpm=(rpm_from + rpm_to) / 2)
    return answer_part.Numbered(number, SimpleNamespace(number=number), event)


def test_marks_of_events_at_the_same_speeds_do_not_cover_each_other():
    speeds = np.arange(2000.0, 7000.0, 40.0)
    events = [lean_at(4800 + 10 * n, 5600, n) for n in range(1, 41)]
    lines = [PullCurve(n, speeds, np.full(len(speeds), 0.9), speeds * 0, speeds * 0) for n in range(1, 41)]
    made = curve.marks(events, lines, Axis(2000, 7000, 62, 854), Axis(0.75, 1.0, 326, 26), 26.0)
    heights = sorted(one.y for one in made)
    assert [one.number for one in made] == list(range(1, len(made) + 1)) and 3 < len(made) < 40
    assert min(np.diff(heights)) >= curve.MARK_HIGH and heights[0] > 26
    apart = curve.marks(
        [lean_at(2500, 3000, 1), lean_at(6000, 6500, 2)],
        lines,
        Axis(2000, 7000, 62, 854),
        Axis(0.75, 1.0, 326, 26),
        26.0,
    )
    assert apart[0].y == apart[1].y


def test_labels_of_many_lines_stay_beside_their_panel():
    places = curve.spread_labels([300.0] * 12, 326.0)
    assert max(places) <= 326.0 and min(np.diff(sorted(places))) >= 14.0


def test_many_pulls_are_counted_and_not_named():
    same = [scene(pulls=1, seed=seed) for seed in range(2, 8)]
    said, _ = steps(
        scene(pulls=1, hole=Hole(1, 5600, 6400, 0.08)), *same, scene(pulls=1, hole=Hole(1, 5600, 6400, 0.07), seed=9)
    )
    assert said.startswith("6 of the 7 other pulls that were judged at those speeds were on target there")


def test_what_is_not_logged_is_to_be_logged_first():
    made = scene(pulls=2)
    made.columns.lambda_[:] = float("nan")
    result = answer(StandInDrive(StandInSession(made.columns, [(a, b, False) for a, b in made.spans])))
    assert answer_part.next_steps(result, [])[0].startswith("Log what is missing")
    assert cards.mixture(result.pulls[0].numbers) == "–"


def test_neighbouring_damaged_blocks_are_told_together():
    damage = [Damage(block, "drive.rpl", "torn") for block in (3, 4, 5, 9)] + [Damage(10, "pulls.rpl", "torn")]
    assert [row[1] for row in evidence.together(damage)] == ["3 to 5", "9", "10"]
    assert evidence.together([]) == []


def test_the_table_of_pulls_keeps_its_curve_in_a_window_of_80_columns(monkeypatch):
    from rich.console import Console

    from ringpull.cli import terminal
    from ringpull.cli.commands import pulls

    made = scene(pulls=2, hole=Hole(2, 5600, 6400, 0.08))
    judged = answer(StandInDrive(StandInSession(made.columns, [(a, b, False) for a, b in made.spans]))).pulls
    out = StringIO()
    monkeypatch.setattr(terminal, "wide_console", lambda: Console(width=80, file=out))
    monkeypatch.setattr(terminal, "can_show", lambda letters: False)
    pulls.print_table(judged, {"1": "a remark"})
    lines = out.getvalue().splitlines()
    assert max(map(len, lines)) <= 80 and "along" in lines[0] and "a remark" in out.getvalue()
    assert re.search(r" [1-8]{6,12} +none", lines[1]) and re.search(r"[1-8]{6,12} +\+0\.\d{3} at \d{4}", out.getvalue())
