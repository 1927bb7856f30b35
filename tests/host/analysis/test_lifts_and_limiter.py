"""A lift within a pull, a rev limiter whose cuts scatter, and coasting: each is named, and the rest is still judged."""

import numpy as np
import pytest
from analysis_scenes import RATE_HZ, StandInDrive, StandInSession, lagged, scene, why

from ringpull.analysis.answer import answer
from ringpull.analysis.drive_state import overrun, under_load
from ringpull.analysis.judge import limiter, session, verdict
from ringpull.wording import holes as hole_words

STEP_S = 1.0 / RATE_HZ
DELAY_S = 0.05


def put(made, lam):
    made.columns.lambda_ = made.columns.banks["lambda_1"] = made.columns.named["lambda_1"] = lam
    return made


def of(made, spans=None):
    return answer(StandInDrive(StandInSession(made.columns, [(a, b, False) for a, b in spans or made.spans])))


def with_limiter(seed=1):
    """Each pull stays 1.2 s at a limiter that cuts fuel at 6800 +/- 40 rpm, so slowly that lambda comes back."""
    made, random = scene(seed=seed), np.random.default_rng(seed)
    columns, lam, spans = made.columns, made.columns.lambda_.copy(), []
    for start, end in made.spans:
        rows = columns.rows(end, end + 1.2)
        rpm, limit, left = 6800.0, 6800.0 + random.normal(0, 40), 0
        cut = np.zeros(rows.stop - rows.start, bool)
        for at in range(len(cut)):
            cut[at], left = left > 0, left - 1
            rpm += (-350.0 if cut[at] else 200.0) * STEP_S
            if not cut[at] and rpm > limit:
                left, limit = round(0.2 / STEP_S), 6800.0 + random.normal(0, 40)
            columns.rpm[rows.start + at] = rpm
        columns.throttle[rows], columns.map_kpa[rows] = 100.0, 175.0
        late = round(DELAY_S / STEP_S)
        seen = lagged(np.where(cut, 1.35, 0.8075), 0.08, STEP_S) + random.normal(0, 0.003, len(cut))
        lam[rows.start + late : rows.stop + late] = seen
        spans.append((start, end + 1.5))
    return put(made, lam), spans


@pytest.mark.parametrize("seed", [0, 2])
def test_cuts_of_a_limiter_are_one_event_and_one_place(seed):
    result = of(*with_limiter(seed))
    assert [len(pull.lean_events) for pull in result.pulls] == [1, 1, 1]
    (place,) = result.holes
    assert place.at_limiter and place.pulls == (1, 2, 3)
    assert "in 3 of 3 pulls" in str(hole_words.sentence(place))


def test_an_ordinary_top_of_a_pull_is_no_limiter():
    columns = scene().columns
    assert limiter.stretches(columns, under_load.under_load(columns)[0]) == []


def with_lift(pct=8.0, shut_s=0.15, film=0.25, falls=True, pulls=3):
    """Near the top of so many pulls the throttle is lifted for a moment: fuel is cut, and then wall film is missing."""
    made = scene()
    columns, lean = made.columns, np.zeros(len(made.columns))
    for start, _ in made.spans[:pulls]:
        rows = columns.rows(start + 4.0, start + 5.6)
        since = columns.time_s[rows] - start - 4.0
        shut = np.interp(since, [0, 0.05, shut_s, shut_s + 0.08], [0, 1, 1, 0])
        columns.throttle[rows] -= shut * (100.0 - pct)
        if falls:
            columns.map_kpa[rows] -= lagged(shut, 0.05, STEP_S) * 95.0
        since -= DELAY_S
        lean[rows] = np.where(since > 0.05, film * np.exp(-np.maximum(since - shut_s, 0.0) / 0.4), 0.0)
        lean[rows][(since > 0.05) & (since < shut_s)] = 0.5
    # no manifold is so still that its pressure has a few values alone
    columns.map_kpa += lagged(np.random.default_rng(3).normal(0, 8.0, len(columns)), 0.1, STEP_S)
    return put(made, columns.lambda_ + lagged(lean, 0.08, STEP_S))


@pytest.mark.parametrize(("pulls", "word"), [(2, verdict.NO_EVENT), (3, verdict.NOT_ENOUGH)])
def test_a_lift_is_left_out_told_and_the_rest_judged(pulls, word):
    """Where every pull has one at the same speeds, nothing was judged there."""
    result = of(with_lift(pulls=pulls))
    assert result.verdict == word
    assert all(pull.judged_s > 3.0 and pull.left_out["lift"] > 0.5 for pull in result.pulls[:pulls])
    assert any("could not be judged (throttle lifted)" in words for words in why(result))
    (first, *_) = result.pulls[0].hidden
    assert first.mask == "lift" and first.seconds > 1.2 and first.target == pytest.approx(0.8, abs=0.03)


@pytest.mark.parametrize("seen", [True, False])
def test_a_pull_at_another_load_does_not_stand_in_for_what_a_lift_hid(seen):
    made = with_lift(pulls=2)
    columns, (start, end) = made.columns, made.spans[2]
    rows = columns.rows(start, end)
    if not seen:  # at part load a leaner mixture is right
        columns.map_kpa[rows] = np.minimum(columns.map_kpa[rows], 130.0)
        columns.lambda_[rows] += 0.05
    result = of(made)
    assert (result.verdict == verdict.NO_EVENT) == seen


def test_a_throttle_signal_that_drops_out_is_no_lift():
    made = with_lift(falls=False)
    lifted = overrun.lifted(made.columns)
    assert not any(lifted[made.columns.rows(start, end - 0.1)].any() for start, end in made.spans)
    assert of(made).verdict == verdict.ATTENTION


def test_speed_falls_in_a_gear_change_or_in_coasting():
    for again, name in ((True, "gear_change"), (False, "coasting")):
        made = scene(pulls=1)
        columns, (_, end) = made.columns, made.spans[0]
        falls = columns.rows(end, end + 0.4)
        columns.rpm[falls] = np.linspace(6800, 5600, falls.stop - falls.start)
        after = columns.rows(end + 0.4, end + 3.0)
        columns.rpm[after] = 5600.0
        if again:
            columns.throttle[after], columns.map_kpa[after] = 100.0, 175.0
        flags = session.prepare(columns, identified=False).masks.by_name
        assert flags[name][falls][20:].all(), name
        assert not flags["coasting" if again else "gear_change"][falls].any()
