"""What an instrument hides is told, and nobody says that there is no lean event behind it."""

import dataclasses

import numpy as np
import pytest
from analysis_scenes import CONFIG, Hole, StandInDrive, StandInSession, lagged, rewriting, scene, why
from bench import faults as campaign

from ringpull.analysis.answer import answer
from ringpull.analysis.instruments.records import Instrument
from ringpull.analysis.instruments.trust import Trust
from ringpull.analysis.judge import lamp, sensor, session, verdict
from ringpull.wording import first, next_steps

HOLE = Hole(2, 4500, 4900, 0.08)


def of(made, spoiled=(), warned=()):
    marks = [(a, b, n + 1 in spoiled) for n, (a, b) in enumerate(made.spans)]
    return StandInDrive(StandInSession(made.columns, marks, lean_warnings=warned))


def put(made, values, name="lambda_1"):
    """One sensor's readings, the leaner of all anew."""
    columns = made.columns
    columns.banks[name] = values
    columns.named[name] = values
    columns.lambda_ = np.fmax.reduce(list(columns.banks.values()))
    return made


def at_hole(made):
    """Rows around the hole of pull 2 as the sensor meets it."""
    columns, (start, _) = made.columns, made.spans[1]
    return columns.rows(start + (4500 - 2500) / 700 - 0.1, start + (4900 - 2500) / 700 + 0.4)


def two_banks(**options):
    made = scene(**options)
    columns = made.columns
    with rewriting(columns) as written:
        written["channels"].append({**written["channels"][0], "name": "lambda_2"})
    columns.banks["lambda_2"] = columns.lambda_ + np.random.default_rng(8).normal(0, 0.002, len(columns))
    good = scene(seed=5).columns.lambda_
    return put(made, good, "lambda_1")


@pytest.mark.parametrize("fault", ["dead", *(pytest.param(one, marks=pytest.mark.slow) for one in ("state", "rich"))])
def test_what_hides_a_hole_of_the_second_bank_is_told(fault):
    made = two_banks(hole=HOLE)
    assert answer(StandInDrive(StandInSession2(made))).verdict == verdict.ATTENTION
    second, rows = made.columns.banks["lambda_2"].copy(), at_hole(made)
    if fault == "dead":
        second[:] = 0.60  # 0 V
    else:
        second[rows] = np.nan if fault == "state" else 0.60
    result = answer(StandInDrive(StandInSession2(put(made, second, "lambda_2"))))
    assert result.verdict == verdict.NOT_ENOUGH
    assert any("lambda_2" in words and words.startswith("pull 2: ") for words in why(result))


class StandInSession2(StandInSession):
    """The same with two sensors."""

    def __init__(self, made):
        super().__init__(made.columns, [(a, b, False) for a, b in made.spans])
        self._frame["lambda_2"] = made.columns.banks["lambda_2"]


def test_rich_saturation_that_hides_a_hole_is_told_with_its_speeds():
    made = scene(hole=HOLE)
    values = made.columns.lambda_.copy()
    values[at_hole(made)] = 0.60  # the controller drops to 0 V
    result = answer(of(put(made, values)))
    assert result.verdict == verdict.NOT_ENOUGH
    (told,) = [words for words in why(result) if "a lean event there would not show" in words]
    assert told.startswith("pull 2: ") and "rpm could not be judged" in told
    stretch = result.pulls[1].hidden[0]
    assert stretch.rpm_from < 4500 and stretch.rpm_to > 4900
    assert result.as_json()["pulls"][1]["hidden"][0]["mask"] in ("saturation", "electrical")


def test_claims_are_of_judged_rows_alone():
    made = scene()
    values, columns = made.columns.lambda_.copy(), made.columns
    for start, _ in made.spans:
        values[columns.rows(start, start + 2.0)] = np.nan  # up to 3900 rpm nothing is known
    result = answer(of(put(made, values)))
    assert all(p.rpm_from > 3800 for p in result.pulls)
    span = next(words for words in why(result) if "judged over" in words)
    assert float(span.split(" s, ")[1].split("-")[0]) > 3800


def test_a_hole_at_spool_up_in_all_pulls_is_called():
    made = scene()
    columns, values = made.columns, made.columns.lambda_.copy()
    for start, _ in made.spans:
        values[columns.rows(start + 0.25, start + 0.75)] += 0.12
    result = answer(of(put(made, values)))
    assert result.verdict == verdict.ATTENTION
    assert any("lean during spool-up by" in words and "in 3 of 3 pulls" in words for words in why(result))


@pytest.mark.parametrize(("depth", "word"), [(0.07, verdict.NOT_ENOUGH), (0.11, verdict.ATTENTION)])
def test_lean_at_spool_up_in_one_pull_of_three_is_not_passed_over(depth, word):
    made = scene()
    columns, start = made.columns, made.spans[0][0]
    lean = np.zeros(len(columns))
    lean[columns.rows(start + 0.3, start + 0.6)] = depth
    result = answer(of(put(made, columns.lambda_ + lagged(lean, made.tau_s, columns.period_s))))
    assert result.verdict == word
    told = "not enough data for this part" if word == verdict.NOT_ENOUGH else "in 1 of 3 pulls"
    assert any(words.startswith("pull 1: lean during spool-up") and told in words for words in why(result))


def test_lean_in_a_pull_too_short_to_be_judged_is_not_passed_over():
    """A quick car's pull of 1.1 s, lean from 0.5 to 0.8 s after it opened: only 0.4 s of it are judged."""
    good, quick = scene(), scene(pulls=1, rate_rpm_s=3900.0, hole=Hole(1, 4450, 5620, 0.10), seed=5)
    marks = [[(a, b, False) for a, b in made.spans] for made in (good, quick)]
    drive = StandInDrive(StandInSession(good.columns, marks[0]), StandInSession(quick.columns, marks[1], session_id=2))
    result = answer(drive)
    assert result.pulls[-1].judged_s < verdict.LEAST_JUDGED_S and not result.pulls[-1].lean_events
    assert result.verdict != verdict.NO_EVENT
    assert any(words.startswith("pull 4: ") and "lean" in words for words in why(result))


@pytest.mark.parametrize("seed", [0, *(pytest.param(seed, marks=pytest.mark.slow) for seed in (1, 2, 3))])
def test_good_pulls_are_good_at_spool_up(seed):
    result = answer(of(scene(seed=seed)))
    assert result.verdict == verdict.NO_EVENT
    assert all(p.spool.excess is not None and not p.spool.lean for p in result.pulls)


def test_spikes_are_no_lean_events_and_are_counted():
    made = scene()
    columns, values = made.columns, made.columns.lambda_.copy()
    for start, end in made.spans:
        for at in np.arange(start + 1.5, end - 0.5, 0.7):
            values[columns.rows(at, at + 0.03)] = 1.40
    result = answer(of(put(made, values)))
    assert not any(p.lean_events for p in result.pulls)
    assert any("steps faster than its lag allows" in words and "check the wiring" in words for words in why(result))
    assert result.left_out["electrical"] > 1.0


@pytest.mark.parametrize("seed", [6006, 6014, *(pytest.param(seed, marks=pytest.mark.slow) for seed in (6011, 6013))])
def test_spikes_soon_after_a_fuel_cut_are_none_either(seed):
    """There lambda may rise as fast, but not fall: seconds in which spikes passed for a lean spool-up."""
    assert campaign.run("spikes to 5 V", seed, False, False).verdict != verdict.ATTENTION


def test_what_lies_between_two_spikes_is_judged():
    made = scene(hole=Hole(1, 4600, 4900, 0.1))
    columns, values = made.columns, made.columns.lambda_.copy()
    start, _ = made.spans[0]
    for at in (start + 2.4, start + 4.2):  # the hole lies from 3.0 s on
        values[columns.rows(at, at + 0.03)] = 1.40
    result = answer(of(put(made, values)))
    assert result.verdict == verdict.ATTENTION and result.pulls[0].lean_events


def test_a_loose_plug_that_flickers_makes_no_event_and_is_named():
    made = scene()
    columns, values = made.columns, made.columns.lambda_.copy()
    start, _ = made.spans[1]
    for at in np.arange(start + 2.0, start + 4.0, 0.2):
        off = columns.rows(at, at + 0.1)
        values[off] = np.nan
        values[off.start - 1], values[off.stop] = 1.2, 1.35  # rows on the state's edges
    result = answer(of(put(made, values)))
    assert not any(p.lean_events for p in result.pulls) and result.verdict == verdict.NOT_ENOUGH
    assert any("its controller changed to a state 10 times" in words for words in why(result))


def test_the_end_of_a_warm_up_is_no_electrical_event():
    made = scene()
    columns, values = made.columns, made.columns.lambda_.copy()
    heating = columns.rows(made.spans[0][0] + 1.0, made.spans[0][0] + 2.0)
    values[heating] = np.nan  # its controller's state
    values[heating.stop] = 1.35  # a reading on the way out of it
    put(made, values)
    assert sensor.too_fast(columns, sensor.FAST_SHARE * 0.08, 16)[0] == 1 and sensor.output(columns).steps == 0


@pytest.mark.parametrize("depth", [*(pytest.param(depth, marks=pytest.mark.slow) for depth in (0.05, 0.15)), 0.3])
def test_a_real_hole_is_no_electrical_event(depth):
    made = scene(hole=Hole(2, 4500, 4900, depth))
    steps, _ = sensor.too_fast(made.columns, sensor.FAST_SHARE * 0.08, 16)
    assert steps == 0 and answer(of(made)).verdict == verdict.ATTENTION


def test_an_output_cut_off_below_its_rail_makes_depth_a_bound():
    made = scene(pulls=2, hole=Hole(1, 4200, 5600, 0.7))
    event = answer(of(put(made, np.minimum(made.columns.lambda_, 1.2)))).pulls[0].lean_events[0]
    assert event.bound
    assert not answer(of(scene(pulls=2, hole=Hole(1, 4200, 5600, 0.3)))).pulls[0].lean_events[0].bound


def test_the_lamps_word_is_held_against_the_answer():
    made = scene(hole=HOLE)
    start = made.spans[1][0]
    at_s = start + (4700 - 2500) / 700
    (warned,) = answer(of(made, warned=[(at_s + 0.5, at_s + 2.0)])).warned
    assert (warned.pull, warned.came_to) == (2, lamp.EVENT)
    good = scene()
    result = answer(of(good, warned=[(at_s + 0.5, at_s + 2.0)]))
    assert result.warned[0].came_to == lamp.JUDGED and result.verdict == verdict.NO_EVENT
    assert any("after correction for delay and lag" in words for words in why(result))
    between = (made.spans[1][1] + 4.0, made.spans[1][1] + 5.5)
    beside = answer(of(good, warned=[between]))
    assert beside.verdict == verdict.ATTENTION
    assert str(beside.sentence).startswith("No lean event found in 3 pulls, ")
    assert str(beside.sentence).endswith("; but the logger's lamp warned of lean mixture at part load.")
    assert any("at part load (at most 26 kPa, throttle at most 0 %)" in words for words in why(beside))
    assert beside.as_json()["lean_warnings"][0]["came_to"] == "part load"
    for channel in (good.columns.map_kpa, good.columns.throttle):
        channel[good.columns.rows(*between)] = np.nan
    unknown = answer(of(good, warned=[between]))
    assert unknown.verdict == verdict.ATTENTION and "believe the lamp" in str(unknown.sentence)
    assert unknown.as_json()["lean_warnings"][0]["came_to"] == "unjudged"


@pytest.mark.parametrize("with_throttle", [True, False])
def test_a_warning_by_a_contradicted_pressure_names_the_pressure_first(with_throttle):
    made = scene()
    columns = made.columns
    columns.map_kpa[:] = 100.0 + np.random.default_rng(3).normal(0.0, 0.3, len(columns))  # the hose is off
    if not with_throttle:
        columns.throttle = None
        del columns.named["throttle"]
        with rewriting(columns) as written:
            written["channels"] = [one for one in written["channels"] if one["name"] != "throttle"]
    at_s = made.spans[1][1] + 4.0
    result = answer(of(made, warned=[(at_s, at_s + 1.5)]))
    assert result.verdict == verdict.ATTENTION and result.warned[0].rests_on == ("map",)
    assert str(result.sentence).startswith("Map is contradicted by the drive; ")
    assert str(result.sentence).endswith("its word rests on map.")
    steps = [str(one) for one in next_steps.next_steps(result, result.holes)]
    assert steps[0].startswith("Map: check the hose") and "lamp's word rests on map: mend that first" in steps[1]
    every = [*steps, *(str(one) for one in first.lines(result))]
    assert not any("believe the lamp" in one and "mend that first" not in one for one in every)
    assert any("warned of lean mixture" in one and "rests on map, which the drive contradicts" in one for one in every)


def test_what_was_seen_lean_is_said_before_a_contradicted_pressure():
    made = scene(hole=Hole(2, 4500, 4900, 0.2))
    made.columns.map_kpa[:] = 100.0 + np.random.default_rng(3).normal(0.0, 0.3, len(made.columns))
    at_s = made.spans[1][1] + 4.0
    found = answer(of(made, warned=[(at_s, at_s + 1.5)]))
    assert found.holes and not str(found.sentence).startswith("Map is")


@pytest.mark.parametrize(("target", "rests_on"), [(CONFIG["target"], ("map",)), ({"lambda": 0.85}, ())])
def test_the_lamps_word_rests_only_on_what_it_compares(target, rests_on):
    made = scene()
    made.columns.config = made.columns.config.judged_by(target)
    doubted = tuple(Instrument(name, role, None, ()) for name, role in (("engine_speed", "rpm"), ("map", "map")))
    judged = dataclasses.replace(session.prepare(made.columns), trust=Trust(made.columns, doubted=doubted))
    assert lamp.held_against(judged, 1, (made.spans[1][1] + 4.0, made.spans[1][1] + 5.5), []).rests_on == rests_on


def test_a_warning_in_a_spoiled_pull_leaves_no_calm():
    made = scene()
    at_s = made.spans[1][0] + 3.0
    result = answer(of(made, spoiled={2}, warned=[(at_s, at_s + 1.5)]))
    assert result.verdict == verdict.ATTENTION


def test_each_session_has_its_own_alignment_and_uncertainty():
    first, second = scene(pulls=2, tau_s=0.06), scene(pulls=2, hole=Hole(1, 4500, 4900, 0.1), seed=4)
    with rewriting(first.columns) as written:
        written["channels"][0]["tau_ms"] = 60
    with rewriting(second.columns) as written:
        written["channels"][0]["accuracy"] = 0.05
    drive = StandInDrive(
        *(
            StandInSession(made.columns, [(a, b, False) for a, b in made.spans], session_id=at + 1)
            for at, made in enumerate((first, second))
        )
    )
    result = answer(drive)
    own = {key: session.prepare(made.columns) for key, made in ((1, first), (2, second))}
    for key, ready in own.items():
        told = result.sessions[key]
        assert told["alignment"]["tau_s"] == pytest.approx(ready.aligned.model.tau_s, abs=1e-4)
        assert told["uncertainty"]["systematic_95"] == pytest.approx(1.96 * ready.budget.systematic, abs=1e-4)
    assert result.alignment == result.sessions[1]["alignment"]
    assert result.uncertainty == result.sessions[1]["uncertainty"]
    assert result.sessions[1]["uncertainty"] != result.sessions[2]["uncertainty"]
