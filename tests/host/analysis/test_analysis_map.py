"""Fuel map, comparison, banks and repeatability on passes and drives with a known truth."""

import re
from dataclasses import replace

import numpy as np
import pytest
from analysis_scenes import Hole, scene

from ringpull.analysis.cells import banks, compare, fuelmap, passes, pooling, repeat, sets
from ringpull.analysis.cells.cell import Treatment, cells_of
from ringpull.analysis.cells.passes import Axes, Pass, SessionPulls
from ringpull.analysis.cells.ratio import ratio
from ringpull.analysis.judge import session, uncertainty
from ringpull.report import compare_words, map_words
from ringpull.wording import across

SPEEDS = np.arange(2500.0, 7000.0, 500.0)


def made_passes(random, pulls, level=1.0, between=0.006, within=0.003, change=None, cells=9, session=0):
    """Passes of pulls over `cells` bins: a level for each pull, scatter within, and a change per bin."""
    out = []
    for pull in range(pulls):
        offset = random.normal(0, between)
        for cell in range(cells):
            value = level + offset + random.normal(0, within) + (0.0 if change is None else change[cell])
            out.append(Pass(cell, 0, (session, pull + 1), value, 0.5, True))
    return out


@pytest.mark.parametrize("between", [0.012, *(pytest.param(one, marks=pytest.mark.slow) for one in (0.002, 0.020))])
@pytest.mark.parametrize("pulls, least", [(3, 0.935), pytest.param(5, 0.92, marks=pytest.mark.slow)])
def test_cell_intervals_cover_the_mean_of_many_pulls(between, pulls, least):
    random = np.random.default_rng(12)
    inside = total = 0
    for _ in range(1200):
        found = made_passes(random, pulls, between=between)
        cells = cells_of(found, Axes(SPEEDS), Treatment(True, 0.0))
        inside += sum(c.low <= 1.0 <= c.high for c in cells)
        total += len(cells)
    # 95 % stated; cells of one drive share their pulls, which leaves some 2 % of chance here
    assert least <= inside / total <= 0.985


def test_pooling_over_cells_does_not_invent_pulls():
    random = np.random.default_rng(5)
    found = made_passes(random, 4, between=0.01, within=0.0005)
    cell = np.array([p.speed for p in found])
    unit = np.array([p.unit[1] for p in found])
    pooled = pooling.pool(cell, unit, np.array([p.value for p in found]))
    assert pooled.dof == pytest.approx(3.0, abs=0.1)


def test_one_pull_gives_no_interval():
    cells = cells_of(made_passes(np.random.default_rng(1), 1), Axes(SPEEDS), Treatment(True, 0.0))
    assert {c.state for c in cells} == {"not enough data"} and np.isnan([c.factor for c in cells]).all()


def test_suggestions_never_go_leaner_than_target_under_load_and_are_capped():
    random = np.random.default_rng(3)
    for level in (0.90, 0.97, 0.995, 1.0, 1.02, 1.2):
        for cell in cells_of(made_passes(random, 4, level=level), Axes(SPEEDS), Treatment(True, 0.012)):
            # fuel taken away: lambda over target becomes ratio / factor, at worst high + systematic over factor
            if cell.factor < 1.0:
                assert (cell.high + cell.systematic) / cell.factor <= 1.0 + 1e-9 or cell.factor == 0.95
                assert cell.ratio / cell.factor <= 1.0
            assert 0.95 <= cell.factor <= 1.05
            assert abs(cell.factor - 1.0) <= abs(cell.ratio - 1.0) + 1e-9


def test_fuel_map_of_a_drive_finds_the_error_that_was_put_in():
    made = scene(pulls=4, offset=0.02)
    ready = session.prepare(made.columns)
    spans = [(n + 1, a, b) for n, (a, b) in enumerate(made.spans)]
    result = fuelmap.fuelmap([SessionPulls(ready, spans)])
    loaded = [c for c in result.cells if c.loaded and c.state == "judged"]
    assert len(loaded) >= 6
    for cell in loaded:
        if cell.load >= 160:
            assert cell.passes == 4 and cell.ratio == pytest.approx(1 + 0.02 / 0.81, abs=0.006)
            assert 1.0 < cell.factor <= cell.ratio
    grid = result.grid("factor")
    assert grid.shape == (len(result.axes.loads), len(result.axes.speeds))


def test_the_systematic_part_of_a_ratio():
    """Standard uncertainties of 0.017 at lambda 0.85 and 0.03 at 1.0 are 2 and 3 % of the ratio; of two sessions the
    larger counts, 1.96 times: 0.0588."""
    made = scene(pulls=3)
    ready = session.prepare(made.columns, identified=False)
    spans = [(n + 1, a, b) for n, (a, b) in enumerate(made.spans)]
    small, large = (
        replace(ready, budget=uncertainty.Budget([uncertainty.Part("controller", u, "systematic", "")], at))
        for u, at in ((0.017, 0.85), (0.03, 1.0))
    )
    alone = fuelmap.fuelmap([SessionPulls(small, spans)])
    told = [c.systematic for c in alone.cells if c.passes]
    assert told and told == pytest.approx([0.0392] * len(told))
    both = fuelmap.fuelmap([SessionPulls(small, spans), SessionPulls(large, spans)])
    assert [c.systematic for c in both.cells if c.passes] == pytest.approx([0.0588] * len(told))
    assert "a systematic error of up to 0.059 would shift all ratios alike" in map_words.sentences(both)


def test_the_methods_own_doubt_of_a_comparison():
    """Pulls that are all alike: what is left is 0.002 of either side, 0.002 x root 2 = 0.0028284 of the difference.
    With 2 pulls a side there are 2 degrees of freedom, Student's t 4.3027 (statistical tables): 0.01217."""
    flat = [Pass(cell, 0, (0, pull), 0.0, 0.5, True) for pull in (1, 2) for cell in range(5)]
    raised = [replace(one, value=0.01, unit=(1, one.unit[1])) for one in flat]
    result = compare.compare(flat, raised, Axes(SPEEDS), compare.Question(better_is=1, method_u=0.002))
    for one in result.bins:
        assert one.difference == pytest.approx(0.01)
        assert one.high - one.difference == pytest.approx(0.01217, rel=1e-3)
        assert one.difference - one.low == pytest.approx(0.01217, rel=1e-3)


def test_a_logged_trim_is_folded_in():
    made = scene(pulls=3)
    plain = ratio(session.prepare(made.columns, identified=False))
    made.columns.extra["trim"] = np.full(len(made.columns), 5.0)
    folded = ratio(session.prepare(made.columns, identified=False))
    assert np.nanmedian(folded / plain) == pytest.approx(1.05)
    made.columns.extra["trim_long"] = np.full(len(made.columns), -2.0)
    both = ratio(session.prepare(made.columns, identified=False))
    assert np.nanmedian(both / plain) == pytest.approx(1.05 * 0.98)


def test_steady_holds_are_passes_of_their_own():
    made = scene(pulls=2)
    ready = session.prepare(made.columns, identified=False)
    found = passes.passes(SessionPulls(ready), ratio(ready), Axes(SPEEDS, np.arange(20.0, 200.0, 20.0)))
    assert any(p.unit is None and not p.loaded and p.seconds > 1.0 for p in found)


@pytest.mark.parametrize(
    ("pulls", "between"),
    [(3, 0.002), pytest.param(2, 0.012, marks=pytest.mark.slow), pytest.param(4, 0.006, marks=pytest.mark.slow)],
)
def test_no_change_is_called_a_change_in_at_most_one_of_twenty(pulls, between):
    random = np.random.default_rng(8)
    called = 0
    for _ in range(400):
        a, b = made_passes(random, pulls, between=between), made_passes(random, pulls, between=between, session=1)
        called += compare.compare(a, b, Axes(SPEEDS)).changed
    # 5 % held family-wise; 400 pairs leave 2.2 % of chance at two deviations
    assert called / 400 <= 0.072


def test_a_change_of_part_of_the_curve_is_seen_and_has_its_sign():
    random = np.random.default_rng(9)
    change = np.where((np.arange(9) >= 3) & (np.arange(9) < 6), -0.03, 0.0)
    called = 0
    for _ in range(100):
        a = made_passes(random, 4, level=1.03, between=0.012)
        b = made_passes(random, 4, level=1.03, between=0.012, change=change, session=1)
        result = compare.compare(a, b, Axes(SPEEDS))
        called += result.changed
        assert all(x.verdict != compare.WORSE for x in result.bins[3:6] if x.relative < 0)
    assert called >= 80


def test_one_pull_a_side_says_that_it_cannot_be_tested():
    random = np.random.default_rng(2)
    result = compare.compare(made_passes(random, 1), made_passes(random, 1, session=1), Axes(SPEEDS))
    assert result.verdict == compare.NOT_ENOUGH and "change can't be told from chance" in " ".join(
        compare_words.of_result(result)
    )
    assert compare.compare([], [], Axes(SPEEDS)).verdict == compare.NOT_ENOUGH


def test_overall_difference_is_welch():
    from ringpull.analysis.cells import stats

    random = np.random.default_rng(4)
    a, b = made_passes(random, 4), made_passes(random, 3, level=1.02, session=1)
    result = compare.compare(a, b, Axes(SPEEDS))
    levels = [
        [np.mean([p.value for p in side if p.unit[1] == k]) for k in range(1, n + 1)] for side, n in ((a, 4), (b, 3))
    ]
    assert result.overall[0] == pytest.approx(stats.welch(np.array(levels[0]), np.array(levels[1]))[0])


def test_a_bin_that_scatters_more_is_not_pooled():
    random = np.random.default_rng(6)
    a, b = made_passes(random, 3, within=0.001), made_passes(random, 3, within=0.001, session=1)
    wild = [Pass(p.speed, 0, p.unit, p.value + (0.12 if p.speed == 4 and p.unit[1] == 2 else 0), 0.5, True) for p in a]
    result = compare.compare(wild, b, Axes(SPEEDS))
    assert not result.bins[4].changed and result.bins[4].high - result.bins[4].low > 0.2
    assert result.bins[0].high - result.bins[0].low < 0.05


def test_passes_of_a_pull_are_one_a_cell():
    made = scene(pulls=3, hole=Hole(2, 4500, 4900, 0.08))
    ready = session.prepare(made.columns)
    spans = [(n + 1, a, b) for n, (a, b) in enumerate(made.spans)]
    here = [SessionPulls(ready, spans)]
    found = sets.pull_passes(here, Axes(sets.shared_speeds(here)))
    assert len(found) == len({(p.speed, p.unit) for p in found})
    repeated = repeat.repeat(found)
    assert repeated.pulls == 3 and repeated.one_pull > 0 and repeated.drift_low < 0 < repeated.drift_high


def test_drift_is_a_straight_line_through_the_pulls():
    slope, low, high = repeat.trend(np.array([0.0, 0.0105, 0.0195, 0.03]))
    assert slope == pytest.approx(np.polyfit(range(4), [0.0, 0.0105, 0.0195, 0.03], 1)[0])
    assert low > 0.008 and high < 0.012


def test_banks_differ_where_one_leans():
    made = scene(pulls=4)
    columns = made.columns
    random = np.random.default_rng(3)
    columns.banks = {
        "lambda_1": columns.lambda_,
        "lambda_2": columns.lambda_ + 0.03 + random.normal(0, 0.003, len(columns)),
    }
    columns.lambda_ = np.fmax(*columns.banks.values())
    ready = session.prepare(columns, identified=False)
    spans = [(n + 1, a, b) for n, (a, b) in enumerate(made.spans)]
    result = banks.banks(SessionPulls(ready, spans), Axes(SPEEDS))
    judged = [c for c in result.cells if np.isfinite(c.low)]
    assert judged and all(c.leaner == "lambda_2" and c.difference == pytest.approx(0.03, abs=0.004) for c in judged)
    assert any("one lean cylinder" in sentence for sentence in across.banks(result))
    columns.banks.pop("lambda_2")
    assert banks.banks(SessionPulls(ready, spans), Axes(SPEEDS)) is None


@pytest.mark.parametrize("pulls", [2, pytest.param(4, marks=pytest.mark.slow)])
def test_what_would_not_show_is_said_as_the_tests_have_it(pulls):
    # half of the difference that is said does not show, twice of it does: of the whole curve, and of part of it
    random = np.random.default_rng(3)
    counts = np.zeros((2, 2), int)
    tried = 0
    for _ in range(60):
        a, b = made_passes(random, pulls), made_passes(random, pulls, session=1)
        result = compare.compare(a, b, Axes(SPEEDS))
        if result.verdict != compare.NONE:
            continue
        tried += 1
        said = [float(v) for v in re.findall(r"below about (\d\.\d+)", compare_words.of_result(result)[-1])]
        for row, (least, cells) in enumerate(zip(said, (range(9), (3, 4, 5)), strict=True)):
            for column, times in enumerate((0.5, 2.0)):
                step = [times * least if k in cells else 0.0 for k in range(9)]
                moved = [Pass(p.speed, 0, p.unit, p.value + step[p.speed], 0.5, True) for p in b]
                counts[row, column] += compare.compare(a, moved, Axes(SPEEDS)).changed
    assert tried > 40
    assert (counts[:, 0] <= 0.35 * tried).all() and (counts[:, 1] >= 0.9 * tried).all(), counts / tried


def test_to_become_leaner_than_target_is_worse_even_where_it_is_nearer():
    random = np.random.default_rng(5)
    rich = made_passes(random, 4, level=0.96, between=0.002)
    for level, verdict in ((1.025, compare.WORSE), (1.002, compare.BETTER), (0.985, compare.BETTER)):
        result = compare.compare(rich, made_passes(random, 4, level=level, between=0.002, session=1), Axes(SPEEDS))
        assert result.verdict == verdict
        assert any("now more than 1 % lean and leaner than before" in w for w in compare_words.of_result(result))
