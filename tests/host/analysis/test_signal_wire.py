"""A lambda controller's ground core that breaks: told by its signal wire, which another input measures once more."""

import copy

import numpy as np
import pytest
from analysis_scenes import CONFIG
from bench import faults as campaign
from truth import wired
from truth.ground_core import BROKEN, TOUCHING, WIRE, lost, measured
from truth.wired import wire

from ringpull.analysis import local
from ringpull.analysis.answer import answer
from ringpull.analysis.drive_state.columns import Columns
from ringpull.analysis.instruments import wire_check
from ringpull.analysis.instruments.glance import Glance
from ringpull.analysis.instruments.records import Cause, Check, State
from ringpull.analysis.instruments.wire_check import volts_of
from ringpull.analysis.judge import verdict
from ringpull.files import configuration
from ringpull.wording import instruments as words
from ringpull.wording import next_steps

CORRODED = 0.9
HIDES = (2, 3)  # drives whose only hole is in one pull, with a core that breaks a second before it


def drive(seed, hole, grounds_v=0.0, banks=1):
    made = wire(seed, hole, banks)
    made = copy.deepcopy(made, {id(made.drive): made.drive})
    measured(made, grounds_v, f"lambda_{banks}")
    return made


def unchecked(made):
    out = copy.deepcopy(made, {id(made.drive): made.drive})
    out.config["channels"] = [one for one in out.config["channels"] if one["name"] != WIRE["name"]]
    return out


def answered(made, seed):
    table, states = wired.table(made, np.random.default_rng([8, seed]))
    return answer(
        campaign.ColumnDrive(campaign.ColumnSession(table, states, configuration.of(made.config), made.presses_s))
    )


def wire_of(found, name="lambda_1"):
    """(the sensor, its finding of the wire)."""
    (one,) = [one for one in found.instruments if one.channel == name]
    return one, next(finding for finding in one.findings if finding.check is Check.WIRE)


@pytest.mark.parametrize("seed", HIDES)
def test_a_core_that_breaks_before_the_only_hole_leaves_no_calm_answer(seed):
    made = drive(seed, True, 0.1)
    starts_s = made.hole_s[0] - 1.0
    lost(made, BROKEN, starts_s)
    hidden = answered(unchecked(made), seed)
    assert hidden.verdict == verdict.NO_EVENT  # what it is for: nothing else in the drive tells it
    assert wire_of(hidden)[1].state is State.NOT_TESTED
    found = answered(made, seed)
    sensor, finding = wire_of(found)
    assert found.verdict == verdict.NOT_ENOUGH
    assert finding.state is State.CONTRADICTED and finding.cause is Cause.GROUND
    assert finding.figures["share"] == pytest.approx(BROKEN, abs=0.01)
    assert 0.5 * (made.time_s[-1] - starts_s) < finding.figures["seconds"] < made.time_s[-1] - starts_s
    (span,) = finding.spans
    assert span[0] == pytest.approx(starts_s - wire_check.BESIDE_FALSE_S, abs=0.2) and span[1] > made.time_s[-1]
    kept = found.pulls[0].judged.columns.banks["lambda_1"]
    assert not np.isfinite(kept[made.rows(starts_s, np.inf)]).any()
    assert np.isfinite(kept[made.rows(10.0, starts_s - 1.0)]).any()
    told = str(words.doubt(sensor))
    assert "reads 0.63 of the volts that its signal wire has against the logger's own ground, for " in told
    assert "likely cause: its ground core is broken, loose, or touches ground" in told
    assert any("compare with that controller's display, before and after" in str(one) for one in steps(found))


def steps(found):
    return next_steps.next_steps(found, found.holes)


@pytest.mark.parametrize("share", [BROKEN, TOUCHING])
def test_a_core_that_makes_no_contact_for_seconds_leaves_no_calm_answer(share):
    made = drive(3, True)
    start_s, end_s = made.hole_s
    lost(made, share, start_s - 1.0, end_s + 1.0)
    found = answered(made, 3)
    sensor, finding = wire_of(found)
    assert found.verdict == verdict.NOT_ENOUGH and [one.check for one in sensor.against][0] is Check.WIRE
    (span,) = finding.spans
    assert span == pytest.approx((start_s - 1.25, end_s + 1.25), abs=0.2)


def test_without_such_a_channel_a_drive_is_judged_as_before():
    made = drive(3, True)
    one, other = answered(made, 3), answered(unchecked(made), 3)
    assert one.verdict == other.verdict == verdict.ATTENTION
    assert one.as_json()["pulls"] == other.as_json()["pulls"]
    assert wire_of(one)[1].state is State.SOUND and wire_of(other)[1].state is State.NOT_TESTED


def test_of_what_reads_false_most_of_the_time_nothing_is_believed():
    made = drive(2, True)
    lost(made, BROKEN)
    found = answered(made, 2)
    _, finding = wire_of(found)
    assert found.verdict == verdict.NOT_ENOUGH and len(finding.spans) == 1
    assert not any(np.isfinite(pull.judged.lambda_aligned).any() for pull in found.pulls)


@pytest.mark.parametrize("share", [CORRODED, 0.95, 1.1])
def test_a_share_of_the_signal_that_is_lost_all_along_contradicts_the_whole_drive(share):
    made = drive(3, False, -0.1)
    lost(made, share)
    found = answered(made, 3)
    sensor, finding = wire_of(found)
    assert found.verdict != verdict.NO_EVENT and finding.state is State.CONTRADICTED and not finding.spans
    assert finding.figures["share"] == pytest.approx(share, abs=0.01)
    assert f"reads {share:.2f} of the volts" in str(words.evidence(sensor))


def test_a_lean_event_that_a_corroded_core_still_shows_is_told():
    made = drive(3, True)
    lost(made, CORRODED)
    found = answered(made, 3)
    assert wire_of(found)[1].state is State.CONTRADICTED and found.verdict == verdict.ATTENTION


def grounds(made, kind):
    """Differences of two sound grounds in volts: constant, with the load, by a random walk, with an accessory."""
    if kind == "load":
        return np.where(made.true["map"] > 80.0, 0.2, -0.1)
    if kind == "walk":
        steps_v = np.random.default_rng(4).normal(0.0, 0.003, len(made.time_s))
        return np.clip(np.cumsum(steps_v), -0.1, 0.2)
    if kind == "accessory":
        return np.where(np.sin(made.time_s / 7.0) > 0.3, 0.2, -0.1)
    return kind


@pytest.mark.parametrize("late_s", [0.0, 0.05])
@pytest.mark.parametrize("kind", [-0.1, 0.2, "load", "walk", "accessory"])
def test_sound_grounds_are_sound_also_through_a_slow_converter(kind, late_s):
    made = drive(2, False)
    made.volts[WIRE["name"]] = np.roll(made.volts["lambda_1"] + grounds(made, kind), round(late_s / wired.STEP_S))
    found = answered(made, 2)
    sensor, finding = wire_of(found)
    assert finding.state is State.SOUND and sensor.state is State.SOUND and found.verdict == verdict.NO_EVENT
    assert "agrees with its signal wire against the logger's own ground" in str(words.evidence(sensor))


def test_of_two_banks_the_one_with_the_broken_core_is_named_and_blanked():
    made = drive(3, True, 0.0, banks=2)
    start_s, end_s = made.hole_s
    lost(made, BROKEN, start_s - 1.0, end_s + 1.0, "lambda_2")
    found = answered(made, 3)
    assert found.verdict == verdict.NOT_ENOUGH
    assert wire_of(found, "lambda_2")[1].state is State.CONTRADICTED
    assert wire_of(found, "lambda_1")[1].state is State.NOT_TESTED
    assert [(one.channel, one.by) for one in found.pulls[0].judged.trust.stand_ins] == [("lambda_2", "other bank")]


def test_a_wire_that_came_off_its_second_input_is_told_in_volts():
    made = drive(2, False)
    made.volts[WIRE["name"]][made.rows(60.0, np.inf)] = 0.0
    sensor, finding = wire_of(answered(made, 2))
    assert finding.state is State.CONTRADICTED and np.isnan(finding.figures["share"])
    assert " V from what its signal wire has" in str(words.evidence(sensor))


# By hand: rows at 200 Hz of a running engine


def columns_of(lambda_v, wire_v, rpm=3000.0, changes=None):
    """Columns of a lambda channel of 0-5 V, 0.6 to 1.4, and of its wire."""
    written = copy.deepcopy(CONFIG)
    written["channels"][0] |= changes or {}
    written["channels"].append(WIRE)
    config = configuration.of(written)
    values = np.interp(lambda_v, config.channels[0].volts, config.channels[0].values) / config.channels[0].per_lambda
    count = len(values)
    return Columns(
        time_s=np.arange(count) / 200.0,
        lambda_=values,
        rpm=np.broadcast_to(np.asarray(rpm, float), (count,)),
        throttle=np.full(count, 20.0),
        config=config,
        banks={"lambda_1": values},
        named={"lambda_1": values, WIRE["name"]: np.asarray(wire_v, float)},
    )


def checked(columns):
    return wire_check.agrees(Glance.of(columns), columns.config.channels[0])


def steady(seconds, lambda_v, wire_v):
    rows = round(200 * seconds)
    return np.full(rows, float(lambda_v)), np.full(rows, float(wire_v))


def joined(*pieces):
    return tuple(np.concatenate(parts) for parts in zip(*pieces, strict=True))


@pytest.mark.parametrize(
    ("apart_v", "seconds", "state"),
    [
        (0.24, 3.0, State.SOUND),
        (0.26, 3.0, State.CONTRADICTED),
        (-0.34, 3.0, State.SOUND),
        (-0.36, 3.0, State.CONTRADICTED),
        (0.9, 0.10, State.CONTRADICTED),
        (0.9, 0.09, State.SOUND),
    ],
)
def test_how_far_and_for_how_long(apart_v, seconds, state):
    pieces = steady(4.0, 2.0, 2.0), steady(seconds, 2.0 - apart_v, 2.0), steady(4.0, 2.0, 2.0)
    found = checked(columns_of(*joined(*pieces)))
    assert found.state is state
    if state is State.CONTRADICTED:
        assert found.figures["apart_v"] == pytest.approx(abs(apart_v), abs=1e-6)
        assert found.figures["seconds"] == pytest.approx(seconds, abs=1e-6)
        assert found.spans == (pytest.approx((4.0 - 0.25, 4.0 + seconds + 0.25), abs=1e-6),)


def test_a_flicker_counts_by_all_its_time():
    pieces = [piece for _ in range(12) for piece in (steady(0.5, 2.0, 2.0), steady(0.05, 1.25, 2.0))]
    assert checked(columns_of(*joined(*pieces))).state is State.CONTRADICTED
    assert checked(columns_of(*joined(*pieces[:18], steady(4, 2, 2)))).state is State.SOUND


def test_contradictions_that_touch_are_one_span():
    apart, sound = steady(1.0, 1.0, 2.0), steady(0.4, 2.0, 2.0)
    lone = steady(20.0, 2.0, 2.0)
    found = checked(columns_of(*joined(lone, apart, sound, apart, lone, apart)))
    assert [pytest.approx(span, abs=1e-6) for span in found.spans] == [(19.75, 22.65), (42.15, 43.65)]


@pytest.mark.parametrize("nothing", [(0.4, 0.6), (2.0, np.nan), (4.99, 4.99)])
def test_a_contradiction_reaches_to_where_the_two_agree_again(nothing):
    """A small signal, a wire out of its range, a sensor at its end: nothing tells that the core makes contact."""
    sound, apart, untold = steady(20.0, 2.0, 2.0), steady(1.0, 1.0, 2.0), steady(3.0, *nothing)
    found = checked(columns_of(*joined(sound, untold, apart, untold, sound)))
    assert found.spans == (pytest.approx((19.75, 27.25), abs=1e-6),)
    assert found.figures["seconds"] == pytest.approx(1.0, abs=0.21)  # a slow converter may tell the wire so late


@pytest.mark.parametrize(
    ("changes", "lambda_v", "wire_v"),
    [
        ({}, 0.14, 1.0),  # within 3 % of its range of the rich end
        ({}, 4.96, 2.0),  # within 1 % of the lean end
        ({"volts": [5.0, 0.0]}, 4.9, 2.0),  # the rich end of a sensor whose volts fall
        ({}, 2.0, np.nan),
        ({}, np.nan, 2.0),
    ],
)
def test_what_measures_nothing_is_no_evidence(changes, lambda_v, wire_v):
    assert checked(columns_of(*steady(20.0, lambda_v, wire_v), changes=changes)).state is State.NOT_TESTED


def test_a_standing_engine_and_small_signals_are_no_evidence():
    assert checked(columns_of(*steady(20.0, 1.0, 2.0), rpm=0.0)).state is State.NOT_TESTED
    assert checked(columns_of(*steady(20.0, 0.5, 0.6))).state is State.NOT_TESTED  # broken: 0.38, 0.22 V apart
    assert checked(columns_of(*steady(4.9, 1.5, 1.5))).state is State.NOT_TESTED
    assert checked(columns_of(*steady(5.1, 1.5, 1.5))).state is State.SOUND


@pytest.mark.parametrize(("span_v", "state"), [(0.9, State.SOUND), (1.1, State.CONTRADICTED)])
def test_a_share_that_is_lost_needs_a_span_of_signals(span_v, state):
    wire_v = np.repeat(1.5 + span_v * np.linspace(0.0, 1.0, 20), 200)
    assert checked(columns_of(0.92 * wire_v, wire_v)).state is state


@pytest.mark.parametrize(("share", "state"), [(0.965, State.SOUND), (0.955, State.CONTRADICTED)])
def test_a_share_that_is_lost_counts_from_four_per_cent_on(share, state):
    wire_v = np.repeat(np.linspace(0.5, 3.0, 40), 200)
    found = checked(columns_of(share * wire_v, wire_v))
    assert found.state is state and found.spans == ()


def test_volts_go_back_through_ratios_and_falling_points_but_not_through_a_fold():
    def back(values, volts, asked, **more):
        written = {"name": "l", "kind": "lambda", "volts": volts, "values": values, **more}
        return volts_of(configuration.channels_of([written])[0], np.array(asked))

    assert back([0.6, 1.4], [0, 5], [0.6, 1.0, 1.4]) == pytest.approx([0, 2.5, 5])
    assert back([10, 20], [0, 5], [1.0, 1.2], scale="afr", stoich=15.0) == pytest.approx([2.5, 4.0])
    assert back([1.4, 1.0, 0.6], [0.5, 1.5, 4.5], [1.2, 0.8]) == pytest.approx([1.0, 3.0])
    assert back([0.6, 1.4, 1.0], [0, 2, 4], [1.1]) is None


def test_the_highest_near_each_row():
    values = np.array([3.0, 1.0, np.nan, 7.0, 2.0, 2.0, 2.0, 0.0])
    for rows in range(1, 5):
        by_hand = [np.nanmax(values[max(0, at - rows) : at + rows + 1]) for at in range(len(values))]
        assert local.highest_near(values, rows).tolist() == by_hand


def test_a_recording_without_the_channel_is_not_tested():
    columns = columns_of(*steady(20.0, 1.0, 2.0))
    del columns.named[WIRE["name"]]
    assert checked(columns).state is State.NOT_TESTED


@pytest.mark.parametrize(("share", "state"), [(0.75, State.SOUND), (0.65, State.CONTRADICTED)])
def test_without_throttle_and_pressure_a_share_counts_that_no_ground_explains(share, state):
    """Grounds go with the load, and so does lambda: 0.2 V more under load look like a share that is lost. All within
    the limits of single rows."""
    wire_v = np.repeat(np.linspace(0.7, 2.3, 40), 200)
    columns = columns_of(share * (wire_v - 1.4) + 1.485, wire_v)
    columns.throttle = None
    assert checked(columns).state is state


def test_a_break_behind_a_lean_event_does_not_take_it_away():
    """Of the session two thirds are behind the break: what both inputs agreed on stays."""
    good, broken = steady(20.0, 2.0, 2.0), steady(40.0, 0.627 * 2.0, 2.0)
    found = checked(columns_of(*joined(good, broken)))
    assert found.state is State.CONTRADICTED
    ((start_s, end_s),) = found.spans
    assert start_s == pytest.approx(19.75) and end_s >= 60.0
