"""Every pull is found, its start and end within 0.2 s, and nothing else is called a pull; marks within a row."""

import numpy as np
import pytest
from truth import desk
from truth.story import three_pulls

import ringpull

NEAR_S = 0.2
HELD_S = 0.02  # a contact shorter than this is no press


def decoded(story, folder):
    drive = ringpull.read(desk.dry_run(story.signals, folder))
    (session,) = drive.sessions
    return drive, session, desk.power_on_s(session.raw(), story.signals, session.period_s)


def assert_found(drive, zero_s, story, source):
    pulls = sorted(drive.pulls(), key=lambda pull: pull.start_s)
    told = [(round(pull.start_s + zero_s, 2), round(pull.end_s + zero_s, 2), pull.source) for pull in pulls]
    assert len(pulls) == len(story.pulls_s), f"true {story.pulls_s}, found {told}"
    for number, (pull, (start_s, end_s)) in enumerate(zip(pulls, story.pulls_s, strict=True), 1):
        assert abs(pull.start_s + zero_s - start_s) <= NEAR_S, f"true {story.pulls_s}, found {told}"
        assert abs(pull.end_s + zero_s - end_s) <= NEAR_S, f"true {story.pulls_s}, found {told}"
        assert (pull.number, pull.source, bool(pull.spoiled)) == (number, source, False)


@pytest.mark.parametrize("rate_hz", [10, 200, *(pytest.param(hz, marks=pytest.mark.slow) for hz in (50, 500))])
def test_marked(tmp_path, rate_hz):
    story = three_pulls(rate_hz=rate_hz, bounce=rate_hz == 200)
    drive, session, zero_s = decoded(story, tmp_path)
    assert_found(drive, zero_s, story, "mark")
    # The mark: the row in which the button has been down for 20 ms, or the one after it
    assert len(session.marks) == 3
    presses = np.array(story.signals.presses_s).reshape(-1, 2)
    for mark, (begin, end) in zip(session.marks, presses, strict=True):
        assert -1e-6 <= mark.start_s + zero_s - begin <= HELD_S + session.period_s + 1e-6
        assert -1e-6 <= mark.end_s + zero_s - end <= HELD_S + session.period_s + 1e-6
    frame = session.frame()
    t_s = frame["time_s"].to_numpy() + zero_s
    middle = [np.argmin(np.abs(t_s - (a + b) / 2)) for a, b in story.pulls_s]
    assert list(frame["mark"].to_numpy()[middle]) == [mark.id for mark in session.marks]
    assert frame["mark"].to_numpy()[np.argmin(np.abs(t_s - 4.0))] == 0


def test_marked_with_lambda_and_tach_alone(tmp_path):
    story = three_pulls(("lambda_1",))
    drive, _, zero_s = decoded(story, tmp_path)
    assert_found(drive, zero_s, story, "mark")


@pytest.mark.parametrize("channels", [("lambda_1", "map", "throttle"), ("lambda_1", "throttle"), ("lambda_1", "map")])
@pytest.mark.parametrize("rate_hz", [50, pytest.param(200, marks=pytest.mark.slow)])
def test_found_without_marks(tmp_path, channels, rate_hz):
    story = three_pulls(channels, rate_hz, marked=False)
    drive, session, zero_s = decoded(story, tmp_path)
    assert session.marks == []
    assert_found(drive, zero_s, story, "found")


@pytest.mark.parametrize("rate_hz", [10, pytest.param(500, marks=pytest.mark.slow)])
def test_found_without_marks_at_the_slowest_and_the_fastest_rate(tmp_path, rate_hz):
    story = three_pulls(rate_hz=rate_hz, marked=False)
    drive, _, zero_s = decoded(story, tmp_path)
    assert_found(drive, zero_s, story, "found")


def test_a_forgotten_second_press(tmp_path):
    """The logger ends the mark by itself when the throttle has been closed, or the speed falling, for 3 s."""
    story = three_pulls(end_pressed=False)
    _, session, zero_s = decoded(story, tmp_path)
    assert len(session.marks) == 3
    for mark, (start_s, end_s) in zip(session.marks, story.pulls_s, strict=True):
        assert -1e-6 <= mark.start_s + zero_s - start_s <= HELD_S + session.period_s + 1e-6
        assert end_s + 2.8 <= mark.end_s + zero_s <= end_s + 3.6


def test_a_drive_of_blips_and_cruising_has_no_pull(tmp_path):
    story = three_pulls(marked=False, slopes=(700.0,))
    signals = story.signals
    end_s = story.pulls_s[0][1] + 6.0
    cut = {}
    for name, line in {**signals.analog, "rpm": signals.speed_rpm}.items():
        later = line.t_s > end_s
        cut[name] = type(line)([(t - end_s, y) for t, y in zip(line.t_s[later], line.y[later], strict=True)])
    quiet = type(signals)(cut.pop("rpm"), signals.tach, cut, top=signals.top)
    drive = ringpull.read(desk.dry_run(quiet, tmp_path))
    assert drive.pulls() == []


def test_a_pull_flagged_by_a_double_press_is_spoiled(tmp_path):
    """Two presses 0.25 s apart, 2 s after the second pull: kept and shown, left out of judgement."""
    story = three_pulls()
    after_s = story.pulls_s[1][1] + 2.0
    story.signals.presses_s = sorted([*story.signals.presses_s, after_s, after_s + 0.25])
    drive, session, zero_s = decoded(story, tmp_path)
    near = [pull for pull in drive.pulls() if any(abs(pull.start_s + zero_s - start) < 1 for start, _ in story.pulls_s)]
    assert [bool(pull.spoiled) for pull in near] == [False, True, False]
    assert len(drive.pulls()) == 3
