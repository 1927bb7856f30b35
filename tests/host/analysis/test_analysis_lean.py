"""Lean events, verdict and answer on drives with a known truth."""

import json
import re
from dataclasses import replace
from types import SimpleNamespace

import numpy as np
import pytest
from analysis_scenes import CONFIG, Hole, StandInDrive, StandInSession, assumed, rewriting, said_hints, scene, why

from ringpull.analysis.answer import absent, answer
from ringpull.analysis.cells import fuelmap
from ringpull.analysis.cells.passes import SessionPulls
from ringpull.analysis.judge import lean_events, needs, session, stretches, verdict
from ringpull.wording import needs as needs_words
from ringpull.wording.reasons import reason


def drive_of(made, spoiled=()):
    marks = [(a, b, n + 1 in spoiled) for n, (a, b) in enumerate(made.spans)]
    return StandInDrive(StandInSession(made.columns, marks))


@pytest.mark.parametrize("depth", [0.05, 0.08])
def test_one_hole_is_found_once_with_its_depth_and_speeds(depth):
    made = scene(hole=Hole(2, 4500, 4900, depth))
    result = answer(drive_of(made))
    assert result.verdict == verdict.ATTENTION
    assert [len(p.lean_events) for p in result.pulls] == [0, 1, 0]
    event = result.pulls[1].lean_events[0]
    assert event.depth == pytest.approx(depth, abs=event.depth_u)
    assert event.rpm_from == pytest.approx(4500, abs=60) and event.rpm_to == pytest.approx(4900, abs=60)
    assert event.length_s == pytest.approx(400 / 700, abs=0.12)
    assert event.exposure_s == pytest.approx(depth * 400 / 700, rel=0.15)


def test_a_load_is_said_with_its_unit():
    made = scene(hole=Hole(2, 4500, 4900, 0.08))
    assert " rpm at 175 kPa: lambda " in why(answer(drive_of(made)))[0]
    with rewriting(made.columns) as written:
        written["target"] = {"load": "throttle", "load_pct": [20, 60, 100], "lambda": [1.0, 0.9, 0.79]}
    result = answer(drive_of(made))
    assert " rpm at 100 %: lambda " in why(result)[0]
    assert result.as_json()["pulls"][1]["lean_events"][0]["load_unit"] == "%"


def test_good_mixture_is_no_event_and_never_called_more_than_that():
    result = answer(drive_of(scene()))
    assert result.verdict == verdict.NO_EVENT
    text = json.dumps(result.as_json()).lower()
    assert "safe" not in text and "nan" not in text.replace("nano", "")
    assert any("3 pulls judged" in r for r in why(result))


def test_excess_below_what_is_called_stays_no_event():
    for seed in range(5):
        made = scene(hole=Hole(2, 4500, 5200, 0.02), seed=seed)
        assert not any(p.lean_events for p in answer(drive_of(made)).pulls)


def test_spoiled_pull_is_shown_and_not_judged():
    made = scene(hole=Hole(2, 4500, 4900, 0.08))
    result = answer(drive_of(made, spoiled={2}))
    assert result.verdict == verdict.ATTENTION and why(result)[0].startswith("pull 2 is flagged spoiled, yet 4500-")
    assert answer(drive_of(made, spoiled={1})).verdict == verdict.ATTENTION
    assert answer(drive_of(scene(), spoiled={2})).verdict == verdict.NO_EVENT
    assert result.pulls[1].lean_events == [] and result.pulls[1].numbers.lambda_mean == pytest.approx(0.82, abs=0.02)
    assert any("spoiled" in r for r in why(result))


def test_saturated_lean_is_an_event_and_a_bound():
    made = scene(pulls=1, hole=Hole(1, 4500, 4900, 0.9))
    made.columns.lambda_[:] = np.minimum(made.columns.lambda_, 1.40)
    result = answer(drive_of(made))
    event = result.pulls[0].lean_events[0]
    assert event.bound and event.depth > 0.4
    assert "at least" in why(result)[0]


def test_too_little_is_not_enough_data():
    made = scene(pulls=1)
    made.columns.lambda_[:] = np.nan
    result = answer(drive_of(made))
    assert result.verdict == verdict.NOT_ENOUGH and "lambda" in why(result)[0]
    assert answer(StandInDrive()).verdict == verdict.NOT_ENOUGH


def test_lambda_and_tach_alone():
    made = scene(hole=Hole(2, 4500, 4900, 0.08))
    columns = made.columns
    columns.map_kpa = columns.throttle = None
    columns.named.pop("map"), columns.named.pop("throttle")
    columns.config = columns.config.judged_by({"lambda": 0.81})
    result = answer(drive_of(made))
    assert [len(p.lean_events) for p in result.pulls] == [0, 1, 0]
    said = " ".join(assumed(result))
    assert "engine speed rising" in said and "without manifold pressure" in said and "target is one number" in said
    assert "target is one number" not in " ".join(assumed(answer(drive_of(scene()))))


def test_a_target_over_a_load_that_is_not_logged_is_said():
    made = scene()
    columns = made.columns
    columns.map_kpa = columns.throttle = None
    columns.named.pop("map"), columns.named.pop("throttle")
    result = answer(drive_of(made))
    assert result.verdict == verdict.NOT_ENOUGH and "a target of one number" in " ".join(why(result))
    assert result.left_out["no_target"] > 10.0 and "no_target" in result.as_json()["rules"]
    made_map = fuelmap.fuelmap([SessionPulls(session.prepare(columns, identified=False), [(1, *made.spans[0])])])
    assert made_map.cells == () and made_map.missing is fuelmap.NoMap.NO_LOAD


def test_left_out_names_tip_in_and_overrun():
    made = scene(pulls=2)
    ready = session.prepare(made.columns)
    numbers = session.judge_span(ready, made.spans[0][0] - 1.0, made.spans[0][1] + 2.0)
    assert numbers.left_out["tip_in"] == pytest.approx(0.85, abs=0.15)
    assert numbers.left_out["overrun_cut"] == pytest.approx(2.0, abs=0.1)
    assert set(numbers.left_out) <= set(ready.masks.by_name)


@pytest.mark.parametrize("by", ["throttle", "pressure"])
def test_overrun_counts_for_half_a_second_after_it_ends(by):
    """Throttle closed, or 30 kPa, from 3.0 to 4.0 s while the engine turns at 2500 rpm: left out from 3.0 to 4.5 s."""
    columns = scene(pulls=1).columns
    shut = columns.rows(3.0, 4.0)
    if by == "throttle":
        columns.throttle[shut] = 0.0
    else:
        columns.throttle, columns.map_kpa[shut] = None, 30.0
    cut = session.prepare(columns, identified=False).masks.by_name["overrun_cut"]
    found = columns.time_s[cut & (columns.time_s < 6.0)]
    assert found.tolist() == columns.time_s[columns.rows(3.0, 4.5)].tolist()


def test_tach_loss_and_controller_state_are_masked_with_the_gas_they_belong_to():
    made = scene(pulls=1)
    rows = made.columns.rows(8.0, 8.5)
    made.columns.rpm[rows] = np.nan
    made.columns.lambda_[made.columns.rows(10.0, 10.4)] = np.nan
    ready = session.prepare(made.columns)
    assert ready.masks.by_name["tach_loss"][rows].all()
    lost = made.columns.time_s[ready.masks.by_name["controller_state"] & (made.columns.time_s > 6)]
    lost = lost[lost < 11.5]
    # the gas that arrived at 10.0 s was injected about 60 ms before; and the lag of 80 ms on either side
    assert lost.min() == pytest.approx(9.85, abs=0.04) and lost.max() == pytest.approx(10.43, abs=0.04)


def test_chance_of_noise_matches_many_draws():
    random = np.random.default_rng(3)
    most = random.normal(0.0, 0.004, (20_000, 25)).max(axis=1)
    for depth in (0.008, 0.010, 0.012):
        assert lean_events.chance_of_noise(depth, 0.004, 25) == pytest.approx(np.mean(most > depth), rel=0.12)


def test_needs_table_covers_every_answer_and_names_what_is_missing():
    made = scene(pulls=1)
    must, words = needs.missing(made.columns, "fuel map")
    assert must == [] and words == ["trim"]
    must, _ = needs.missing(made.columns, "power and torque at the wheels")
    assert must == ["mass"]
    assert len(needs_words.table()) == len(needs.NEEDS)


def test_json_has_the_shape_that_other_programs_read():
    made = scene(hole=Hole(2, 4500, 4900, 0.08), config=CONFIG)
    out = answer(drive_of(made)).as_json()
    assert {"verdict", "reasons", "pulls", "alignment", "left_out"} <= set(out)
    assert {"delay_s_at", "tau_s", "tau_u", "source"} <= set(out["alignment"])
    pull = out["pulls"][1]
    wanted = (
        "number session start_s end_s source spoiled rpm_from rpm_to lambda_mean lambda_max lambda_min load_max".split()
    )
    assert set(wanted) <= set(pull)
    assert {"start_s", "end_s", "rpm_from", "rpm_to", "depth", "depth_u", "exposure_s"} <= set(pull["lean_events"][0])
    json.loads(json.dumps(out, allow_nan=False))


def test_another_target_is_judged_by():
    made = scene()
    drive = drive_of(made)
    assert answer(drive).verdict == verdict.NO_EVENT
    richer = {"load": "map", "load_kpa": [40, 100, 200], "lambda": [1.0, 0.80, 0.70]}
    result = answer(drive, richer)
    assert result.verdict == verdict.ATTENTION and all(p.lean_events for p in result.pulls)


def test_repeatability_and_banks_are_part_of_the_answer():
    made = scene()
    out = answer(drive_of(made)).as_json()
    assert out["repeat"]["pulls"] == 3 and out["banks"] == []
    assert out["alignment"]["estimate_s_at"] is None or out["alignment"]["kind"] == "transport"


def test_the_largest_of_several_windows_is_not_taken_for_the_depth():
    # a flat event of four windows in noise: the largest window alone is 1.03 standard deviations too high (the mean of
    # the largest of four normal values, statistical tables)
    assert lean_events.expected_largest(1.0) == pytest.approx(0.0, abs=1e-12)
    assert lean_events.expected_largest(4.0) == pytest.approx(1.029, abs=0.03)
    random = np.random.default_rng(12)
    rows, period_s, u = 1200, 0.005, 0.005
    depths, inside = [], []
    for _ in range(200):
        noise = np.repeat(random.normal(0.0, u, rows // 40), 40)  # of whole windows
        excess = noise + np.where((np.arange(rows) >= 400) & (np.arange(rows) < 560), 0.08, 0.0)
        time_s = np.arange(rows) * period_s
        bound, rpm = np.zeros(rows, bool), np.linspace(3000.0, 6000.0, rows)
        of_pull = lean_events.Rows(time_s, excess, rpm, None, bound)
        (event,) = lean_events.events(of_pull, lean_events.Doubt(u, 0.01, np.full(rows, 0.005)))
        depths.append(event.depth)
        inside.append(abs(event.depth - 0.08) <= event.depth_u)
    assert np.mean(depths) == pytest.approx(0.08, abs=0.0015)
    assert np.mean(inside) >= 0.93


def one_event(excess, random_u=0.002, systematic_u=0.012, delay_u_s=0.0):
    """The only event of a column of excess at 200 rows a second from 0 s."""
    rows = len(excess)
    time_s, rpm, bound = np.arange(rows) / 200, np.linspace(3000.0, 6000.0, rows), np.zeros(rows, bool)
    of_pull = lean_events.Rows(time_s, excess, rpm, None, bound)
    doubt = lean_events.Doubt(random_u, systematic_u, np.full(rows, delay_u_s))
    (event,) = lean_events.events(of_pull, doubt)
    return event


def test_an_event_lasts_from_its_first_row_to_the_end_of_its_last():
    # 200 judged rows of 5 ms: from 1 to 2 s, not to the last row's own instant
    event = one_event(np.where((np.arange(600) >= 200) & (np.arange(600) < 400), 0.1, np.nan))
    assert (event.start_s, event.end_s, event.length_s) == (1.0, pytest.approx(2.0), pytest.approx(1.0))
    assert event.exposure_s == pytest.approx(0.1)
    # between judged rows the mean over 51 rows passes 0.033 with 17 rows of 0.1: 9 rows early, and 9 rows late
    event = one_event(np.where((np.arange(600) >= 200) & (np.arange(600) < 400), 0.1, 0.0))
    assert (event.start_s, event.end_s) == (pytest.approx(0.955), pytest.approx(2.045))


def test_each_term_of_a_depths_interval():
    """0.08 from 1.4 to 2.2 s, with flanks of 0.2 a second on either side.

    By the delay's 30 ms the flank moves 0.2 x 0.03 / 2 = 0.003. Within 2 x 0.004 of the top the mean over 0.25 s stands
    for 0.833 s (0.08 less 0.4 x squared, x up to 0.1414 s into the flank's window): 3.33 windows, of which the
    largest is 0.936 deviations high (Blom), 0.00374. So the depth is 0.08 - 0.00374, and its half-width
    1.96 sqrt(0.004^2 + 0.003^2 + 0.00374^2 / 4) = 0.01047.
    """
    excess = np.interp(np.arange(800) / 200, [1.0, 1.4, 2.2, 2.6], [0.0, 0.08, 0.08, 0.0])
    event = one_event(excess, random_u=0.004, delay_u_s=0.03)
    assert event.depth == pytest.approx(0.07626, abs=1e-4)
    assert event.depth_u == pytest.approx(0.01047, rel=0.005)
    assert event.systematic_u == pytest.approx(1.96 * 0.012)
    # without a doubt of the delay: 1.96 sqrt(0.004^2 + 0.00374^2 / 4)
    assert one_event(excess, random_u=0.004).depth_u == pytest.approx(0.00866, rel=0.005)


def test_noise_has_a_chance_in_each_bank():
    event = one_event(np.where(np.arange(600) < 200, 0.1, np.nan))
    # of two banks 1 - 0.99^2, of three 1 - 0.99^3
    for banks, chance in ((1, 0.01), (2, 0.0199), (3, 0.029701)):
        of_banks = {f"lambda_{n}": [replace(event, chance=0.01)] if n == 0 else [] for n in range(banks)}
        (told,) = lean_events.leaner(of_banks)
        assert told.chance == pytest.approx(chance, rel=1e-9)


def test_a_lean_event_counts_however_short_its_pull():
    quick = scene(pulls=1, rate_rpm_s=3200.0, hole=Hole(1, 5300, 6700, 0.15), seed=5)
    marks = [(a, b, False) for a, b in quick.spans]
    drive = StandInDrive(
        StandInSession(scene(pulls=1).columns, marks[:0]), StandInSession(quick.columns, marks, session_id=2)
    )
    result = answer(drive)
    assert result.pulls[-1].judged_s < verdict.LEAST_JUDGED_S and result.pulls[-1].lean_events
    assert result.verdict == verdict.ATTENTION and re.match(r"pull 2: 5\d00-6\d\d0 rpm .* 1\d % lean", why(result)[0])


def test_a_session_without_lambda_does_not_hide_the_others():
    blind, lean_one = scene(pulls=1), scene(pulls=2, hole=Hole(1, 4500, 4900, 0.08), seed=2)
    blind.columns.lambda_[:] = np.nan
    sessions = [
        StandInSession(made.columns, [(a, b, False) for a, b in made.spans], session_id=at + 1)
        for at, made in enumerate((blind, lean_one))
    ]
    result = answer(StandInDrive(*sessions))
    assert result.verdict == verdict.ATTENTION and [len(p.lean_events) for p in result.pulls] == [0, 1, 0]
    assert any(r.startswith("pull 1: not logged, or never valid") and "lambda" in r for r in why(result))
    assert result.alignment["delay_s_at"]


def test_a_pull_judged_in_pieces_has_no_mean_and_says_so():
    made = scene(pulls=1)
    made.columns.rpm[(np.arange(len(made.columns)) // 8) % 4 != 0] = np.nan
    result = answer(drive_of(made))
    assert result.verdict == verdict.NOT_ENOUGH and any("pieces too short" in said for said in why(result))


def test_an_excess_in_pieces_is_not_called_within_the_systematic_error():
    pull = SimpleNamespace(
        number=1,
        hidden=(),
        spool=None,
        beyond_target=(),
        excess_at_rpm=4400.0,
        spoiled=False,
        judged_s=4.0,
        excess_max=0.3,
        lean_events=[],
        rpm_from=2500.0,
        rpm_to=6500.0,
        blind=[],
    )
    word, reasons = verdict.decide([pull], [], 0.01, 0.033)
    said = " ".join(map(reason, reasons))
    assert word == verdict.NOT_ENOUGH and "but too short" in said and "near 4400 rpm" in said
    assert "systematic" not in said


def test_a_throttle_that_never_shows_zero_is_closed_where_it_rests():
    made = scene(pulls=2)
    columns = made.columns
    columns.throttle[:] = 8.0 + 0.92 * columns.throttle
    columns.rpm[: 4 * 200], columns.throttle[: 4 * 200] = 900.0, 8.0  # it idled first
    cut = session.prepare(columns, identified=False).masks.by_name["overrun_cut"]
    start = made.spans[0][1]
    assert cut[columns.rows(start + 0.1, start + 5.0)].all() and not cut[columns.rows(4.5, 6.0)].any()


def test_a_drive_without_any_load_has_none():
    made = scene(pulls=1)
    columns = made.columns
    columns.throttle[:], columns.map_kpa[:] = 0.3 * columns.throttle, 30.0 + 0.15 * columns.map_kpa
    assert not session.prepare(columns, identified=False).loaded.any()
    columns.throttle = None
    assert not session.prepare(columns, identified=False).loaded.any()
    assert "no pull was marked and none was found" in why(answer(StandInDrive(StandInSession(columns))))


@pytest.mark.parametrize("rate_hz", [1, 2, 1000])
def test_any_rate_of_the_configuration_gives_an_answer(rate_hz):
    made = scene(pulls=2, hole=Hole(2, 4000, 6000, 0.1))
    step = max(1, 200 // rate_hz)
    columns = made.columns.part(0.0, 1e9) if step > 1 else made.columns
    columns.config = replace(columns.config, rate_hz=rate_hz)
    if step > 1:
        for name in ("time_s", "lambda_", "rpm", "map_kpa", "throttle"):
            setattr(columns, name, getattr(columns, name)[::step])
        columns.banks = {"lambda_1": columns.lambda_}
        columns.named = {k: v[::step] for k, v in columns.named.items()}
    else:
        columns.time_s = np.arange(len(columns)) / rate_hz
    assert answer(drive_of(made) if step == 1 else StandInDrive(StandInSession(columns))).verdict


def test_a_throttle_that_never_opens_leaves_the_load_to_pressure():
    made = scene(hole=Hole(2, 4500, 4900, 0.08))
    made.columns.throttle[:] = 0.0
    result = answer(drive_of(made))
    assert [len(p.lean_events) for p in result.pulls] == [0, 1, 0]
    assert any("under load: manifold pressure at least 85 kPa" in said for said in assumed(result))


def test_why_little_was_judged_is_said():
    made = scene(pulls=2)
    made.columns.lambda_[:] = 0.60  # the rich end of the sensor's range
    most = "most of it was left out: sensor at an end of its range"
    assert sum(most in words for words in why(answer(drive_of(made)))) == 2
    made = scene(pulls=1)
    made.columns.throttle[:] = 0.3 * made.columns.throttle
    made.columns.map_kpa[:] = 30.0 + 0.15 * made.columns.map_kpa
    assert "under load for only 0.0 s" in why(answer(drive_of(made)))[-1]


def test_a_pull_whose_rows_are_lost_says_so():
    made = scene(pulls=2)
    columns, (start_s, end_s) = made.columns, made.spans[1]
    gone = columns.rows(start_s + 0.2, end_s - 0.2)
    columns.extra["present"] = np.ones(len(columns))
    columns.extra["present"][gone] = 0.0
    for array in (columns.lambda_, columns.rpm, columns.map_kpa, columns.throttle):
        array[gone] = np.nan
    numbers = session.judge_span(session.prepare(columns, identified=False), start_s, end_s)
    pull = SimpleNamespace(number=2, spoiled=False, **vars(numbers))
    (said,) = verdict.decide([pull], [], 0.01, 0.033)[1]
    assert f"the rows of {end_s - start_s - 0.4:.1f} s were lost" in reason(said)


def test_a_sensor_in_air_is_a_possibility():
    def said(made):
        every = [e for p in answer(drive_of(made)).pulls for e in p.lean_events]
        return [words for e in every for words in said_hints(e.hints) if "in free air" in words]

    assert said(scene(hole=Hole(2, 4500, 4900, 0.9))) == []
    made = scene(pulls=1)
    made.columns.lambda_[:] = 1.40
    assert len(said(made)) == 1


def test_what_cannot_be_named_for_want_of_a_channel_is_said_with_a_lean_event():
    said = assumed(answer(drive_of(scene(hole=Hole(2, 4500, 4900, 0.08)))))
    assert any("fuel pressure is not logged, or has no value, so a weak pump" in line for line in said)
    assert any(
        line.startswith("without injector time or commanded lambda, the delay is counted from the throttle")
        for line in said
    )
    assert not any("weak pump" in line for line in assumed(answer(drive_of(scene()))))


def test_a_sensor_that_was_heating_all_along_is_said():
    made = scene(pulls=2)
    columns = made.columns
    columns.lambda_[:] = np.nan
    columns.states = {("lambda_1", "warming up"): np.ones(len(columns), bool)}
    said = absent(session.prepare(columns))
    assert said == [needs.LAMBDA_HEATING] and "was heating" in needs_words.lacking(said)


def test_what_is_missing_is_named_as_people_name_it():
    made = scene(pulls=2)
    made.columns.rpm[:] = np.nan
    made.columns.named["engine_speed"] = made.columns.rpm
    assert why(answer(drive_of(made))) == ["not logged, or never valid: engine speed"]


def test_rows_that_were_lost_are_left_out_as_such_and_as_nothing_else():
    made = scene(pulls=1)
    start, end = made.spans[0]
    time_s = made.columns.time_s
    drop = (time_s > start + 2.0) & (time_s < start + 2.5)
    drive = StandInDrive(StandInSession(made.columns, [(start, end, False)], drop=drop))
    found = answer(drive)
    left = found.left_out
    assert 0.5 <= left["not_recorded"] <= 0.9
    assert not left.keys() & {"controller_state", "tach_loss", "no_target"}
    assert sum("(not recorded): a lean event there would not show" in words for words in why(found)) == 1


def test_a_hole_that_tach_loss_hides_is_not_passed_over_in_silence():
    def told(blind, seconds):
        made = scene(hole=Hole(2, 4000, 5000, 0.08))
        start, _ = made.spans[1]
        blind(made.columns, made.columns.rows(start + 2.0, start + 2.0 + seconds))
        result = answer(drive_of(made))
        return result.verdict, [words for words in why(result) if "would not show" in words]

    def no_speed(columns, rows):
        columns.rpm[rows] = np.nan

    said, words = told(no_speed, 1.8)
    assert said == verdict.NOT_ENOUGH and len(words) == 1
    assert re.match(r"pull 2: 1.8 s at 3[89]\d\d-51\d\d rpm could not be judged \(tach loss\): ", words[0]), words
    assert len(told(no_speed, 0.3)[1]) == 1 and told(no_speed, 0.1)[1] == []
    assert told(lambda *_: None, 0) == (verdict.ATTENTION, [])


def test_what_is_hidden_is_told_under_load_alone():
    flags = np.zeros((3, 100), bool)
    flags[0, 40:60] = flags[0, 90:] = flags[1, 85:] = flags[2, :20] = True  # in the middle and behind; overrun; before
    common = {"controller_state": flags[0], "overrun_cut": flags[1], "tip_in": flags[2]}
    loaded = np.ones(100, bool)
    loaded[45:50] = loaded[80:] = False
    excess = np.where(flags.any(axis=0) | ~loaded, np.nan, 0.0)
    rpm = 3000.0 + 10.0 * np.arange(100)
    span = stretches.Span(np.arange(100) * 0.1, rpm, loaded, common, 0.1)
    (one,) = stretches.hidden(span, excess, {}, None)
    assert (one.mask, one.bank, one.start_s, one.rpm_from, one.rpm_to) == (
        "controller_state",
        None,
        4.0,
        3400.0,
        3590.0,
    )
    assert one.seconds == pytest.approx(2.0)
    short = np.where((np.arange(100) >= 40) & (np.arange(100) < 54), np.nan, 0.0)
    span = stretches.Span(np.arange(100) * 0.01, rpm, np.ones(100, bool), common, 0.01)
    assert stretches.hidden(span, short, {}, None) == []  # 0.14 s
