"""Pulls: from marks, and found without them."""

import json

import numpy as np
import pytest
from analysis_scenes import Hole, StandInDrive, StandInSession, scene

from ringpull.analysis.judge.session import judge_span


@pytest.mark.parametrize("rate_rpm_s", [400.0, 700.0, 1800.0])
@pytest.mark.parametrize("without", ["nothing", "throttle", "map"])
def test_unmarked_pulls_are_found_within_a_fifth_of_a_second(rate_rpm_s, without):
    made = scene(rate_rpm_s=rate_rpm_s)
    if without == "throttle":
        made.columns.throttle = None
        made.columns.named.pop("throttle")
    if without == "map":
        made.columns.map_kpa = None
        made.columns.named.pop("map")
    found = StandInDrive(StandInSession(made.columns)).pulls()
    assert [p.source for p in found] == ["found"] * 3
    for pull, (start, end) in zip(found, made.spans, strict=True):
        # pressure takes 0.2 s to the limit: without throttle a pull starts where pressure is high
        lead = 0.22 if without == "throttle" else 0.0
        assert pull.start_s == pytest.approx(start + lead, abs=0.2) and pull.end_s == pytest.approx(end, abs=0.2)


def test_marks_are_kept_as_pressed_and_found_pulls_fill_in():
    made = scene()
    (a, b), (c, d), _ = made.spans
    drive = StandInDrive(StandInSession(made.columns, [(a - 0.4, b + 1.1, False), (c - 0.2, d + 0.3, True)]))
    found = drive.pulls()
    assert [(p.number, p.source, p.spoiled) for p in found] == [
        (1, "mark", False),
        (2, "mark", True),
        (3, "found", False),
    ]
    assert (found[0].start_s, found[0].end_s) == (a - 0.4, b + 1.1)


def test_a_void_mark_counts_as_none():
    made = scene(pulls=2)
    session = StandInSession(made.columns, [(a, b, False) for a, b in made.spans])
    session.marks[0].void = True
    found = StandInDrive(session).pulls()
    assert [(p.source, round(p.start_s)) for p in found] == [
        ("found", round(made.spans[0][0])),
        ("mark", round(made.spans[1][0])),
    ]


@pytest.mark.parametrize("early", [True, False])
def test_what_a_mark_leaves_of_a_pull_is_a_pull(early):
    """The button was pressed too early, or too late: the hole lies in the part of the pull that is not marked."""
    made = scene(hole=Hole(1, 3000, 3400, 0.12) if not early else Hole(1, 5600, 6000, 0.12), pulls=1)
    a, b = made.spans[0]
    middle = (a + b) / 2
    session = StandInSession(made.columns, [(a, middle, False) if early else (middle, b, False)])
    found = StandInDrive(session).pulls()
    assert [p.source for p in found] == (["mark", "found"] if early else ["found", "mark"])
    rest = found[1 if early else 0]
    assert (rest.start_s, rest.end_s) == pytest.approx((middle, b) if early else (a, middle), abs=0.3)
    assert judge_span(rest.view.judged, rest.start_s, rest.end_s).lean_events


@pytest.mark.parametrize("share", [0.0, 0.25, 0.5, 0.75, 1.0])
def test_a_press_within_a_hole_hides_none_of_it(share):
    """0.3 s of lean mixture: wherever the press parts it, it is told."""
    made = scene(hole=Hole(1, 4500, 4710, 0.06), pulls=1)
    start_s = made.spans[0][0]
    low_s, high_s = (start_s + (rpm - 2500) / 700 for rpm in (4500, 4710))
    session = StandInSession(made.columns, [(start_s, low_s + share * (high_s - low_s), False)])
    pulls = StandInDrive(session).pulls()
    assert [bool(judge_span(p.view.judged, p.start_s, p.end_s).lean_events) for p in pulls].count(True) == 1


def test_a_short_rest_of_a_pull_is_one_where_it_is_lean():
    lean, sound = scene(hole=Hole(1, 5800, 6300, 0.12), pulls=1), scene(pulls=1)
    for made, sources in ((lean, ["mark", "found"]), (sound, ["mark"])):
        a, b = made.spans[0]
        session = StandInSession(made.columns, [(a, b - 1.2, False)])
        assert [p.source for p in StandInDrive(session).pulls()] == sources


def test_open_mark_ends_with_the_session():
    made = scene(pulls=1)
    session = StandInSession(made.columns, [(made.spans[0][0], made.spans[0][1], False)])
    session.marks[0].end_s = None
    assert StandInDrive(session).pulls()[0].end_s == session.duration_s


def test_a_part_throttle_climb_and_steady_holds_are_no_pulls():
    made = scene(pulls=1)
    made.columns.throttle[:] = np.minimum(made.columns.throttle, 35.0)
    made.columns.map_kpa[:] = np.minimum(made.columns.map_kpa, 80.0)
    made.columns.throttle[-40:] = 95.0  # one short stab at the end keeps 60 % the limit
    assert StandInDrive(StandInSession(made.columns)).pulls() == []


def test_frame_is_as_logged_and_corrected_columns_have_names_of_their_own():
    made = scene(hole=Hole(1, 4500, 4900, 0.08), pulls=1, noise=0.0)
    session = StandInSession(made.columns, [(*made.spans[0], False)])
    pull = StandInDrive(session).pulls()[0]
    frame = pull.frame()
    logged = session.frame().iloc[pull.rows]
    assert frame[list(logged)].equals(logged) and len(frame) == round((made.spans[0][1] - made.spans[0][0]) * 200)
    assert [c for c in frame if c not in logged] == ["lambda_1_aligned", "lambda_target", "loaded", "judged"]
    middle = (frame["engine_speed_rpm"] > 4550) & (frame["engine_speed_rpm"] < 4850)
    assert frame["lambda_1_aligned"][middle].mean() > frame["lambda_1"][middle].mean() + 0.005
    truth = made.true_lambda[pull.rows][middle.to_numpy()]
    np.testing.assert_allclose(frame["lambda_1_aligned"][middle], truth, atol=0.02)


def test_missing_rows_stay_missing():
    made = scene(pulls=1, noise=0.0)
    start, end = made.spans[0]
    drop = (made.columns.time_s > start + 2.0) & (made.columns.time_s < start + 2.5)
    session = StandInSession(made.columns, [(start, end, False)], drop=drop)
    pull = StandInDrive(session).pulls()[0]
    frame = pull.frame()
    assert not frame["time_s"].between(start + 2.001, start + 2.499).any()
    assert len(frame) == len(session.frame().iloc[pull.rows])


def test_sparkline_keeps_gaps_and_a_flat_line_flat():
    from ringpull.cli.commands.pulls import sparkline

    assert sparkline(np.full(240, 0.8)) == "▁" * 24
    gap = np.linspace(0.7, 1.0, 240)
    gap[100:120] = np.nan
    line = sparkline(gap)
    assert len(line) == 24 and " " in line and line[-1] == "█"
    assert sparkline(np.full(10, np.nan)) == ""


def test_notes_beside_a_ring_file(tmp_path):
    from ringpull.files import remarks

    ring = tmp_path / "drive.rpl"
    ring.write_bytes(b"x")
    remarks.write_note(ring, 2, "fuel pump changed")
    remarks.write_note(ring, 10, "wet road")
    assert remarks.read_notes(ring) == {"2": "fuel pump changed", "10": "wet road"}
    assert remarks.write_note(ring, 2, "") == {"10": "wet road"}
    assert json.loads((tmp_path / "drive.rpl.notes.json").read_text()) == {"10": "wet road"}
    (tmp_path / "drive.rpl.notes.json").write_text("[")
    with pytest.raises(Exception, match="remarks"):
        remarks.read_notes(ring)


def test_table_prints_every_pull(capsys):
    from ringpull.analysis.answer import judge_pulls
    from ringpull.cli.commands.pulls import print_table

    made = scene(hole=Hole(2, 4500, 4900, 0.08))
    drive = StandInDrive(StandInSession(made.columns, [(a, b, False) for a, b in made.spans]))
    print_table(judge_pulls(drive.pulls()), {"2": "windy"})
    text = capsys.readouterr().out
    assert len(text.splitlines()) >= 4 and "% lean at 4" in text and "note: windy" in text


def test_lean_mixture_after_speed_stopped_rising_is_told():
    """Load stays for a second more at the top of the pull, too short for a pull of its own."""
    for hole, told in ((None, False), (Hole(1, 0, 9000, 0.12), True)):
        made = scene(pulls=1)
        a, b = made.spans[0]
        columns, end = made.columns, slice(*np.searchsorted(made.columns.time_s, (b, b + 1.2)).tolist())
        columns.rpm[end] = columns.rpm[end.start - 1] - 30.0 * (columns.time_s[end] - b)
        columns.throttle[end], columns.map_kpa[end] = 100.0, 175.0
        columns.lambda_[end] = columns.lambda_[end.start - 100 : end.start].mean()
        if hole is not None:
            late = slice(*np.searchsorted(columns.time_s, (b + 0.5, b + 1.2)).tolist())
            columns.lambda_[late] += hole.depth
        found = StandInDrive(StandInSession(columns)).pulls()
        events = [judge_span(one.view.judged, one.start_s, one.end_s).lean_events for one in found]
        assert any(events) == told


def test_a_single_row_of_load_behind_a_pull_is_no_trouble():
    made = scene(pulls=1)
    a, b = made.spans[0]
    view = StandInDrive(StandInSession(made.columns)).views()[0]
    row_s = float(made.columns.time_s[made.columns.rows(a + 3.0, b).start])
    assert judge_span(view.judged, row_s, row_s + made.columns.period_s).other_events == []
