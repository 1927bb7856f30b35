"""Manifold pressure that is wrong above the surrounding air alone: told by injector time, or said to be untested."""

import copy
from dataclasses import replace

import numpy as np
import pytest
from bench import faults as campaign
from truth import wired
from truth.wired import CLEAN, HOLE, sensor_of, to_volts, wire

from ringpull.analysis.answer import answer
from ringpull.analysis.instruments.records import Cause, Check, State
from ringpull.analysis.judge import verdict
from ringpull.files import configuration
from ringpull.wording import instruments as words
from ringpull.wording import next_steps

AIR_KPA = 101.3
BOOSTED = (1, 4, 12)  # by 110, 114 and 90 kPa; the last for 0.6 s a pull
GENTLE = (13, 21)  # by 59 and 68 kPa, in long pulls
SHALLOW = replace(HOLE, hole_depth=(0.06, 0.06))


def drive(seed, settings, timing):
    made = wire(seed, settings is SHALLOW, 1, replace(settings, timing=timing))
    return copy.deepcopy(made, {id(made.drive): made.drive})


def loses_boost(made, kept=0.5):
    """The hose leaks, or is throttled, with boost alone."""
    true = made.true["map"]
    shown = np.where(true > AIR_KPA, AIR_KPA + kept * (true - AIR_KPA), true)
    made.volts["map"] = to_volts(shown, sensor_of(made, "map"))


def rail_at(made, kpa):
    """Fuel pressure does not follow the manifold: an injector's flow goes with the root of the difference."""
    dead_ms, on_ms = made.drive.truth.engine.injector_dead_ms, made.true["injector"]
    longer = np.sqrt(kpa / (kpa + AIR_KPA - made.true["map"]))
    shown = np.where(on_ms > 0.1, (on_ms - dead_ms) * longer + dead_ms, on_ms)
    made.volts["injector"] = to_volts(shown, sensor_of(made, "injector"))


def answered(made, seed):
    table, states = wired.table(made, np.random.default_rng([8, seed]))
    return answer(
        campaign.ColumnDrive(campaign.ColumnSession(table, states, configuration.of(made.config), made.presses_s))
    )


def pressure_of(found):
    """(the pressure's instrument, its finding of boost)."""
    (one,) = [one for one in found.instruments if one.role == "map"]
    return one, next(finding for finding in one.findings if finding.check is Check.BOOST)


@pytest.mark.parametrize("seed", BOOSTED)
def test_half_of_the_boost_lost_is_told_by_injector_time_and_hides_no_event(seed):
    made = drive(seed, SHALLOW, "injector")
    loses_boost(made)
    found = answered(made, seed)
    pressure, finding = pressure_of(found)
    assert finding.state is State.CONTRADICTED and finding.cause is Cause.BOOST
    assert finding.figures["told"] - AIR_KPA == pytest.approx(2 * (finding.figures["shown"] - AIR_KPA), rel=0.25)
    assert [one.channel for one in found.instruments if one.state is State.CONTRADICTED] == ["map"]
    assert found.verdict == verdict.NOT_ENOUGH
    assert "where injector time and lambda tell of" in str(words.doubt(pressure))
    assert "at steady boost" in words.next_step(pressure)


@pytest.mark.parametrize("rail_kpa", [None, 280.0, 400.0])
@pytest.mark.parametrize("seed", BOOSTED)
def test_a_sound_pressure_is_not_doubted_whether_fuel_pressure_follows_the_manifold_or_not(seed, rail_kpa):
    made = drive(seed, CLEAN, "injector")
    if rail_kpa is not None:
        rail_at(made, rail_kpa)
    found = answered(made, seed)
    pressure, finding = pressure_of(found)
    assert pressure.state is State.SOUND and finding.state is not State.CONTRADICTED
    told = str(words.evidence(pressure))
    if rail_kpa is None:
        assert finding.state is State.SOUND and finding.figures["ratio"] == pytest.approx(1.0, abs=0.04)
        assert "goes with injector time and lambda up to" in told and "nothing in this drive tests it" not in told


@pytest.mark.parametrize("seed", GENTLE)
def test_a_mixture_that_lacks_fuel_with_boost_speaks_against_no_pressure(seed):
    """A weak pump: as lean as if there were a third more air."""
    made = drive(seed, CLEAN, "injector")
    lean = np.where(made.true["map"] > AIR_KPA + 10.0, 1.33, 1.0)
    made.volts["lambda_1"] = to_volts(np.maximum(made.true["lambda_1"] * lean, 0.7), sensor_of(made, "lambda_1"))
    found = answered(made, seed)
    assert pressure_of(found)[1].state is not State.CONTRADICTED and found.verdict == verdict.ATTENTION and found.holes


@pytest.mark.parametrize("timing", ["none", "command"])
def test_without_injector_time_it_is_said_that_nothing_tests_it_and_how_to(timing):
    made = drive(4, CLEAN, timing)
    found = answered(made, 4)
    pressure, finding = pressure_of(found)
    assert pressure.state is State.SOUND and finding.state is State.NOT_TESTED and found.verdict == verdict.NO_EVENT
    told = str(words.evidence(pressure))
    assert "above the pressure of the surrounding air (up to 2" in told
    assert "nothing in this drive tests it: hold a gauge or a second sensor on the same hose" in told
    assert words.as_json(pressure)["evidence"] == told
    steps = [str(one) for one in next_steps.next_steps(found, found.holes)]
    assert sum("at steady boost" in one for one in steps) == 1


def test_an_engine_without_boost_needs_no_word():
    made = drive(0, CLEAN, "injector")
    assert made.drive.truth.engine.boost_kpa == 0
    pressure, finding = pressure_of(answered(made, 0))
    assert finding.state is State.NOT_TESTED and not finding.figures
    assert "nothing in this drive tests it" not in str(words.evidence(pressure))


@pytest.mark.parametrize("seed", GENTLE)
def test_a_lambda_that_is_contradicted_tells_nothing_of_pressure(seed):
    """Far too rich without boost, and right with it: as if there were a third more air."""
    made = drive(seed, CLEAN, "injector")
    true = made.true["lambda_1"]
    shown = np.where((made.true["map"] > AIR_KPA) | (true > 1.1), true, true * 0.75)
    made.volts["lambda_1"] = to_volts(np.maximum(shown, 0.7), sensor_of(made, "lambda_1"))
    found = answered(made, seed)
    assert [one.role for one in found.instruments if one.state is State.CONTRADICTED] == ["lambda"]
    assert pressure_of(found)[1].state is not State.CONTRADICTED
