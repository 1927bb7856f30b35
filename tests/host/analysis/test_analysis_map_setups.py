"""The fuel map and the banks on setups that are not the usual one."""

import re
from dataclasses import replace
from types import SimpleNamespace

import numpy as np
import pytest
from analysis_scenes import CONFIG, Hole, StandInDrive, StandInSession, lagged, rewriting, scene

from ringpull.analysis.answer import answer
from ringpull.analysis.cells import banks, compare, drive_comparison, fuelmap, repeat, sets
from ringpull.analysis.cells.cell import Cell, Treatment, cells_of
from ringpull.analysis.cells.fuelmap import FuelMap, marked
from ringpull.analysis.cells.passes import Axes, Pass, SessionPulls
from ringpull.analysis.drive_state.columns import Columns
from ringpull.analysis.instruments.trust import Trust
from ringpull.analysis.judge import session, uncertainty, verdict
from ringpull.files import configuration
from ringpull.report import compare_part, compare_words, map_words
from ringpull.report.map_words import sentences
from ringpull.wording import across
from ringpull.wording.assumed import target as target_words
from ringpull.wording.reasons import reason

SPEEDS = np.arange(2500.0, 7000.0, 500.0)


def holds(kpa, throttle_pct, lean=1.02, speeds=(2500.0, 3000.0, 3500.0), times=3):
    """Columns of steady holds of 6 s, each speed held several times, the throttle eased in between."""
    rpm, load, pct = [], [], []
    for at, speed in enumerate(speeds * times):
        after = (speeds * (times + 1))[at + 1]
        rpm += [np.full(1200, speed), np.linspace(speed, after, 300)]
        load += [np.full(1200, kpa), np.full(300, 40.0)]
        pct += [np.full(1200, throttle_pct), np.full(300, 15.0)]
    rpm, load, pct = (np.concatenate(part) for part in (rpm, load, pct))
    random = np.random.default_rng(4)
    wanted = np.interp(load, CONFIG["target"]["load_kpa"], CONFIG["target"]["lambda"])
    lambda_ = wanted * lean + random.normal(0, 0.004, len(rpm))
    columns = Columns(
        np.arange(len(rpm)) / 200, lambda_, rpm, load, pct, config=configuration.of(CONFIG), banks={"lambda_1": lambda_}
    )
    columns.named = {"lambda_1": lambda_, "engine_speed": rpm, "map": load, "throttle": pct}
    return columns


@pytest.mark.parametrize("kpa, throttle_pct, loaded", [(60.0, 30.0, False), (98.0, 100.0, True)])
def test_steady_holds_without_a_pull_make_a_map(kpa, throttle_pct, loaded):
    drive = StandInDrive(StandInSession(holds(kpa, throttle_pct)))
    assert drive.pulls() == [] and sets.judged_sessions(drive) == []
    made = fuelmap.of_drive(drive)
    held = [c for c in made.cells if c.load == pytest.approx(kpa, abs=10) and c.state == "judged"]
    assert len(held) == 3
    for cell in held:
        # three holds of the same 2 % lean mixture
        assert cell.passes == 3 and cell.loaded is loaded and cell.ratio == pytest.approx(1.02, abs=0.003)


def test_a_place_under_load_and_at_part_load_keeps_what_was_found_under_load():
    def cell(loaded, factor, state="judged"):
        return Cell(3000.0, 80.0, 3, 2.0, loaded, 1.0, 0.99, 1.01, factor, 0.01, state)

    def factor(*cells):
        axes = Axes(np.array([3000.0, 3500.0]), np.array([60.0, 80.0]))
        return FuelMap(axes, marked(list(cells), [], axes)).grid("factor")[1, 0]

    few = "not enough data"
    assert factor(cell(True, 1.04), cell(False, np.nan, few)) == 1.04
    assert factor(cell(True, 1.04), cell(False, 0.96)) == 1.04
    assert factor(cell(False, 0.96), cell(True, np.nan, few)) == 1.0  # under load nothing is known: not leaner there
    assert factor(cell(False, 0.96)) == 0.96


def test_an_assumed_target_makes_nothing_leaner_and_says_nothing_of_cruising():
    # a boosted engine without a pressure sensor and without a target: the preset of natural aspiration is 0.88
    made = scene(pulls=4)
    columns = made.columns
    columns.map_kpa = None
    columns.named.pop("map")
    columns.config = replace(columns.config, targets=())
    ready = session.prepare(columns, identified=False)
    result = fuelmap.fuelmap([SessionPulls(ready, [(n + 1, a, b) for n, (a, b) in enumerate(made.spans)])])
    assert result.cells and all(c.loaded for c in result.cells if c.passes)
    assert {c.factor for c in result.cells if c.state == "judged"} == {1.0} and map_words.ASSUMED in sentences(result)
    assert "unless manifold pressure shows boost" in target_words(ready.target_source)


def test_stretches_under_load_outside_pulls_are_not_taken_for_more_than_they_are():
    # each stretch has a level of its own over all of its cells, as pulls have
    random = np.random.default_rng(1)
    inside = total = 0
    for _ in range(300):
        found = []
        for stretch in range(4):
            level = random.normal(1.0, 0.010)
            found += [
                Pass(k, 0, None, level + random.normal(0, 0.003), 0.5, True, stretch=(0, stretch)) for k in range(6)
            ]
        cells = cells_of(found, Axes(SPEEDS), Treatment(True, 0.0))
        inside += sum(c.low <= 1.0 <= c.high for c in cells)
        total += len(cells)
    assert 0.91 <= inside / total <= 0.985


@pytest.mark.parametrize(
    "cells, least",
    [(1, 0.93), pytest.param(2, 0.93, marks=pytest.mark.slow), pytest.param(3, 0.91, marks=pytest.mark.slow)],
)
def test_few_cells_have_honest_intervals(cells, least):
    random = np.random.default_rng(7)
    inside = total = 0
    for _ in range(1200):
        found = []
        for pull in range(3):
            level = random.normal(1.0, 0.010)
            found += [Pass(k, 0, (0, pull + 1), level + random.normal(0, 0.003), 0.5, True) for k in range(cells)]
        made = cells_of(found, Axes(SPEEDS), Treatment(True, 0.0))
        inside += sum(c.low <= 1.0 <= c.high for c in made)
        total += len(made)
    assert least <= inside / total <= 0.975


def two_banks(apart, accuracies=(None, None)):
    made = scene(pulls=4)
    columns = made.columns
    random = np.random.default_rng(3)
    with rewriting(columns) as written:
        written["channels"][0]["accuracy"] = accuracies[0]
        written["channels"].append({**written["channels"][0], "name": "lambda_2", "accuracy": accuracies[1]})
    columns.banks = {
        "lambda_1": columns.lambda_,
        "lambda_2": columns.lambda_ + apart + random.normal(0, 0.003, len(columns)),
    }
    columns.lambda_ = np.fmax(*columns.banks.values())
    return columns, [(n + 1, a, b) for n, (a, b) in enumerate(made.spans)]


def test_a_difference_of_banks_that_two_sensors_may_have_by_themselves_names_no_bank():
    columns, spans = two_banks(0.008)
    result = banks.banks(SessionPulls(session.prepare(columns, identified=False), spans), Axes(SPEEDS))
    judged = [c for c in result.cells if np.isfinite(c.low)]
    assert judged and all(c.low > 0 and c.systematic > 0.01 and c.leaner == "neither shown" for c in judged)
    assert any("the sensors alone may differ" in sentence for sentence in across.banks(result))


def test_the_less_certain_of_two_sensors_is_the_budget():
    columns, _ = two_banks(0.0, (0.005, 0.04))
    parts = {p.name: p.u for p in uncertainty.budget(columns).parts}
    # half-width of a rectangular distribution over the root of three (JCGM 100, 4.3.7)
    assert parts["controller"] == pytest.approx(0.04 / np.sqrt(3.0))


def test_a_broken_line_has_the_slope_of_the_piece_it_is_judged_on():
    volts, values = [0.0, 1.0, 2.5, 5.0], [0.6, 0.9, 1.0, 1.4]
    assert uncertainty.line_near(volts, values, 0.84) == pytest.approx((0.3, 0.8))
    assert uncertainty.line_near(volts[::-1], values[::-1], 0.84) == pytest.approx((0.3, 0.8))
    assert uncertainty.line_near(volts, values, 0.5) == pytest.approx((0.3, -1.0 / 3.0))


def with_own_noise(clean, seed):
    """A sensor's reading of a mixture: white noise of 0.003 and scatter of 0.006 that hangs together over 80 ms."""
    random = np.random.default_rng(seed)
    keep = np.exp(-0.005 / 0.080)
    scatter = np.zeros(len(clean))
    for row, kick in enumerate(random.normal(0.0, 0.006 * np.sqrt(1.0 - keep**2), len(clean))):
        scatter[row] = keep * scatter[row - 1] + kick
    return clean + scatter + random.normal(0.0, 0.003, len(clean))


def of_banks(made, seed, *offsets):
    columns = made.columns
    columns.banks = {f"lambda_{k + 1}": with_own_noise(columns.lambda_ + o, seed + k) for k, o in enumerate(offsets)}
    with rewriting(columns) as written:
        written["channels"].append({**written["channels"][0], "name": "lambda_2"})
    columns.lambda_ = np.fmax(*columns.banks.values())
    return session.prepare(columns, identified=False), [(n + 1, a, b) for n, (a, b) in enumerate(made.spans)]


def test_two_equal_banks_do_not_read_lean_by_chance():
    # row by row the larger of two noisy readings is 0.56 standard deviations too high (normal order statistics)
    ready, spans = of_banks(scene(pulls=5, noise=0.0, offset=0.02), 3, 0.0, 0.0)
    wanted = 1.0 + 0.02 / ready.target
    made = fuelmap.fuelmap([SessionPulls(ready, spans)])
    cells = [c for c in made.cells if c.loaded and c.state == "judged" and c.load > 150]
    rows = ready.loaded & (ready.columns.map_kpa > 165)
    assert len(cells) >= 6
    assert np.mean([c.ratio for c in cells]) == pytest.approx(float(np.median(wanted[rows])), abs=0.0025)
    row_by_row = np.nanmean((ready.lambda_aligned / ready.target)[rows & ready.masks.valid])
    assert row_by_row - float(np.median(wanted[rows])) > 0.004


def test_the_leaner_bank_is_judged_and_named():
    made = scene(pulls=2, noise=0.0)
    start, _ = made.spans[1]
    ready, spans = of_banks(made, 9, 0.0, -0.02)
    lean_there = (made.columns.time_s > start + 3.0) & (made.columns.time_s < start + 3.8)
    made.columns.banks["lambda_2"] += lagged(0.10 * lean_there, made.tau_s, 0.005)
    made.columns.lambda_ = np.fmax(*made.columns.banks.values())
    ready = session.prepare(made.columns, identified=False)
    (event,) = session.judge_span(ready, *spans[1][1:]).lean_events
    # 0.10 above a bank that runs 0.02 rich
    assert event.bank == "lambda_2" and event.depth == pytest.approx(0.08, abs=event.depth_u)
    assert session.judge_span(ready, *spans[0][1:]).lean_events == []
    cells = sentences(fuelmap.fuelmap([SessionPulls(ready, spans)]))
    assert any("the leaner bank" in words for words in cells)


@pytest.mark.parametrize("dead", ["state", "no value"])
def test_a_dead_sensor_hides_no_event_of_the_other_bank_and_is_said(dead):
    for lean_by, word in ((0.08, verdict.ATTENTION), (0.0, verdict.NOT_ENOUGH)):
        made = scene(pulls=2, hole=Hole(2, 4500, 4900, lean_by))
        columns = made.columns
        nothing = np.full(len(columns), np.nan)
        columns.banks = {"lambda_1": columns.lambda_, "lambda_2": nothing}
        with rewriting(columns) as written:
            written["channels"].append({**written["channels"][0], "name": "lambda_2"})
        if dead == "state":
            columns.states = {("lambda_2", "fault"): np.ones(len(columns), bool)}
        ready = session.prepare(columns, identified=False)
        pulls = []
        for number, (start_s, end_s) in enumerate(made.spans):
            numbers = session.judge_span(ready, start_s, end_s)
            pulls.append(SimpleNamespace(number=number + 1, spoiled=False, **vars(numbers)))
        said, reasons = verdict.decide(pulls, [], 0.01, 0.033)
        assert said == word and any("lambda_2 gave no reading" in reason(r) for r in reasons)


def test_a_sensor_that_heats_is_warm_up_where_the_other_tells_nothing_either():
    made = scene(pulls=1)
    columns = made.columns
    first = np.arange(len(columns)) < 1000
    columns.banks = {"lambda_1": np.where(first, np.nan, columns.lambda_), "lambda_2": columns.lambda_.copy()}
    columns.states = {("lambda_1", "warm-up"): first}
    columns.lambda_ = np.fmax(*columns.banks.values())
    masks_of = session.prepare(columns, identified=False).masks.by_name
    assert not masks_of["warm_up"].any()
    columns.banks["lambda_2"][:1000] = np.nan
    columns.lambda_ = np.fmax(*columns.banks.values())
    masks_of = session.prepare(columns, identified=False).masks.by_name
    assert masks_of["warm_up"][:900].all() and not masks_of["controller_state"][:900].any()


def test_a_bank_that_is_still_lean_is_named_where_rows_show_the_other():
    made = scene(pulls=2, hole=Hole(2, 4500, 4900, 0.08))
    columns = made.columns
    columns.banks = {"lambda_1": scene(pulls=2).columns.lambda_, "lambda_2": columns.lambda_}
    columns.lambda_ = np.fmax(*columns.banks.values())
    with rewriting(columns) as written:
        written["channels"].append({**written["channels"][0], "name": "lambda_2"})
    spans = [(n, *span) for n, span in enumerate(made.spans, 1)]
    lean = drive_comparison.lean_pulls([SessionPulls(session.prepare(columns, identified=False), spans)])
    assert lean == drive_comparison.LeanPulls(1, 2, ("lambda 2",))
    compared = drive_comparison.DriveComparison(None, (lean, drive_comparison.LeanPulls(0, 2)))
    assert compare_part.lean_pulls(compared) == "before 1 of 2 pulls lean (lambda 2), after 0 of 2"


@pytest.mark.parametrize(
    ("before", "after", "said"),
    [
        ((3, 4), (0, 4), "before 3 of 4 pulls lean, after 0 of 4"),
        ((1, 1), (0, 0), "before 1 of 1 pull lean, after no pull could be judged"),
        ((0, 0), (0, 2), "before no pull could be judged, after 0 of 2 pulls lean"),
    ],
)
def test_a_side_of_which_nothing_could_be_judged_counts_nothing(before, after, said):
    sides = tuple(drive_comparison.LeanPulls(*side) for side in (before, after))
    assert compare_part.lean_pulls(drive_comparison.DriveComparison(None, sides)) == said


def test_the_difference_of_banks_is_told_by_speed_and_load():
    columns, spans = two_banks(0.03)
    session = StandInSession(columns, [(a, b, False) for _, a, b in spans])
    drive = StandInDrive(session)
    drive.views()[0].__dict__.update(trust=Trust(columns), columns=columns)
    (found,) = answer(drive).banks
    assert {c.load for c in found.cells} >= {150.0} and all(c.load is not None for c in found.cells)
    told = across.banks(found)[0]
    assert re.match(r"lambda_2 minus lambda_1, with 95 % intervals: \d+ rpm, \d+ kPa \+0\.03\d \(\+0\.0\d\d to ", told)


def passes_of_banks(random, pulls, session=0, steps=(0.0, 0.0), names=("lambda_1", "lambda_2")):
    """Passes of two banks of the same mixture, each with noise of its own; steps: added to each."""
    found = []
    for name, step in zip(names, steps, strict=True):
        for pull in range(pulls):
            level = random.normal(1.0, 0.006)
            found += [
                Pass(k, 0, (session, pull + 1), level + step + random.normal(0, 0.004), 0.5, True, bank=name)
                for k in range(9)
            ]
    return found


def test_two_banks_are_compared_each_by_itself_and_held_together():
    random = np.random.default_rng(11)
    called, leans = 0, []
    for _ in range(300):
        a, b = passes_of_banks(random, 3), passes_of_banks(random, 3, session=1)
        result = compare.compare(a, b, Axes(SPEEDS))
        called += result.changed
        leans.append(np.mean([one.difference for one in result.bins]))
        assert len(result.bins) == 9 and {one.bank for one in result.bins} <= {"lambda_1", "lambda_2"}
    # 5 % held family-wise over both banks; 300 pairs leave 2.5 % of chance at two deviations
    assert called / 300 <= 0.075
    # what is shown of two equal banks leans neither way
    assert abs(np.mean(leans)) < 3 * np.std(leans) / np.sqrt(300)


def test_one_bank_that_got_leaner_is_not_hidden_by_the_other():
    random = np.random.default_rng(12)
    a = passes_of_banks(random, 4)
    b = passes_of_banks(random, 4, session=1, steps=(0.0, 0.05))
    result = compare.compare(a, b, Axes(SPEEDS))
    assert result.verdict == compare.WORSE and {one.bank for one in result.bins} == {"lambda_2"}
    assert any("the banks are tested separately" in words for words in compare_words.of_result(result))
    # one bank better and the other worse is said as both, and the worse one is shown
    a = passes_of_banks(random, 4, steps=(0.05, 0.0))
    result = compare.compare(a, passes_of_banks(random, 4, session=1, steps=(0.0, 0.05)), Axes(SPEEDS))
    assert result.verdict == "better and worse" and {one.bank for one in result.bins} == {"lambda_2"}
    # and below it the other, which came to something else
    assert [one.bank for one in result.every_bin[:4]] == ["lambda_2", "lambda_1"] * 2
    assert {one.verdict for one in result.others} == {compare.BETTER} and len(result.others) == len(result.bins)
    compared = drive_comparison.DriveComparison(
        result, (drive_comparison.LeanPulls(0, 4), drive_comparison.LeanPulls(4, 4)), labels={"lambda_1": "left bank"}
    )
    assert [row[-1] for row in compare_part.rows(compared)[:2]] == ["worse, lambda_2", "better, left bank"]


def test_banks_that_agree_have_one_row():
    random = np.random.default_rng(14)
    result = compare.compare(passes_of_banks(random, 4), passes_of_banks(random, 4, session=1), Axes(SPEEDS))
    assert len(result.every_bin) == len(result.bins) + len(result.others) < 12


def test_banks_that_only_one_drive_has_are_said_and_single_ones_are_the_same_bank():
    random = np.random.default_rng(13)
    two = passes_of_banks(random, 3)
    one = [p for p in passes_of_banks(random, 3, session=1) if p.bank == "lambda_1"]
    result = compare.compare(two, one, Axes(SPEEDS))
    assert "lambda_2 is in only one of the drives and is not compared" in compare_words.of_result(result)
    assert result.verdict == compare.NONE and {b.bank for b in result.bins} == {"lambda_1"}
    renamed = [replace(p, bank="wideband") for p in one]
    alone = [p for p in two if p.bank == "lambda_1"]
    result = compare.compare(alone, renamed, Axes(SPEEDS))
    assert result.verdict == compare.NONE and {b.bank for b in result.bins} == {None}
    assert compare.compare(two, renamed, Axes(SPEEDS)).verdict == compare.NOT_ENOUGH


def test_repeatability_of_two_banks_is_the_worse_banks():
    random = np.random.default_rng(14)
    found = [p for p in passes_of_banks(random, 4) if p.bank == "lambda_1"]
    for pull in range(4):
        level = random.normal(1.0, 0.03)
        found += [Pass(k, 0, (0, pull + 1), level, 0.5, True, bank="lambda_2") for k in range(9)]
    worst = repeat.repeat(found)
    assert worst.between > 0.012 and worst.worst_bank == "lambda_2"


def test_passes_of_pulls_are_each_banks_own():
    columns, spans = two_banks(0.03)
    ready = session.prepare(columns, identified=False)
    found = sets.pull_passes([SessionPulls(ready, spans)], Axes(SPEEDS))
    means = {name: np.mean([p.value for p in found if p.bank == name]) for name in columns.banks}
    assert means["lambda_2"] - means["lambda_1"] == pytest.approx(0.03 / 0.81, abs=0.004)


def test_a_full_manifold_at_part_throttle_is_not_made_leaner_than_target():
    # a large throttle body, or a charger at part throttle: the manifold is full at 30 %, and the mixture 1 % rich
    columns = holds(98.0, 30.0, lean=0.99)
    columns.throttle[:100] = 100.0  # once it was wide open
    drive = StandInDrive(StandInSession(columns))
    made = fuelmap.of_drive(drive)
    held = [c for c in made.cells if c.load == pytest.approx(98.0, abs=10) and c.state == "judged"]
    assert len(held) == 3 and all(c.loaded for c in held)
    # 1 % rich is less than what the systematic part may be: nothing is taken away
    assert {c.factor for c in held} == {1.0}
    assert any("no cell is made leaner than target, even at part throttle" in words for words in sentences(made))
    cruise = fuelmap.of_drive(StandInDrive(StandInSession(holds(60.0, 30.0, lean=0.99))))
    assert all(c.factor < 0.995 for c in cruise.cells if c.load == 60.0 and c.state == "judged")


def test_what_a_map_lacks_is_said():
    columns = holds(60.0, 30.0)
    columns.lambda_[:] = np.nan
    made = fuelmap.of_drive(StandInDrive(StandInSession(columns)))
    assert made.cells == () and sentences(made) == ["no fuel map: not logged, or never valid: lambda"]
    columns = holds(60.0, 30.0)
    columns.map_kpa = columns.throttle = None
    columns.named.pop("map"), columns.named.pop("throttle")
    made = fuelmap.fuelmap([SessionPulls(session.prepare(columns, identified=False))])
    assert made.cells == () and sentences(made) == [map_words.NO_LOAD]


def test_a_table_of_another_load_or_of_a_smaller_range_is_told():
    speeds = np.array([2500.0, 3000.0, 3500.0])
    by_pct = holds(60.0, 90.0)
    by_pct.map_kpa = None
    by_pct.named.pop("map")
    by_pct.config = configuration.of(CONFIG).judged_by({"lambda": 1.0})
    ready = [SessionPulls(session.prepare(by_pct, identified=False))]
    assert ready[0].judged.loaded.any() and by_pct.load_unit == "%"
    told = [w for w in sentences(fuelmap.fuelmap(ready, Axes(speeds, np.array([30.0, 100.0, 240.0])))) if "given" in w]
    assert len(told) == 1 and "load of 240" in told[0] and "to 90 %: if" in told[0]
    # of the drive's own load, or found from the data: nothing to tell
    for axes in (Axes(speeds, np.array([10.0, 50.0, 100.0])), None):
        assert not [w for w in sentences(fuelmap.fuelmap(ready, axes)) if "given" in w]
    # a third of the time, and the ways to it, lies beyond
    short = fuelmap.fuelmap(ready, Axes(speeds[:2], np.array([10.0, 50.0, 100.0])))
    (told,) = [w for w in sentences(short) if "given" in w]
    share = np.mean(by_pct.rpm[ready[0].judged.masks.valid] > 3250)
    assert told.startswith(f"{share:.0%} of the judged rows (") and "2500-3000 1/min" in told
    assert short.cells and "2500-3500 1/min" in told
    # all that was under load, and little else
    low = sentences(fuelmap.fuelmap(ready, Axes(speeds, np.array([0.2, 40.0]))))[0]
    assert "(100% of those under load)" in low and "load 0.2-40" in low
    nowhere = fuelmap.fuelmap(ready, Axes(speeds + 9000, np.array([10.0, 50.0])))
    assert nowhere.cells == () and sentences(nowhere)[0] == map_words.NOT_VISITED
    assert "100%" in sentences(nowhere)[1]


def test_sessions_with_another_load_are_not_mixed_into_a_map():
    by_kpa, by_pct = holds(60.0, 30.0), holds(60.0, 30.0, lean=1.2)
    by_pct.map_kpa = None
    by_pct.named.pop("map")
    by_pct.config = configuration.of(CONFIG).judged_by({"lambda": 1.0})
    ready = [session.prepare(columns, identified=False) for columns in (by_kpa, by_pct)]
    ready = [SessionPulls(one) for one in ready]
    alone, both = fuelmap.fuelmap(ready[:1]), fuelmap.fuelmap(ready)
    assert [c.ratio for c in both.cells] == [c.ratio for c in alone.cells]
    assert any("left out: 1 of the drive's sessions, whose load is not in kPa" in words for words in sentences(both))
    held = [replace(one, spans=((number + 1, 1.0, 20.0),)) for number, one in enumerate(ready)]
    assert sets.shared_loads(held, 20.0) is None and sets.shared_loads(held[:1], 20.0) is not None
