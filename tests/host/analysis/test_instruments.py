"""Instruments that lie: they are named, and no answer that rests on them is calm. Sound ones are not doubted."""

from __future__ import annotations

import dataclasses
import json
from types import SimpleNamespace

import numpy as np
import pytest
from bench import faults as campaign
from bench.random_drives import columns_of
from truth import faults, wired
from truth.drives import make_drive

from ringpull.analysis.cells import compare, fuelmap
from ringpull.analysis.cells.drive_comparison import Side, of_mixture
from ringpull.analysis.drive_state.columns import from_table
from ringpull.analysis.instruments.examine import examine
from ringpull.analysis.instruments.records import Cause, Check, State
from ringpull.analysis.judge.verdict import NO_EVENT
from ringpull.files import configuration
from ringpull.report import compare_words, map_words
from ringpull.view import reader
from ringpull.wording import instruments as words
from shared_math.channels import column_name

# A few of each kind, each on one drive with a true lean event: (fault, seed)
HIDING = (
    ("lambda 0 V over the hole", 3),
    ("lambda shows 0.1 too rich", 1),
    ("second bank 0 V", 2),
    ("pressure stuck at 20 kPa", 2),
    ("pressure and throttle swapped", 3),
    ("throttle rests at 83 %", 2),
    ("pulses per turn a quarter", 1),
)
MORE_HIDING = (
    ("lambda frozen at 0.98", 1),
    ("lambda frozen from before the hole", 2),
    ("lambda frozen for 1.4 s over the hole", 1),
    ("lambda plug flickers to 0 V", 2),
    ("lambda 2.5 s late", 3),
    ("lambda flat above 0.86", 1),
    ("second bank frozen from before the hole", 3),
    ("one wire for both banks", 1),
    ("pressure stuck at 60 kPa, powered late", 3),
    ("hose off in mid-drive", 1),
    ("gauge for absolute", 2),
    ("pressure in bar", 3),
    ("pressure of another sensor, 20-105", 1),
    ("pressure wire off, 0 V", 2),
    ("throttle stuck open", 1),
    ("throttle turned round", 3),
    ("ground core breaks before the hole, wire measured", 2),
    ("ground core loses a tenth, wire measured", 1),
)
THROUGH_FIRMWARE = (("gauge for absolute", 2),)
MORE_THROUGH_FIRMWARE = (
    ("ground core loose over the hole, wire measured", 3),
    ("lambda frozen from before the hole", 1),
    ("second bank 0 V", 3),
)


def with_slow(often, seldom):
    """Cases of (fault, seed), the latter of the slow tier."""
    cases = [(*one, ()) for one in often] + [(*one, pytest.mark.slow) for one in seldom]
    return [pytest.param(fault, seed, marks=marks, id=f"{fault}, drive {seed}") for fault, seed, marks in cases]


def drive_with(fault: str, seed: int, event: bool):
    """A drive with a fault, as a logger would have decoded it."""
    made = campaign.broken(campaign.by_name(fault), seed, event)
    table, states = wired.table(made, np.random.default_rng([seed, event]))
    return campaign.ColumnDrive(campaign.ColumnSession(table, states, configuration.of(made.config), made.presses_s))


def examined(fault: str, seed: int, event: bool = True):
    """(the instruments of a drive with a fault, by channel; its trust)."""
    trust = drive_with(fault, seed, event).views()[0].trust
    return {one.channel: one for one in trust.instruments}, trust


def against(instrument, check: Check):
    return next(one for one in instrument.against if one.check is check)


@pytest.mark.parametrize(("fault", "seed"), with_slow(HIDING, MORE_HIDING))
def test_a_fault_that_hides_an_event_is_named_and_the_answer_is_not_calm(fault, seed):
    found = campaign.through_columns(campaign.by_name(fault), seed, True)
    assert found.named and not found.others
    assert not found.calm and found.leaner == 0


@pytest.mark.parametrize(("fault", "seed"), with_slow(THROUGH_FIRMWARE, MORE_THROUGH_FIRMWARE))
def test_the_same_through_the_firmware_and_its_file(fault, seed):
    found = campaign.through_firmware(campaign.by_name(fault), seed, True)
    assert found.named and not found.others
    assert not found.calm and found.leaner == 0


@pytest.mark.parametrize("seed", range(3))
def test_sound_instruments_are_not_doubted_from_key_on(seed):
    instruments, trust = examined("no fault", seed, event=bool(seed % 2))
    assert [one for one in instruments.values() if one.state is State.CONTRADICTED] == []
    assert not trust.doubted and not trust.stand_ins
    assert instruments["map"].state is instruments["lambda_1"].state is State.SOUND


@pytest.mark.parametrize("drives", [8, pytest.param(30, marks=pytest.mark.slow)])
def test_sound_instruments_of_random_drives_are_not_doubted(drives):
    doubted = [
        (seed, one.channel)
        for seed in range(drives)
        for one in examine(columns_of(make_drive(seed)))
        if one.state is State.CONTRADICTED
    ]
    assert doubted == []


PLANTED = {
    "gauge for absolute": ("map", Check.AMBIENT, Cause.GAUGE),
    "pressure in bar": ("map", Check.AMBIENT, Cause.UNIT),
    "hose off": ("map", Check.FOLLOWS, Cause.HOSE),
    "pressure of another sensor, 20-400": ("map", Check.AMBIENT, Cause.FIGURES),
    "lambda 0 V over the hole": ("lambda_1", Check.DEAD, Cause.POWER),
    "lambda plug flickers to 5 V": ("lambda_1", Check.STEPS, Cause.LOOSE),
    "throttle rests at 40 %": ("throttle", Check.CLOSES, Cause.REST),
    "pulses per turn four times too many": ("engine_speed", Check.IDLE, Cause.PULSES),
}
OFTEN = ("hose off", "lambda plug flickers to 5 V", "throttle rests at 40 %")


@pytest.mark.parametrize(
    "fault", [pytest.param(fault, marks=() if fault in OFTEN else pytest.mark.slow) for fault in PLANTED]
)
def test_each_contradiction_has_the_cause_that_was_planted(fault):
    channel, check, cause = PLANTED[fault]
    instruments, _ = examined(fault, 1)
    assert against(instruments[channel], check).cause is cause


def test_a_sensor_that_froze_tells_from_when_on():
    made = campaign.broken(campaign.by_name("lambda frozen from before the hole"), 1, True)
    instruments, trust = examined("lambda frozen from before the hole", 1)
    (span,) = against(instruments["lambda_1"], Check.MOVES).spans
    assert made.hole_s[0] - 1.5 < span[0] < made.hole_s[0] - 0.3
    assert span[1] > made.time_s[-1] - 1.0
    frozen = trust.columns.rows(*made.hole_s)
    assert np.isnan(trust.columns.lambda_[frozen]).all()
    assert np.isfinite(trust.columns.lambda_[trust.columns.rows(10.0, span[0] - 1.0)]).any()


def test_a_sensor_that_stands_still_for_a_moment_is_named_with_the_moment():
    instruments, trust = examined("lambda frozen for 1.4 s over the hole", 1)
    finding = against(instruments["lambda_1"], Check.STUCK)
    assert 0.9 < finding.figures["seconds"] < 1.8 and len(finding.spans) == 1
    assert trust.doubted == (instruments["lambda_1"],)  # so that no verdict is calm
    assert "stood still under load for 1." in str(words.evidence(instruments["lambda_1"]))


def test_a_sensor_with_coarse_steps_is_not_said_to_stand_still():
    made = wired.wire(3, False)
    faults.coarse("lambda_1", 0.2)(made, np.random.default_rng(1))
    table, states = wired.table(made, np.random.default_rng(1))
    found = next(
        one for one in examine(from_table(table, configuration.of(made.config), states)) if one.channel == "lambda_1"
    )
    assert [one.state for one in found.findings if one.check is Check.STUCK] == [State.NOT_TESTED]


def test_pressure_stands_in_for_a_throttle_that_is_stuck():
    _, trust = examined("throttle stuck open", 1)
    assert [(one.channel, one.by) for one in trust.stand_ins] == [("throttle", "pressure")]
    assert trust.columns.throttle is None and not trust.doubted
    found = campaign.through_columns(campaign.by_name("throttle stuck open"), 1, True)
    assert found.verdict == "attention"  # the event is found by what stands in
    clean = campaign.through_columns(campaign.by_name("throttle stuck open"), 1, False)
    assert clean.verdict == NO_EVENT


def test_full_throttle_stands_in_for_pressure_without_boost_alone():
    natural = dataclasses.replace(campaign.by_name("pressure stuck at 60 kPa"), boosted=False)
    boosted = dataclasses.replace(natural, boosted=True)
    for fault, enough in ((natural, True), (boosted, False)):
        (seed,) = campaign.drives_for(fault, 1, True)
        _, trust = examined(fault.name, seed)
        assert [(one.channel, one.by) for one in trust.stand_ins] == [("map", "full throttle")]
        assert bool(trust.doubted) is not enough


def test_a_second_bank_that_is_dead_leaves_no_calm_answer_even_without_an_event():
    found = campaign.through_columns(campaign.by_name("second bank 0 V"), 2, False)
    assert found.verdict == "not enough data"


def test_the_ambient_channel_says_what_the_standing_engine_must_show():
    made = wired.wire(1, False)
    table, states = wired.table(made, np.random.default_rng(1))
    config = {**made.config, "channels": [*made.config["channels"]]}
    channel = {"name": "ambient", "input": "a9", "kind": "linear", "unit": "kPa", "volts": [0, 5], "values": [0, 120]}
    config["channels"].append(channel)
    for kpa, state in ((101.0, State.SOUND), (80.0, State.CONTRADICTED)):
        rows = {**table, "ambient_kpa": np.full(len(table["time_s"]), kpa)}
        drive = campaign.ColumnDrive(campaign.ColumnSession(rows, states, configuration.of(config), made.presses_s))
        pressure = next(one for one in drive.views()[0].trust.instruments if one.channel == "map")
        assert next(one for one in pressure.findings if one.check is Check.AMBIENT).state is state


def test_what_is_told_is_json_with_evidence_cause_and_next_step():
    instruments, _ = examined("gauge for absolute", 1)
    told = json.loads(json.dumps(words.as_json(instruments["map"])))
    assert {"channel", "bank", "state", "evidence", "cause", "next"} <= set(told)
    assert told["state"] == "contradicted"
    assert "with the engine stopped" in told["evidence"] and told["cause"] and told["next"]
    assert words.as_json(instruments["throttle"])["cause"] == ""


def test_every_check_and_cause_has_words():
    assert set(words.AGAINST) == set(Check)
    assert set(words.CAUSES) == set(words.NEXT) == set(Cause)
    assert set(words.FOR) <= set(Check)


def test_the_campaign_has_faults_of_every_kind():
    kinds = {one.kind for one in faults.FAULTS}
    assert len(faults.FAULTS) >= 60
    assert {"wiring", "scale", "sensor", "controller", "configuration", "driver", "engine"} <= kinds
    assert len({one.name for one in faults.FAULTS}) == len(faults.FAULTS)


@pytest.mark.parametrize("turned", [False, pytest.param(True, marks=pytest.mark.slow)])
def test_no_comparison_is_better_where_an_instrument_of_either_side_is_contradicted(turned):
    before, after = drive_with("no fault", 1, True), drive_with("lambda shows 0.1 too rich", 1, False)
    if turned:
        before, after = after, before
    compared = of_mixture(Side(before), Side(after))
    assert compared.result.verdict == compare.NOT_ENOUGH and not compared.result.changed
    assert {one.verdict for one in compared.result.bins} == {compare.NOT_ENOUGH}
    assert "is contradicted" in compare_words.of_drives(compared)[0]


def test_a_map_of_a_contradicted_instrument_takes_no_fuel_away():
    """Lambda reads 0.06 too rich, so that every cell looks as if fuel could be taken away."""
    found = fuelmap.of_drive(drive_with("lambda shows 0.06 too rich", 1, False))
    judged = [one for one in found.cells if np.isfinite(one.factor)]
    assert [one for one in judged if one.ratio < 0.97]
    assert all(one.factor >= 1.0 for one in judged)
    assert map_words.sentences(found)[0].startswith("this map reduces fuel nowhere: lambda_1 is contradicted")


def with_channel(made, rows, channel, values):
    """Decoded columns of a wired drive with one more channel: (rows, configuration)."""
    config = {**made.config, "channels": [*made.config["channels"], channel]}
    return {**rows, column_name(channel): values}, config


@pytest.mark.parametrize(("factor", "state"), [(1.0, State.SOUND), (2.0, State.CONTRADICTED)])
def test_two_engine_speeds_must_agree(factor, state):
    made = wired.wire(1, False)
    table, states = wired.table(made, np.random.default_rng(1))
    second = {
        "name": "speed_of_bus",
        "input": "a9",
        "kind": "linear",
        "unit": "rpm",
        "volts": [0, 5],
        "values": [0, 9000],
    }
    rows, config = with_channel(made, table, second, factor * made.rpm)
    crank = next(one for one in examine(from_table(rows, configuration.of(config), states)) if one.role == "rpm")
    assert next(one for one in crank.findings if one.check is Check.AGREES).state is state


@pytest.mark.parametrize(("factor", "state"), [(1.0, State.SOUND), (1.0 / 3.0, State.CONTRADICTED)])
def test_wheel_speed_must_fit_a_configured_gear(factor, state):
    made = wired.wire(1, False)
    table, states = wired.table(made, np.random.default_rng(1))
    wheel = {"name": "wheel_speed", "input": "p1", "kind": "pulses", "per_metre": 20, "max_kmh": 300}
    rows, config = with_channel(made, table, wheel, factor * made.rpm / 60.0)
    config["vehicle"] = {"mass_kg": 1000, "gears": [140.0, 90.0, 60.0, 45.0]}
    shown = next(one for one in examine(from_table(rows, configuration.of(config), states)) if one.role == "wheel")
    (finding,) = shown.findings
    assert finding.check is Check.GEAR and finding.state is state


def test_a_supply_that_no_generator_holds_is_named_and_hides_nothing():
    seed = next(seed for seed in range(20) if wired.wire(seed, False).has("battery"))
    instruments, trust = examined("supply at 9.7 V", seed, event=False)
    assert against(instruments["battery"], Check.SUPPLY).cause is Cause.SUPPLY
    assert not trust.doubted  # no verdict rests on it


def test_fuel_pressure_is_sound_only_where_it_moves():
    made = wired.wire(1, False)
    table, states = wired.table(made, np.random.default_rng(1))
    fuel = {"name": "fuel_pressure", "input": "a3", "kind": "linear", "unit": "kPa"}
    fuel |= {"volts": [0.5, 4.5], "values": [0, 1000]}
    moving = 300.0 + 0.02 * np.nan_to_num(made.rpm)
    gaps = np.where(np.arange(len(made.rpm)) % 400 < 200, np.nan, moving)
    shown = {}
    for name, values in (("moving", moving), ("stuck", np.full_like(moving, 300.0)), ("gaps", gaps)):
        rows, config = with_channel(made, table, fuel, values)
        shown[name] = next(
            one for one in examine(from_table(rows, configuration.of(config), states)) if one.role == "fuel_pressure"
        )
    states_of = {name: one.state for name, one in shown.items()}
    assert states_of == {"moving": State.SOUND, "stuck": State.NOT_TESTED, "gaps": State.CONTRADICTED}
    assert str(words.evidence(shown["moving"])) == "moves with the load"
    assert str(words.evidence(shown["stuck"])) == "nothing in this drive tests it"


def test_the_map_says_where_it_may_show_one_bank_alone():
    words_of = map_words.sentences(fuelmap.of_drive(drive_with("second bank 0 V", 2, False)))
    assert "lambda_2 is contradicted by the drive: cells may show the other bank alone" in [*map(str, words_of)]


def test_the_local_page_names_what_the_drive_contradicts():
    states = {"lambda_1": State.SOUND, "map": State.CONTRADICTED, "throttle": State.NOT_TESTED}
    told = [SimpleNamespace(channel=name, state=state) for name, state in states.items()]
    found = SimpleNamespace(verdict="not enough data", sentence="No pull could be judged.", instruments=told)
    assert "judged; map is contradicted by the drive" in reader.verdict(found)
    found.sentence = "map is contradicted by the drive."
    assert reader.verdict(found) == "not enough data: map is contradicted by the drive."
    found.instruments, found.sentence = told[:1], "No lean event."
    assert reader.verdict(found) == "not enough data: No lean event."
