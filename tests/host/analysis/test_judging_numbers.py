"""Limits and terms of the judgement, each with a number worked by hand."""

from dataclasses import replace
from types import SimpleNamespace

import numpy as np
import pytest
from analysis_scenes import rewriting, scene

from ringpull.analysis.judge import lean_events, masks, session, stretches, uncertainty, verdict
from ringpull.analysis.judge.reasons import Why

RATE_HZ = 200


def part_us(budget):
    return {part.name: part.u for part in budget.parts}


def test_each_part_of_the_budget():
    """0.6 to 1.4 over 5 V are 0.16 a volt, and lambda 0.85 is 1.5625 V. 6.8 over 10 kohm, 1 % each: the ratio is good
    to 6.8 / 16.8 x root 2 x 0.01 / root 3 = 0.0033048. A step of 12 bits of 3.3 V is 1.353516 mV at the terminal."""
    columns = scene(pulls=1).columns
    found = part_us(uncertainty.budget(columns, 0.85))
    root = 3**0.5
    assert found["scatter of the mixture"] == 0.006
    assert found["converter steps"] == pytest.approx(0.16 * 1.353516e-3 / 12**0.5, rel=1e-6)
    assert found["controller"] == pytest.approx(0.010 / root)
    assert found["divider"] == pytest.approx(0.25 * 0.0033048, rel=1e-4)
    assert found["reference voltage"] == pytest.approx(0.25 * 0.02 / root)
    assert found["ground offset"] == pytest.approx(0.16 * 0.010 / root)
    # 100 ppm/K of the reference, and 50 of either resistor, over -40 to 85 degC about 25: 36.17 K root mean square
    drift = (100.0**2 + 2 * (50.0 * 6.8 / 16.8) ** 2) ** 0.5 * 1e-6 / root
    assert found["drift with temperature"] == pytest.approx(0.25 * 36.17 * drift, rel=1e-3)
    with rewriting(columns) as written:
        # against the controller's own ground: what two dividers differ by is left
        written["channels"][0]["input"] = "x0-x1"
    left = part_us(uncertainty.budget(columns, 0.85))["ground offset"]
    assert left == pytest.approx(0.16 * 0.010 / root * 2**0.5 * 0.0033048, rel=1e-4)
    with rewriting(columns) as written:
        written["channels"][0]["calibration"] = {"counts": [0, 4095], "volts": [0.0, 5.5]}
    found = part_us(uncertainty.budget(columns, 0.85))
    share = 1.5625 / 5.5  # of the way from one point to the other: a step is off at the reading and at both points
    steps = (1 + (1 - share) ** 2 + share**2) ** 0.5
    assert found["two-point calibration"] == pytest.approx(0.16 * 1.353516e-3 / root * steps, rel=1e-6)
    assert found["multimeter of the calibration"] == pytest.approx(0.25 * 0.005 / root)
    assert not {"divider", "reference voltage"} & set(found)
    with rewriting(columns) as written:
        written["channels"][0]["accuracy"] = 0.02
    assert part_us(uncertainty.budget(columns, 0.85))["controller"] == pytest.approx(0.02 / root)


def test_an_afr_scale_divides_slope_and_accuracy_by_its_constant():
    columns = scene(pulls=1).columns
    with rewriting(columns) as written:
        written["channels"][0] |= {"scale": "afr", "stoich": 14.7, "values": [8.82, 20.58], "accuracy": 0.294}
    found = part_us(uncertainty.budget(columns, 0.85))
    assert found["controller"] == pytest.approx(0.02 / 3**0.5)  # 0.294 / 14.7
    assert found["ground offset"] == pytest.approx(0.16 * 0.010 / 3**0.5)  # 0.6 to 1.4 as before


def test_a_lambda_without_a_channel_has_its_controllers_doubt():
    columns = scene(pulls=1).columns
    columns.config = replace(columns.config, channels=columns.config.channels[1:])
    found = uncertainty.budget(columns, 0.85)
    assert found.systematic == pytest.approx(0.010 / 3**0.5) and found.at_lambda == 0.85


def test_the_line_of_the_piece_that_holds_a_lambda():
    """0.2 a volt up to 2 V, 0.13333 above."""
    volts, values = [0, 2, 5], [0.6, 1.0, 1.4]
    for at, slope, volt in ((0.85, 0.2, 1.25), (1.2, 0.4 / 3, 3.5), (1.5, 0.4 / 3, 5.75), (0.5, 0.2, -0.5)):
        assert uncertainty.line_near(volts, values, at) == pytest.approx((slope, volt))
        assert uncertainty.line_near(volts[::-1], values[::-1], at) == pytest.approx((slope, volt))
    assert uncertainty.line_near([0, 5], [1.0, 1.0], 0.9) == (0.0, 0)


def test_the_doubt_of_a_mean():
    """Over 0.2 s of a scatter that hangs together for 0.08 s: ratio 2.5, 2 / 6.25 (1.5 + e^-2.5) = 0.506267 of its
    square. A lag of 0.08 s, 0.4 windows, adds 2 x 0.16 (1 - e^-2.5) = 0.293733. White noise of 0.003 over 40 rows:
    0.00047434, and root 2 x 0.4 x 0.003 over root 9.6 = 0.00054772 of the ends."""
    mean = uncertainty.mean_u
    assert mean(0.0, 1.0, 0.2, 0.005, 0.0) == pytest.approx(0.006 * 0.506267**0.5, rel=1e-5)
    assert mean(0.0, 1.0, 0.2, 0.005, 0.08) == pytest.approx(0.006 * 0.8**0.5, rel=1e-5)
    both = (0.00047434**2 + 0.00054772**2 + 0.00536656**2) ** 0.5
    assert mean(0.003, 10.0, 0.2, 0.005, 0.08) == pytest.approx(both, rel=1e-5)
    assert mean(0.003, 0.1, 0.2, 0.005, 0.08) == pytest.approx((0.0003**2 + 0.00536656**2) ** 0.5, rel=1e-5)
    # a row a second: one row in the window, and the lag's window no shorter than a row
    slow = (0.003**2 + (2**0.5 * 0.4 * 0.003) ** 2 + 0.00536656**2) ** 0.5
    assert mean(0.003, 10.0, 0.2, 1.0, 0.08) == pytest.approx(slow, rel=1e-5)


def test_white_noise_needs_twenty_bends():
    noise = np.random.default_rng(4).normal(0.0, 0.01, 22)
    assert uncertainty.white_noise(noise[:21]) == 0.0 and uncertainty.white_noise(noise) > 0.003


def test_chance_of_noise():
    # a normal value is above two deviations with chance 0.0227501 (statistical tables): of ten 1 - 0.9772499^10
    assert lean_events.chance_of_noise(0.008, 0.004, 10) == pytest.approx(0.205573, abs=1e-5)
    assert lean_events.chance_of_noise(0.008, 0.004, 0.2) == pytest.approx(0.0227501, abs=1e-6)  # at least one
    assert lean_events.chance_of_noise(0.008, 0.0, 10) == 0.0
    assert lean_events.normal_tail(1.0) == pytest.approx(0.158655, abs=1e-6)


def test_the_largest_mean():
    # 51 rows in a window, of which 25 must be judged
    excess = np.full(100, np.nan)
    excess[50:74] = 0.1
    assert lean_events.largest(excess, 0.005) == (None, 0)
    excess[74] = 0.3
    assert lean_events.largest(excess, 0.005)[0] == pytest.approx((24 * 0.1 + 0.3) / 25)
    flat = np.zeros(100)
    flat[35:86] = 0.05
    assert lean_events.largest(flat, 0.005) == (pytest.approx(0.05), 60)


def column(*spans, rows=800, value=0.1, otherwise=np.nan):
    out = np.full(rows, otherwise)
    for first, last in spans:
        out[first:last] = value
    return out


def test_which_runs_are_events():
    runs = lean_events.runs
    assert runs(column((200, 230)), 0.005, 0.033) == [(200, 230)]  # 0.15 s
    assert runs(column((200, 229)), 0.005, 0.033) == []
    assert runs(column((200, 240), (260, 300)), 0.005, 0.033) == [(200, 300)]  # 0.1 s apart
    assert runs(column((200, 240), (261, 300)), 0.005, 0.033) == [(200, 240), (261, 300)]
    assert runs(column((200, 240), value=0.033), 0.005, 0.033) == []
    assert runs(column((200, 240), value=0.0331), 0.005, 0.033) == [(200, 240)]
    # between rows of -0.3, 17 rows of which 2 are of these have a mean of 0.0529, and with 3 of these 0.0294: so it
    # begins 6 rows within, where the mean over 41 rows, with more than 6 of these, is not yet above
    assert runs(column((200, 300), otherwise=-0.3), 0.005, 0.033) == [(206, 294)]
    # as deep as that for 0.08 s only: its 0.2 s mean is not
    assert runs(column((200, 217), value=0.07, otherwise=0.0), 0.005, 0.033) == []


def events_of(excess, random_u=0.002, load=None, bound=None):
    rows = len(excess)
    bound = np.zeros(rows, bool) if bound is None else bound
    rpm = np.linspace(3000.0, 6999.0, rows)
    of_pull = lean_events.Rows(np.arange(rows) / RATE_HZ, excess, rpm, load, bound, "kPa")
    return lean_events.events(of_pull, lean_events.Doubt(random_u, 0.01, np.zeros(rows)))


def test_what_an_event_tells():
    excess = column((200, 400))
    excess[295:346] = 0.2
    load = np.arange(800.0)
    load[200] = np.nan
    (event,) = events_of(excess, load=load)
    step = 3999 / 799  # rpm from row to row
    assert event.rpm_from == pytest.approx(3000 + 200 * step) and event.rpm_to == pytest.approx(3000 + 399 * step)
    assert (event.load_from, event.load_to, event.load_unit) == (201, 399, "kPa")
    assert event.deepest_s == 1.6 and event.deepest_rpm == pytest.approx(3000 + 320 * step)
    assert event.exposure_s == pytest.approx((149 * 0.1 + 51 * 0.2) * 0.005)
    assert event.depth == pytest.approx(0.2)  # a single window stands so high: nothing was chosen
    assert not event.bound
    (bare,) = events_of(excess)
    assert (bare.load_from, bare.load_to) == (None, None)
    for row, told in ((199, False), (200, True), (399, True), (400, False)):
        (event,) = events_of(excess, bound=np.arange(800) == row)
        assert event.bound == told, row


def test_the_chance_of_an_event():
    """0.175 is 3.5 deviations of 0.05, of a chance of 0.000232629 (statistical tables); 1 s holds four windows."""
    (event,) = events_of(column((200, 400), value=0.175), 0.05)
    assert event.chance == pytest.approx(1 - (1 - 0.000232629) ** 4, rel=1e-4)


def test_how_deep_an_event_must_be():
    # 0.033, or three random deviations of 0.006 above the 0.022 that a good mixture may have: 0.040
    assert lean_events.call_above(0.003) == 0.033 and lean_events.call_above(0.006) == pytest.approx(0.040)
    assert len(events_of(column((200, 400), value=0.0331), 0.0036)) == 1
    assert len(events_of(column((200, 400), value=0.0401), 0.006)) == 1
    assert events_of(column((200, 400), value=0.0399), 0.006) == []
    assert events_of(np.full(2, 0.1)) == []


def test_events_of_two_banks():
    (one,) = events_of(column((200, 400)))  # 1 to 2 s
    later = replace(one, start_s=1.5, end_s=2.5, depth=0.3, rpm_from=1.0, rpm_to=9000.0, exposure_s=9.0, chance=0.0)
    (both,) = lean_events.leaner({"a": [one], "b": [later]})
    assert (both.start_s, both.end_s, both.bank, both.depth) == (1.0, 2.5, "b", 0.3)
    assert (both.rpm_from, both.rpm_to, both.exposure_s) == (1.0, 9000.0, 9.0)
    inside = replace(one, start_s=1.5, end_s=1.7, depth=0.01, rpm_from=4500.0, rpm_to=4600.0, exposure_s=0.001)
    (both,) = lean_events.leaner({"a": [one], "b": [inside]})
    assert (both.start_s, both.end_s, both.bank) == (1.0, 2.0, "a") and both.depth == one.depth
    assert (both.rpm_from, both.rpm_to, both.exposure_s) == (one.rpm_from, one.rpm_to, one.exposure_s)
    after = replace(one, start_s=2.0, end_s=3.0)
    assert [e.bank for e in lean_events.leaner({"a": [after], "b": [one]})] == ["b", "a"]
    assert lean_events.leaner({"a": [one]}) == [one]


def test_events_of_one_stretch_at_the_limiter_are_one():
    (first,) = events_of(column((200, 240)))
    second = replace(first, start_s=1.3, end_s=1.5, depth=0.3, rpm_from=1.0, rpm_to=9000.0, exposure_s=2.0)
    apart = replace(first, start_s=3.0, end_s=3.2)
    both, other = lean_events.joined_at_limiter([first, second, apart], [(0.9, 1.6), (5.0, 6.0)])
    assert (both.start_s, both.end_s, both.depth, both.rpm_from, both.rpm_to) == (1.0, 1.5, 0.3, 1.0, 9000.0)
    assert both.exposure_s == pytest.approx(2.0 + 40 * 0.1 * 0.005) and other == apart
    assert lean_events.joined_at_limiter([first, second], []) == [first, second]


def flags(columns, name):
    """Times at which a mask stands, before the pull's own."""
    by_name = session.prepare(columns, identified=False).masks.by_name
    return columns.time_s[by_name[name] & (columns.time_s < 5.8)]


def between(columns, start_s, end_s):
    return columns.time_s[columns.rows(start_s, end_s)].tolist()


def test_a_throttle_opened_quickly():
    """By more than 20 % within 0.2 s, and 0.6 s after that."""
    for rise, times in ((20.0, None), (20.5, (3.0, 3.8))):
        columns = scene(pulls=1, noise=0.0).columns
        columns.throttle[columns.time_s < 6.0] = 10.0
        columns.throttle[columns.rows(3.0, 4.5)] += rise
        assert flags(columns, "tip_in").tolist() == ([] if times is None else between(columns, *times))


def test_pressure_risen_quickly_without_a_throttle():
    for rise, times in ((40.0, None), (40.5, (3.0, 3.8))):
        columns = scene(pulls=1, noise=0.0).columns
        columns.throttle = None
        columns.map_kpa[:] = np.where(columns.time_s < 6.0, 45.0, 175.0)
        columns.map_kpa[columns.rows(3.0, 4.5)] += rise
        assert flags(columns, "tip_in").tolist() == ([] if times is None else between(columns, *times))


def test_a_falling_engine_is_no_steady_state():
    """Faster than 1500 rpm a second, here without load after it, so it is coasting: from 3.0 to 3.4 s, and 0.3 s after;
    the slope is taken over 0.1 s."""
    for per_s, told in ((1450.0, False), (1600.0, True)):
        columns = scene(pulls=1).columns
        fall = np.clip(columns.time_s - 3.0, 0.0, 0.4) - np.clip(columns.time_s - 4.0, 0.0, 0.8) / 2
        columns.rpm[:] = np.where(columns.time_s < 6.0, 3000.0 - per_s * fall, columns.rpm)
        found = flags(columns, "coasting")
        assert (len(found) > 0) == told and not len(flags(columns, "gear_change"))
        if told:
            assert found[0] == pytest.approx(3.05, abs=0.02) and found[-1] == pytest.approx(3.35 + 0.3, abs=0.02)


def test_cold_and_lost_rows():
    columns = scene(pulls=1).columns
    columns.extra["coolant"] = np.where(columns.time_s < 2.0, 59.9, 60.0)
    assert flags(columns, "warm_up").tolist() == between(columns, 0.0, 2.0)
    columns.rpm[columns.rows(3.0, 3.2)] = np.nan
    assert flags(columns, "tach_loss").tolist() == between(columns, 3.0, 3.2)
    columns.extra["present"] = np.ones(len(columns))
    columns.extra["present"][columns.rows(3.0, 3.1)] = 0.0
    assert flags(columns, "tach_loss").tolist() == between(columns, 3.1, 3.2)


def test_seconds_of_masks():
    made = masks.Masks({"a": np.arange(10) < 3, "b": np.zeros(10, bool), "c": np.arange(10) == 9}, np.zeros(10, bool))
    assert made.seconds(slice(0, 10), 0.1) == {"a": 0.3, "c": 0.1} and made.seconds(slice(2, 9), 0.1) == {"a": 0.1}
    assert made.valid.tolist() == [False] * 3 + [True] * 6 + [False]


PULL = {
    "number": 1,
    "spoiled": False,
    "judged_s": 4.0,
    "excess_max": 0.01,
    "blind": [],
    "loaded_s": 5.0,
    "lost_s": 0.0,
    "left_out": {},
    "hidden": {},
    "lean_events": [],
    "spoiled_events": [],
    "spool": None,
    "beyond_target": (),
    "excess_at_rpm": 5200.0,
    "rpm_from": 2500.0,
    "rpm_to": 6500.0,
}


def pull(**more):
    return SimpleNamespace(**{**PULL, **more})


def decided(*pulls, systematic_u=0.005, call=0.04, missing=()):
    """(verdict, [(kind, pull, values)])."""
    word, reasons = verdict.decide(list(pulls), list(missing), systematic_u, call)
    return word, [(one.kind, one.pull, dict(one.values)) for one in reasons]


def test_when_a_pull_is_judged():
    event = SimpleNamespace(depth=0.05)
    for one, yes in (
        (pull(judged_s=0.5), True),
        (pull(judged_s=0.49), False),
        (pull(judged_s=0.1, lean_events=[event]), True),
        (pull(excess_max=None), False),
        (pull(blind=["lambda_2"]), False),
        (pull(blind=["lambda_2"], lean_events=[event]), True),
        (pull(spoiled=True, lean_events=[event]), False),
    ):
        assert (verdict.usable([one]) == [one]) == yes, one


def test_why_a_pull_is_not_judged():
    def why(**more):
        ((kind, number, values),) = decided(pull(**{"judged_s": 0.4, **more}))[1]
        assert (kind, number, values.pop("judged_s")) == (Why.LITTLE, 1, more.get("judged_s", 0.4))
        return values

    assert why(judged_s=0.5, excess_max=None) == {"cause": "pieces"}
    assert why(lost_s=5.1) == {"cause": "lost", "seconds": 5.1} and why(lost_s=5.0) == {"cause": "unknown"}
    assert why(lost_s=0.6, loaded_s=0.1) == {"cause": "lost", "seconds": 0.6}
    assert why(lost_s=0.5, loaded_s=0.1) == {"cause": "not loaded", "seconds": 0.1}
    assert why(loaded_s=0.49) == {"cause": "not loaded", "seconds": 0.49} and why(loaded_s=0.5) == {"cause": "unknown"}
    masked = {"tip_in": 1.0, "saturation": 2.5, "tach_loss": 0.2}
    assert why(left_out=masked) == {"cause": "mask", "mask": "saturation", "seconds": 2.5}
    # what is off load at a pull's ends is not the reason, unless there is nothing else
    assert why(left_out={"overrun_cut": 1.2, "tip_in": 0.9})["mask"] == "tip_in"
    assert why(left_out={"overrun_cut": 1.2})["mask"] == "overrun_cut"


def test_the_verdict_and_what_it_rests_on():
    assert decided() == (verdict.NOT_ENOUGH, [(Why.NO_PULL, None, {})])
    assert decided(pull(), missing=("lambda",)) == (verdict.NOT_ENOUGH, [(Why.MISSING, None, {"roles": ("lambda",)})])
    assert decided(pull(spoiled=True)) == (verdict.NOT_ENOUGH, [(Why.SPOILED, 1, {})])
    assert decided(pull(blind=["lambda_2"])) == (verdict.NOT_ENOUGH, [(Why.BLIND, 1, {"banks": ("lambda_2",)})])
    two = pull(number=2, excess_max=0.02, judged_s=2.0, rpm_from=2000.0, rpm_to=6000.0)
    span = {"pulls": 2, "seconds": 6.0, "rpm_from": 2000.0, "rpm_to": 6500.0}
    # the largest excess, with 1.96 x 0.005 = 0.0098 of systematic error, stays below 0.033
    largest = {"excess": 0.02, "beyond": None, "shift": pytest.approx(0.0098), "rpm": 5200.0, "call": 0.04}
    assert decided(pull(), two) == (verdict.NO_EVENT, [(Why.SPAN, None, span), (Why.LARGEST, 2, largest)])
    for excess, beyond in ((0.0231, None), (0.0233, verdict.SYSTEMATIC), (0.03, verdict.SYSTEMATIC)):
        word, told = decided(pull(excess_max=excess), two)
        assert word == verdict.NO_EVENT and told[1][2]["beyond"] == beyond, excess
    # what may be scatter or a shallow event comes first, and nobody is calm about it
    for excess, beyond in ((0.0301, verdict.SCATTER), (0.04, verdict.SCATTER), (0.0401, verdict.IN_PIECES)):
        word, told = decided(pull(excess_max=excess), two)
        assert word == verdict.NOT_ENOUGH and told[0][0] is Why.LARGEST and told[0][2]["beyond"] == beyond, excess
    # 0.25 s without engine speed may hide an event
    for end_s, word in ((1.2, verdict.NO_EVENT), (1.3, verdict.NOT_ENOUGH)):
        lost = stretches.Stretch("tach_loss", None, 1.0, end_s, 3000.0, 3300.0)
        found, told = decided(pull(hidden=[lost]))
        assert found == word
        (values,) = (values for kind, _, values in told if kind is Why.HIDDEN)
        assert values["mask"] == "tach_loss" and values["seconds"] == pytest.approx(end_s - 1.0)
        assert (values["rpm_from"], values["rpm_to"], values["stretches"]) == (3000.0, 3300.0, 1)


def test_the_verdict_with_a_lean_event():
    deep, shallow = SimpleNamespace(depth=0.05), SimpleNamespace(depth=0.0097)
    lean = pull(number=3, lean_events=[deep])
    assert decided(lean) == (verdict.ATTENTION, [(Why.LEAN, 3, {})])
    assert decided(lean, pull(), pull(spoiled=True))[1][1:] == [(Why.CLEAN, None, {"pulls": 1}), (Why.SPOILED, 1, {})]
    # 0.0097 is less than 1.96 x 0.005 may be
    assert decided(pull(number=3, lean_events=[deep, shallow]))[1][2:] == [
        (Why.SYSTEMATIC, None, {"shift": pytest.approx(0.0098)})
    ]


def test_what_lies_beyond_the_target_and_spool_up_as_reasons():
    def beyond(seconds):
        return SimpleNamespace(last=200.0, unit="kPa", seconds=seconds, most=230.0)

    assert verdict.beyond_target([pull(beyond_target=(beyond(0.24),))]) == []
    (one,) = verdict.beyond_target([pull(beyond_target=(beyond(0.3),)), pull(beyond_target=(beyond(0.25),))])
    assert one.values == {"pulls": 2, "seconds": 0.55, "last": 200.0, "most": 230.0, "unit": "kPa"}
    ends = {"rpm_from": 2500.0, "rpm_to": 3000.0}
    lean, good, unjudged = (
        SimpleNamespace(lean=yes, excess=excess, **ends) for yes, excess in ((True, 0.07), (False, 0.01), (False, None))
    )
    (one,) = verdict.at_spool_up([pull(spool=lean), pull(spool=good), pull(spool=unjudged)])
    assert one.values == {"excess": 0.07, "pulls": 1, "of": 2, "agreed": False} | ends
    word, told = decided(pull(judged_s=0.1, spool=lean))
    assert word == verdict.NOT_ENOUGH and [kind for kind, *_ in told] == [Why.SPOOL_LEAN, Why.LITTLE]
    word, told = decided(pull(judged_s=0.1, spool=unjudged))
    assert word == verdict.NOT_ENOUGH and [kind for kind, *_ in told] == [Why.LITTLE]
