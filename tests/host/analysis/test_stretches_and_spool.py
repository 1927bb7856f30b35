"""Stretches that could not be judged, spool-up, what is needed and what was not recorded: each limit with a number."""

from types import SimpleNamespace

import numpy as np
import pytest
from analysis_scenes import rewriting, scene

from ringpull.analysis.judge import input_uncertainty, needs, other_events, spool, stretches, uncertainty, unrecorded
from ringpull.analysis.judge.reasons import Why
from ringpull.analysis.judge.spool import SpoolUp
from ringpull.analysis.judge.stretches import Stretch

PERIOD_S = 0.005


def flagged(rows, *spans):
    out = np.zeros(rows, bool)
    for first, last in spans:
        out[first:last] = True
    return out


def hidden(*lost, rows=400, bank=None, own=None, loaded=None, **common):
    """The stretches of 2 s in which speed rises by 10 rpm a row from 3000. lost: rows without a judged value. common,
    own: mask -> spans of rows."""
    excess = np.where(flagged(rows, *lost), np.nan, 0.0)
    masks = {name: flagged(rows, *spans) for name, spans in common.items()}
    time_s, rpm = np.arange(rows) * PERIOD_S, 3000.0 + 10.0 * np.arange(rows)
    span = stretches.Span(time_s, rpm, flagged(rows, *(loaded or [(0, rows)])), masks, PERIOD_S)
    return stretches.hidden(span, excess, {name: flagged(rows, *s) for name, s in (own or {}).items()}, bank)


def test_a_stretch_of_30_rows_is_told():
    whole = pytest.approx
    for last, count in ((130, 1), (129, 0)):
        found = hidden((100, last), tach_loss=[(90, 140)])
        assert len(found) == count
    (one,) = hidden((100, 130), tach_loss=[(90, 140)])
    assert one == Stretch("tach_loss", None, whole(0.5), whole(0.65), 4000.0, 4290.0)
    assert one.seconds == pytest.approx(0.15)
    # one that is too short hides no later one
    (one,) = hidden((50, 60), (100, 130), tach_loss=[(50, 130)])
    assert one.start_s == whole(0.5)
    # two of 0.1 s, joined over 0.1 s; over 0.105 s each of them is too short
    (one,) = hidden((100, 120), (140, 160), tach_loss=[(100, 160)])
    assert (one.start_s, one.end_s) == (whole(0.5), whole(0.8))
    assert hidden((100, 120), (141, 161), tach_loss=[(100, 161)]) == []


def test_the_mask_that_hides_most_of_a_stretch_names_it():
    (one,) = hidden((100, 160), tach_loss=[(100, 125)], saturation=[(120, 160)])
    assert one.mask == "saturation"
    assert hidden((100, 160), spoiled=[(100, 160)]) == [] and hidden((100, 160)) == []
    for own, name, bank in ((41, "electrical", "lambda_2"), (40, "saturation", None)):
        (one,) = hidden((100, 160), bank="lambda_2", own={"electrical": [(100, 100 + own)]}, saturation=[(120, 160)])
        assert (one.mask, one.bank) == (name, bank)
    (one,) = hidden((100, 160), bank="b", own={"saturation": [(100, 110)]}, saturation=[])
    assert (one.mask, one.bank) == ("saturation", "b")


def test_what_is_judged_elsewhere_or_not_under_load_is_no_stretch():
    assert hidden((100, 160), tip_in=[(100, 160)], tach_loss=[(100, 160)]) == []
    assert hidden((100, 160), overrun_cut=[(100, 160)], tach_loss=[(100, 160)]) == []
    # between judged rows all counts, before and behind them what is under load
    (one,) = hidden((100, 160), loaded=[(0, 50)], tach_loss=[(100, 160)])
    assert one.start_s == pytest.approx(0.5)
    assert hidden((340, 400), loaded=[(0, 340)], tach_loss=[(340, 400)]) == []
    assert len(hidden((340, 400), loaded=[(0, 400)], tach_loss=[(340, 400)])) == 1
    assert len(hidden((0, 400), loaded=[(0, 400)], tach_loss=[(0, 400)])) == 1


@pytest.mark.parametrize("loaded, last, told", [([], 200, True), ([], 199, False), ([(199, 220)], 199, True)])
def test_a_gap_hides_what_may_have_been_under_load(loaded, last, told):
    """1 s, or load on one of its sides."""
    gone = flagged(400, (0, last))
    masks = {"not_recorded": gone}
    span = stretches.Span(np.arange(400) * PERIOD_S, np.zeros(400), flagged(400, *loaded), masks, PERIOD_S)
    assert stretches.gaps(span).tolist() == (gone if told else np.zeros(400, bool)).tolist()


def test_load_before_a_gap_counts():
    gone = flagged(400, (100, 150))
    for loaded, told in ((99, True), (98, False)):
        flags = flagged(400, (loaded, loaded + 1))
        span = stretches.Span(np.arange(400) * PERIOD_S, np.zeros(400), flags, {"not_recorded": gone}, PERIOD_S)
        assert stretches.gaps(span).any() == told


def test_speeds_of_a_stretch_and_across_a_gap():
    nan = np.nan
    rpm = np.array([3000.0, 3100.0, nan, nan, 3400.0, 3300.0])
    assert stretches.within(rpm, 0, 2) == (3000.0, 3100.0)
    assert stretches.within(rpm, 2, 4) == (3100.0, 3400.0)  # none inside: the neighbours
    assert np.isnan(stretches.within(np.full(4, nan), 1, 2)).all()
    assert stretches.within(np.array([nan, 2000.0, nan, nan]), 2, 3)[0] == 2000.0
    assert stretches.across(rpm, 2, 4) == (3100.0, 3400.0)
    assert stretches.across(np.array([3000.0, 3600.0, 3400.0]), 1, 2) == (3000.0, 3600.0)
    low, high = stretches.across(rpm, 4, 6)
    assert low == 3100.0 and np.isnan(high)
    low, high = stretches.across(rpm, 0, 2)
    assert np.isnan(low) and high == 3400.0
    assert np.isnan(stretches.across(np.full(4, nan), 1, 2)).all()


def opened_at_100(excess, skip_s=0.15, opened=((100, 300),)):
    return spool.spool_up(excess, np.arange(400.0), flagged(400, *opened), skip_s, PERIOD_S)


def test_the_spool_up_of_a_pull():
    """Lean by 0.07 throughout: judged from 0.15 s on, 170 rows."""
    one = opened_at_100(np.full(400, 0.07))
    assert one == SpoolUp(pytest.approx(0.85), pytest.approx(0.07), 130.0, 299.0, True)
    assert opened_at_100(np.full(400, 0.0599)).lean is False
    assert opened_at_100(np.full(400, 0.07), opened=()) is None
    two = opened_at_100(np.full(400, 0.07), opened=((100, 200), (250, 350)))  # the wait is after each opening
    assert (two.judged_s, two.rpm_from, two.rpm_to) == (pytest.approx(0.70), 130.0, 349.0)
    assert opened_at_100(np.full(400, np.nan)) == SpoolUp(0.0, None, 100.0, 299.0, False)


def test_a_spool_up_is_lean_for_30_rows():
    """A window is 41 rows; n rows of 0.13 in it have a mean of 0.13 n / 41, above 0.06 with 19 of them. Of so many
    lean rows together, rows + 41 - 2 x 19 + 1 windows hold 19 or more: 30 of 26."""
    for rows, lean in ((25, False), (26, True)):
        excess = np.zeros(400)
        excess[200 : 200 + rows] = 0.13
        one = opened_at_100(excess)
        assert one.lean == lean and one.excess == pytest.approx(0.13 * rows / 41)
        if lean:  # the first has 19 of them at its end, the last at its beginning
            assert (one.rpm_from, one.rpm_to) == (198.0, 227.0)
        else:
            assert (one.rpm_from, one.rpm_to) == (130.0, 299.0)


def up(lean, excess):
    return SpoolUp(0.5, excess, 2000.0, 3000.0, lean)


def test_the_leaner_spool_up_and_whether_pulls_agree():
    one, two, none = up(True, 0.061), up(False, 0.07), up(False, None)
    assert spool.leaner([one, two, none, None]) is one and spool.leaner([none, two]) is two
    assert spool.leaner([None]) is None
    assert (
        spool.agreed([up(True, 0.080)]) and not spool.agreed([up(True, 0.079)]) and not spool.agreed([up(False, 0.9)])
    )
    assert spool.agreed([one, one, two, two]) and not spool.agreed([one, one, two, two, two])
    assert spool.agreed([one, one, two, two, none]) and not spool.agreed([one])


def test_what_an_answer_needs():
    columns = scene(pulls=1).columns
    assert needs.missing(columns, needs.LEAN_EVENTS) == ([], ["coolant"])
    assert needs.missing(columns, needs.POWER) == (["mass"], ["wheel", "grade"])
    assert needs.missing(columns, needs.BANKS) == (["two lambda channels"], [])
    assert needs.missing(columns, needs.DELAY) == ([], ["injector or commanded"])
    columns.extra["commanded"] = np.where(columns.time_s == columns.time_s[7], 0.9, np.nan)
    assert needs.missing(columns, needs.DELAY) == ([], [])
    with rewriting(columns) as written:
        written["vehicle"] |= {"mass_kg": 1000}
        written.pop("target")
    columns.banks["lambda_2"] = np.full(len(columns), np.nan)
    assert needs.missing(columns, needs.POWER)[0] == [] and "two lambda channels" not in needs.present(columns)
    assert needs.missing(columns, needs.LEAN_EVENTS) == ([], ["target", "coolant"])
    columns.banks["lambda_2"] = columns.lambda_
    assert needs.missing(columns, needs.BANKS) == ([], [])
    columns.rpm[:] = np.nan
    assert needs.missing(columns, needs.FUEL_MAP) == (["rpm"], ["trim"])
    other = scene(pulls=1).columns
    other.throttle = None
    other.map_kpa = None
    other.named.clear()
    assert needs.missing(other, needs.FUEL_MAP) == (["load"], ["trim"])
    assert needs.everywhere([columns, other], needs.FUEL_MAP) == [] == needs.everywhere([], needs.FUEL_MAP)
    assert needs.everywhere([other, other], needs.FUEL_MAP) == ["load"]


def test_whether_the_engine_turned_beside_a_gap():
    """Within 1 s on either side, at 500 rpm or more; unknown speed counts as turning."""
    columns = scene(pulls=1).columns
    for at, rpm, told in (((2.0, 2.01), 500.0, True), ((2.0, 2.01), 499.0, False), ((1.98, 1.99), 900.0, False)):
        columns.rpm[:] = 0.0
        columns.rpm[columns.rows(*at)] = rpm
        assert unrecorded.turning(columns, 3.0, 4.0) == told, at
    columns.rpm[:] = 0.0
    columns.rpm[columns.rows(4.99, 5.0)] = 900.0
    assert unrecorded.turning(columns, 3.0, 4.0) and not unrecorded.turning(columns, 3.0, 3.98)
    columns.rpm[:] = np.nan
    assert unrecorded.turning(columns, 3.0, 4.0) and not unrecorded.turning(columns, -9.0, 90.0)


def test_gaps_long_enough_for_a_pull_that_lie_in_none():
    columns = scene(pulls=1).columns
    missing = [(2.0, 3.0), (5.0, 5.9), (8.0, 9.5)]
    assert unrecorded.gaps(columns, missing, [], 1.0) == [(2.0, 3.0), (8.0, 9.5)]
    assert unrecorded.gaps(columns, missing, [(9.4, 12.0)], 1.0) == [(2.0, 3.0)]
    assert unrecorded.gaps(columns, missing, [(9.5, 12.0), (1.0, 2.0)], 1.0) == [(2.0, 3.0), (8.0, 9.5)]
    assert unrecorded.reasons([], 0) == []
    lost, gaps = unrecorded.reasons([(2.0, 3.0), (8.0, 9.5)], 2)
    assert (lost.kind, lost.values) == (Why.LOST_PULLS, {"pulls": 2}) and gaps.kind is Why.GAPS
    assert gaps.values == {"seconds": 2.5, "gaps": 2, "start_s": 8.0, "end_s": 9.5}


def test_a_recording_that_ends_under_load():
    """Within the last 0.3 s of it."""
    columns = scene(pulls=1).columns
    end_s = float(columns.time_s[-1])
    for before_s, told in ((0.295, True), (0.31, False)):
        loaded = (columns.time_s >= end_s - before_s - 0.001) & (columns.time_s < end_s - before_s + 0.001)
        found = unrecorded.ends_open(SimpleNamespace(columns=columns, loaded=loaded), 0.0, end_s, 4)
        assert [(one.kind, one.pull) for one in found] == ([(Why.ENDS_OPEN, 4)] if told else []), before_s
    last = SimpleNamespace(columns=columns, loaded=columns.time_s == columns.time_s[-1])
    columns.rpm[-3:] = (6000.0, 6100.0, np.nan)
    assert unrecorded.ends_open(last, 0.0, end_s)[0].values["rpm"] == 6100.0
    columns.rpm[:] = np.nan
    assert np.isnan(unrecorded.ends_open(last, 0.0, end_s)[0].values["rpm"])


TIME_S = np.arange(1200) / 200


def test_how_rich_and_how_long_a_rich_stretch_is():
    """0.05 below target over 0.4 s; the 0.2 s mean of a step is half as high at its edge."""
    for depth, rows, count in ((0.051, 300, 1), (0.049, 300, 0), (0.11, 80, 1), (0.11, 70, 0)):
        excess = np.zeros(1200)
        excess[400 : 400 + rows] = -depth
        found = other_events.rich(TIME_S, excess)
        assert len(found) == count, (depth, rows)
    excess = np.full(1200, np.nan)
    excess[400:700] = -0.08
    (one,) = other_events.rich(TIME_S, excess)
    assert (one.kind, one.start_s, one.end_s, one.size) == ("rich", 2.0, pytest.approx(3.5), pytest.approx(0.08))
    assert one.length_s == pytest.approx(1.5)
    excess[540:561] = np.nan  # 0.105 s: two stretches
    assert len(other_events.rich(TIME_S, excess)) == 2
    excess[540] = -0.08
    assert len(other_events.rich(TIME_S, excess)) == 1 and other_events.rich(TIME_S[:9], excess[400:409]) == []


def test_which_waves_are_oscillations():
    """Between 1.5 and 8 Hz, of 0.015 or more, with three swings each way, over 1.2 s of judged rows."""
    for hertz, amplitude, count in ((2.0, 0.02, 1), (7.0, 0.02, 1), (9.5, 0.02, 0), (1.0, 0.02, 0), (4.0, 0.013, 0)):
        found = other_events.oscillation(TIME_S, amplitude * np.sin(2 * np.pi * hertz * TIME_S))
        assert len(found) == count, (hertz, amplitude)
    wave = 0.02 * np.sin(2 * np.pi * 5.0 * TIME_S)
    (one,) = other_events.oscillation(TIME_S, wave)
    assert one.hz == pytest.approx(5.0, abs=0.2) and one.size == pytest.approx(0.02, rel=0.05)
    for rows, count in ((241, 1), (239, 0)):
        some = np.full(1200, np.nan)
        some[300 : 300 + rows] = wave[300 : 300 + rows]
        found = other_events.oscillation(TIME_S, some)
        assert len(found) == count and (not found or found[0].start_s == 1.5)
    assert other_events.oscillation(TIME_S, np.full(1200, np.nan)) == []
    some = np.zeros(1200)
    some[:500], some[500:700] = wave[:500], np.nan
    some[1000:1050] = np.nan  # of three runs the longest, not the last
    (one,) = other_events.oscillation(TIME_S, some)
    assert one.start_s == 0.0


def test_of_a_wave_its_parabola_is_taken_off_and_no_more():
    """Four cycles over -1 to 1: of sin(4 pi x), whose square has the mean 1/2, the line takes c^2 / 3 with
    c = -3 / (4 pi), so that 0.481 is left: an amplitude of 0.981. A cubic would take 0.036 more: 0.943."""
    x = np.linspace(-1.0, 1.0, 400, endpoint=False)
    (one,) = other_events.oscillation(TIME_S[:400], 0.1 * np.sin(4 * np.pi * x))
    assert one.size == pytest.approx(0.0981, rel=0.015) and one.hz == pytest.approx(2.0)


def test_swings_are_counted_either_way():
    wave = np.sin(2 * np.pi * np.arange(1000) / 200.0)  # five cycles
    assert other_events.swings(wave, 1.0, 1 / 200) == 5 and other_events.swings(wave[:850], 1.0, 1 / 200) == 4
    assert other_events.swings(0.4 * wave, 1.0, 1 / 200) == 0 and other_events.swings(wave * 0, 1.0, 1 / 200) == 0


def test_how_much_boost_is_overshoot_or_creep():
    loaded = np.ones(1200, bool)

    def found(at_s, kpa):
        return other_events.boost(TIME_S, np.interp(TIME_S, at_s, kpa), loaded)

    # a peak held for 0.3 s, longer than the window of the mean
    for over, count in ((10.5, 1), (9.5, 0)):
        events = found([0, 0.7, 0.8, 1.1, 1.2, 6], [45, 160, 160 + over, 160 + over, 160, 160])
        assert len(events) == count
        assert not count or (events[0].kind, events[0].size) == ("boost overshoot", pytest.approx(over, abs=0.1))
    for rate, count in ((6.3, 1), (5.7, 0)):
        events = found([0, 0.7, 2.0, 6], [45, 150, 150, 150 + 4.0 * rate])
        assert len(events) == count
        if count:
            (one,) = events
            assert (one.kind, one.start_s, one.end_s) == ("boost creep", 3.0, pytest.approx(5.995))
            assert one.size == pytest.approx(rate * 2.995, rel=0.02)
    assert found([0, 6], [100, 109]) == []
    # a rest in the middle of the later half: each half of it rises
    assert len(found([0, 0.7, 2.9, 4, 5, 6], [45, 150, 150, 161, 161, 171])) == 1
    half = TIME_S < 1.99  # less than 2 s under load
    steep = np.interp(TIME_S, [0, 0.3, 6], [45, 150, 210])
    assert other_events.boost(TIME_S, steep, half) == [] and len(other_events.boost(TIME_S, steep, loaded)) == 1


def test_boost_is_looked_at_in_the_longest_time_under_load():
    """Loaded for a second, then from 1.5 s on; there a peak of 15 kPa is held from 2.3 to 2.6 s."""
    at_s = 1.5 + np.array([0, 0.7, 0.8, 1.1, 1.2, 6])
    kpa = np.interp(TIME_S, at_s, [45, 160, 175, 175, 160, 160])
    (one,) = other_events.boost(TIME_S, kpa, flagged(1200, (0, 200), (300, 1200)))
    assert one.kind == "boost overshoot" and 2.3 <= one.start_s == one.end_s <= 2.6
    assert one.size == pytest.approx(15.0, abs=0.1)


def test_boost_had_come_before_it_crept():
    steady, steep, slow = np.full(300, 150.0), np.linspace(50.0, 110.0, 300), np.linspace(50.0, 80.0, 300)
    assert other_events.had_come(steady, PERIOD_S, 10.0)
    # 40 kPa/s is four times as fast as 9.9, not as 10.1; 20 kPa/s is not
    assert other_events.had_come(steep, PERIOD_S, 9.9) and not other_events.had_come(steep, PERIOD_S, 10.1)
    assert not other_events.had_come(slow, PERIOD_S, 9.9) and not other_events.had_come(steady[:100], PERIOD_S, 1.0)


def test_a_line_through_two_points_with_their_own_uncertainties():
    """A quarter of the way from 1 to 5 V: 0.75 x 0.02 and 0.25 x 0.04 add up to 0.025 if they are one error; behind the
    second point they are larger apart."""
    line_u = input_uncertainty.line_u
    assert line_u((0.02, 0.04), (1.0, 5.0), 2.0) == pytest.approx(0.025)
    assert line_u((0.02, 0.04), (1.0, 5.0), 9.0) == pytest.approx(np.hypot(0.02, 0.08))
    assert input_uncertainty.between(2.0, (1.0, 5.0)) == pytest.approx((1 + 0.75**2 + 0.25**2) ** 0.5)


def test_a_differential_input_by_hand():
    """30 over 10 kohm a side: gain = 10/50 x (1 + 10/40) = 0.25. Of resistors within 1 %, 0.57735 % standard, each side
    is good to the root of 1 + (900 + 100)/1600 of that."""
    own = 0.0057735 * (1 + 1000 / 1600) ** 0.5
    gain, passed = input_uncertainty.differential_u(30_000.0, 10_000.0, 0.01)
    assert gain == pytest.approx(own * (1600 + 100) ** 0.5 / 50, rel=1e-4)
    assert passed == pytest.approx(own * 2**0.5 * 40 / 50, rel=1e-4)


def test_what_of_the_budget_is_only_assumed():
    columns = scene(pulls=1).columns

    def assumed():
        return {part.name for part in uncertainty.budget(columns, 0.85).parts if part.assumed}

    plain = assumed()
    told = {"scatter of the mixture", "reference voltage", "ground offset", "drift with temperature"}
    assert told <= plain and "divider" not in plain
    with rewriting(columns) as written:
        written["channels"][0]["calibration"] = {"counts": [0, 4095], "volts": [0.0, 5.5]}
    assert "multimeter of the calibration" in assumed() and "two-point calibration" not in assumed()
    with rewriting(columns) as written:
        written["channels"][0]["calibration"]["u_volts"] = [0.002, 0.003]
    assert not {"multimeter of the calibration", "two-point calibration"} & assumed()


def test_a_lambda_that_is_no_voltage_has_its_controllers_doubt_alone():
    columns = scene(pulls=1).columns
    for key in ("values", "volts"):
        with rewriting(columns) as written:
            del written["channels"][0][key]
        assert uncertainty.budget(columns, 0.85).systematic == pytest.approx(0.010 / 3**0.5)
