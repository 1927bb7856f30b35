"""Hints and holes, each limit with a number worked by hand."""

from types import SimpleNamespace

import numpy as np
import pytest
from analysis_scenes import StandInDrive, StandInSession, rewriting, scene

from ringpull.analysis.answer import answer
from ringpull.analysis.cells import compare, drive_comparison
from ringpull.analysis.judge import hints, holes, limiter
from ringpull.analysis.judge.hints import Hint
from ringpull.analysis.judge.holes import FINE, LEAN, Found
from ringpull.files.configuration import Configuration


def flagged(rows, *spans):
    out = np.zeros(rows, bool)
    for first, last in spans:
        out[first:last] = True
    return out


def test_a_change_is_against_the_line_through_the_rows_around():
    values = 2.0 + 0.1 * np.arange(100)
    values[40:60] += 3.0
    around = flagged(100, (10, 35), (65, 90))
    assert hints.change(values, slice(40, 60), around) == (pytest.approx(3.0), pytest.approx(0.0, abs=1e-9))
    assert hints.change(values, slice(40, 45), flagged(100, (15, 35)))[0] == pytest.approx(3.0)
    assert hints.change(values, slice(40, 44), around) == hints.change(values, slice(40, 60), flagged(100, (15, 34)))
    assert hints.change(values, slice(40, 44), around) == (0.0, np.inf)
    holed = values.copy()
    holed[12:20], holed[50:58] = np.nan, np.nan
    assert hints.change(holed, slice(40, 60), around)[0] == pytest.approx(3.0)


def test_the_error_of_a_change():
    """Rows of plus and minus 1: 20 inside and 40 around are good to the root of 1/20 + 1/40, and 50 rows away from the
    middle of the rows around, whose squares of distances are 2 x 665 + 40 x 900 = 37330, of 2500/37330 more."""
    values = np.where(np.arange(120) % 2, 1.0, -1.0)
    around = flagged(120, (0, 20), (60, 80))
    assert hints.change(values, slice(30, 50), around)[1] == pytest.approx(0.075**0.5, rel=0.01)
    assert hints.change(values, slice(80, 100), around)[1] == pytest.approx((0.075 + 2500 / 37330) ** 0.5, rel=0.01)


def drive(rows=2000):
    """At 200 Hz: the engine stands for 1200 rows, then runs."""
    rpm = np.where(np.arange(rows) < 1200, 0.0, 3000.0)
    return SimpleNamespace(rpm=rpm, period_s=0.005)


@pytest.mark.parametrize("loaded_rows, fall, deviation", [(240, 20.0, 2.0), (239, 58.0, 4.0)])
def test_a_fall_below_the_base(loaded_rows, fall, deviation):
    """The base is the median under load, 310, if there is a second of that beside the event's 40 rows; else with a
    running engine, 348: three rows in four are then at 348 or 352. Rows of plus and minus 2."""
    values = np.where(np.arange(2000) < 1200, 0.0, 350.0)
    values[1500 : 1500 + loaded_rows] = 310.0
    values += np.where(np.arange(2000) % 2, 2.0, -2.0)
    values[1600:1640] = 290.0
    loaded = flagged(2000, (1500, 1500 + loaded_rows))
    found = hints.below_base(values, drive(), slice(1600, 1640), loaded)
    assert found == (pytest.approx(fall), pytest.approx(1.4826 * deviation))
    assert hints.below_base(values, drive(), slice(1600, 1604), loaded) == (0.0, np.inf)
    assert hints.below_base(values[:1219], drive(1219), slice(1200, 1205), loaded[:1219]) == (0.0, np.inf)


def test_the_rows_around_an_event():
    """0.8 s on either side within the pull, less 0.08 s beside the event."""
    columns = scene(pulls=1).columns
    for pull, spans in (((0.0, 9.0), ((2.2, 2.92), (3.48, 4.2))), ((2.5, 4.0), ((2.5, 2.92), (3.48, 4.0)))):
        inside, near = hints.around(columns, 3.0, 3.4, pull)
        assert columns.time_s[inside].tolist() == columns.time_s[columns.rows(3.0, 3.4)].tolist()
        edges = np.flatnonzero(np.diff(near.astype(int))) + 1
        assert columns.time_s[edges] == pytest.approx(np.ravel(spans))


def told(role=None, values=None, **more):
    """Hints of 0.5 s in the middle of a pull. values: of the columns, their rows inside the event, -> the channel."""
    made = scene(pulls=1)
    columns, (start, end) = made.columns, made.spans[0]
    rows = columns.rows(start + 3.0, start + 3.5)
    inside = np.zeros(len(columns))
    inside[rows] = 1.0
    if role:
        columns.extra[role] = values(columns, inside)
    return hints.hints(columns, start + 3.0, start + 3.5, (start, end), **more)


@pytest.mark.parametrize(
    "role, least, sign",
    [
        ("fuel_pressure", 12.0, -1),
        ("battery", 0.4, -1),
        ("intake", 4.0, 1),
        ("trim", 2.0, -1),
        ("exhaust", 25.0, 1),
        ("knock", 0.0, 1),
    ],
)
def test_the_least_change_of_each_channel_and_its_direction(role, least, sign):
    def stepped(step):
        def values(columns, inside):
            # the regulator of the fuel follows the manifold
            return 50.0 + step * inside + (columns.map_kpa if role == "fuel_pressure" else 0.0)

        return values

    more = least * 1.01 + 0.001
    assert told(role, stepped(sign * more)) == [Hint("moved", pytest.approx(more), role)]
    assert told(role, stepped(sign * (least * 0.99 - 0.001))) == [] and told(role, stepped(-sign * more)) == []


def test_a_change_must_stand_clear_of_scatter():
    """Scatter of 8 over 100 rows and about 250 around: its error is 0.95, four of which are less than 4.0 but for
    scatter of 12, whose four errors are 5.7."""

    def scattered(sigma):
        def values(columns, inside):
            noise = np.random.default_rng(5).normal(0.0, sigma, len(columns))
            return 30.0 + 4.8 * inside + noise - noise * inside * 0.5

        return values

    assert [one.role for one in told("intake", scattered(1.0))] == ["intake"] and told("intake", scattered(14.0)) == []


@pytest.mark.parametrize("percent, found", [(84.9, []), (85.1, [Hint("duty", pytest.approx(0.851))])])
def test_an_injector_near_its_limit(percent, found):
    """85 % of the time that a cycle takes: 120000 / rpm ms, four-stroke."""
    assert told("injector", lambda columns, _: percent * 1200.0 / columns.rpm) == found


@pytest.mark.parametrize("above, found", [(7.9, []), (8.1, [Hint("boost", pytest.approx(8.1))])])
def test_boost_above_its_target(above, found):
    assert told("boost_target", lambda columns, _: columns.map_kpa - above) == found


def test_hints_of_the_limiter_and_of_a_sensor_that_never_measured():
    made = scene(pulls=1)
    columns, (start, _) = made.columns, made.spans[0]
    rpm = columns.rpm[columns.rows(start + 3.0, start + 4.0)].mean()
    span = (start + 3.0, start + 4.0)
    assert told(limited=[span]) == [Hint("limiter", pytest.approx(rpm))] == hints.at_limiter(columns, span)
    assert hints.at_limiter(columns, None) == []
    columns.rpm[:] = np.nan
    assert hints.at_limiter(columns, span) == []
    rows = len(columns)
    for share, found in ((0.96, [Hint("never measured")]), (0.94, [])):
        columns.lambda_[:] = np.where(np.arange(rows) < share * rows, 1.4, 1.0)
        columns.banks["lambda_1"] = columns.lambda_
        assert hints.never_measured(columns) == found
    columns.lambda_[:] = np.nan
    assert hints.never_measured(columns) == []


def test_fuel_pressure_is_over_the_manifold_where_that_scatters_less():
    kpa = np.linspace(40.0, 200.0, 50)
    assert hints.flat_pressure(300.0 + kpa, kpa) == pytest.approx(np.full(50, 300.0))
    fixed = 300.0 + np.sin(np.arange(50))
    assert hints.flat_pressure(fixed, kpa) is fixed


def event(rpm_from=4000.0, rpm_to=5000.0, bank=None, depth=0.08, hints=(), **more):
    usual = {"target": 0.85, "depth_u": 0.03, "systematic_u": 0.04, "length_s": 0.5, "start_s": 1.0, "end_s": 1.5}
    told = {"rpm_from": rpm_from, "rpm_to": rpm_to, "bank": bank, "depth": depth, "hints": hints}
    return SimpleNamespace(**usual | told | more)


def found(event, other="", number=1):
    return Found(SimpleNamespace(number=number, judged=None), event, other, "", 0.0)


def test_the_figures_of_a_hole():
    one = holes.Hole(1, event(), (1,), 1, 1, (), 4000.0, 5000.0, 0.5)
    assert one.measured == pytest.approx(0.93) and one.share == pytest.approx(0.08 / 0.85)
    assert one.half_width == pytest.approx(0.05) and not one.at_limiter
    assert holes.Hole(1, event(), (1,), 1, 1, (), 1.0, 2.0, 0.5, hints=(Hint("limiter"), Hint("duty"))).at_limiter


def test_events_of_one_place():
    """Half of the narrower event's speeds, on the same bank or on both."""

    def same(one, other, states=("", "")):
        return holes.same_place(found(one, states[0]), found(other, states[1]))

    assert same(event(3000, 4000), event(3500, 4500)) and not same(event(3000, 4000), event(3501, 4501))
    assert same(event(3000, 4000), event(3900, 4100)) and not same(event(3000, 4000), event(3901, 4101))
    assert same(event(3900, 4100), event(3000, 4000))
    assert not same(event(bank="a"), event(bank="b")) and same(event(bank="a"), event(bank="a"))
    assert same(event(bank="a"), event(bank="b"), (LEAN, LEAN))
    assert not same(event(bank="a"), event(bank="b"), (LEAN, FINE))
    assert not same(event(bank="a"), event(bank="b"), (FINE, FINE))
    cut = (Hint("limiter"),)
    assert same(event(3000, 3100, hints=cut), event(6000, 6100, hints=cut))
    assert not same(event(3000, 3100, hints=cut), event(6000, 6100))


def judged_pull(number, excess, spoiled=False, lean_events=()):
    judged = SimpleNamespace(columns=SimpleNamespace(extra={}, map_kpa=None, config=Configuration()), banks={"": None})
    return SimpleNamespace(
        number=number,
        judged=judged,
        spoiled=spoiled,
        lean_events=list(lean_events),
        pull=SimpleNamespace(start_s=0.0, end_s=5.0),
        excess_between=lambda low, high, target: excess if (low, high, target) == (3900.0, 5200.0, 0.85) else "others",
    )


def test_a_hole_is_made_of_the_events_of_several_pulls():
    """Of five judged pulls two have it, one was on target there (below half of 0.033), one just not, one elsewhere."""
    deep = event(4000, 5200, depth=0.09, hints=(Hint("moved", 5.0, "intake"),))
    wide = event(3900, 5000, length_s=0.7, hints=(Hint("moved", 6.0, "intake"), Hint("duty", 0.9)))
    one, two = judged_pull(4, None, lean_events=[deep]), judged_pull(2, None, lean_events=[wide])
    rest = [judged_pull(1, 0.0164), judged_pull(3, 0.0166), judged_pull(5, None)]
    spoiled = judged_pull(6, None, True, [event(4000, 5000)])
    (hole,) = holes.holes([one, two, *rest, spoiled], [two, one, *rest])
    assert (hole.number, hole.event, hole.pulls) == (4, deep, (2, 4))
    assert (hole.of, hole.judged, hole.fine) == (4, 5, (1,))
    assert (hole.rpm_from, hole.rpm_to, hole.seconds) == (3900, 5200, 0.7)
    assert hole.hints == (Hint("moved", 6.0, "intake"), Hint("duty", 0.9)) and hole.other == ""


def test_holes_come_deepest_first_and_those_at_the_limiter_last():
    cut = event(6900, 7000, depth=0.3, hints=(Hint("limiter", 6950.0),))
    shallow, deep = event(2000, 2500, depth=0.05), event(3000, 3500, depth=0.1)
    pull = judged_pull(1, None, lean_events=[shallow, cut, deep])
    assert [one.event for one in holes.holes([pull], [pull])] == [deep, shallow, cut]


@pytest.mark.parametrize("fall, told", [(0.0, ["battery"]), (0.79, ["battery"]), (0.81, []), (-2.0, ["battery"])])
def test_a_supply_that_surely_did_not_fall(fall, told):
    """Less than twice the least change that counts, 0.4 V; and it changed in the drive, so its sensor works."""
    made = scene(pulls=1)
    columns, (start, end) = made.columns, made.spans[0]
    columns.extra["battery"] = np.where(columns.time_s < 2.0, 12.0, 14.0)
    columns.extra["battery"][columns.rows(start + 3.0, start + 3.5)] -= fall
    pull = SimpleNamespace(judged=SimpleNamespace(columns=columns), pull=SimpleNamespace(start_s=start, end_s=end))
    lean = event(start_s=start + 3.0, end_s=start + 3.5)
    assert holes.held(pull, lean) == told
    columns.extra["battery"][:] = np.nan
    assert holes.held(pull, lean) == [] and not holes.still(columns, "battery")
    del columns.extra["battery"]
    assert holes.held(pull, lean) == [] and not holes.still(columns, "battery")


def test_a_supply_that_never_changed_proves_nothing():
    columns = scene(pulls=1).columns
    for swing, still in ((0.29, True), (0.31, False)):
        columns.extra["battery"] = np.where(columns.time_s < 4.0, 14.0, 14.0 - swing)
        assert holes.still(columns, "battery") == still
    lost = columns.time_s < 4.0
    columns.extra["battery"][lost] = np.nan
    assert holes.still(columns, "battery")


@pytest.mark.parametrize("above, state", [(0.016, FINE), (0.017, LEAN)])
def test_the_other_bank_is_on_target_or_lean(above, state):
    """On target below half of 0.033, if half of the event's rows show it or more."""
    excess = np.full(400, np.nan)
    columns = SimpleNamespace(rows=lambda a, b: slice(round(a * 200), round(b * 200)), config=Configuration())
    judged = SimpleNamespace(
        banks={"a": 1, "b": 2},
        columns=columns,
        shown=lambda rows: np.ones(rows.stop - rows.start, bool),
        excess=lambda name, rows: {"b": excess}[name][rows],
    )
    lean = event(bank="a")  # 1.0 to 1.5 s
    excess[200:250] = above
    found_state, _, share = holes.other_bank(judged, lean)
    assert (found_state, share) == (state, pytest.approx(above / 0.85))
    excess[200] = np.nan
    assert holes.other_bank(judged, lean) == ("", "", 0.0)
    judged.banks["c"] = 3
    assert holes.other_bank(judged, lean) == ("", "", 0.0)
    assert holes.other_bank(judged, event(bank=None)) == ("", "", 0.0)


def test_speed_that_comes_back():
    """By 15 rpm or more within the stretch."""
    rpm = np.array([1000.0, 1020.0, 1000.0, 1014.0, 1015.0])
    assert limiter.comes_back(rpm).tolist() == [True, False, True, False, False]


@pytest.mark.parametrize(
    "slope, dip, back, pedal_down, held",
    [
        (99.0, 0.0, False, False, True),
        (101.0, 0.0, False, True, False),
        (-99.0, 0.0, False, False, True),
        (300.0, 26.0, False, True, True),
        (300.0, 26.0, False, False, False),
        (300.0, 26.0, True, False, True),
        (300.0, 24.0, True, True, False),
    ],
)
def test_speed_that_is_held(slope, dip, back, pedal_down, held):
    """It rises by 100 rpm a second at most, or falls by 25 rpm, and without a throttle rises again."""
    rpm = 6000.0 + slope * np.arange(200) * 0.005
    if back:
        rpm[150] = rpm[149] - dip
    else:
        rpm[-1] = rpm[-2] - dip if dip else rpm[-1]
    assert limiter.held(rpm, 0.005, pedal_down) == held
    assert not limiter.held(rpm[:1], 0.005, True) and not limiter.held(np.full(9, np.nan), 0.005, True)


def at_the_limiter(held_s, again_s=0.0):
    """(columns, loaded): 3000 to 7000 rpm in 4 s, then held; with again_s load goes for so long in the middle."""
    columns = scene(pulls=1, noise=0.0).columns
    time_s = columns.time_s
    columns.rpm[:] = np.interp(time_s, [1.0, 5.0, 5.0 + held_s, 6.5 + held_s], [3000.0, 7000.0, 7000.0, 2000.0])
    loaded = (time_s >= 1.0) & (time_s < 5.0 + held_s)
    middle = 5.0 + held_s / 2
    loaded &= ~((time_s >= middle) & (time_s < middle + again_s))
    return columns, loaded


def test_a_stretch_at_the_limiter():
    """From 97.5 % of 7000 rpm, which it reaches 0.175 s before; load that is gone for 0.3 s parts no stretch."""
    for again_s, count in ((0.0, 1), (0.3, 1), (0.31, 2)):
        found = limiter.stretches(*at_the_limiter(2.0, again_s))
        assert len(found) == count
        assert found[0][0] == pytest.approx(4.825, abs=0.011) and found[-1][1] == pytest.approx(7.0, abs=0.001)
    assert limiter.stretches(*at_the_limiter(0.1)) == []
    columns, loaded = at_the_limiter(2.0)
    (span,) = limiter.stretches(columns, loaded & (columns.time_s < 6.5))
    assert span[1] == pytest.approx(6.5)
    assert limiter.stretches(columns, loaded & (columns.time_s >= 6.85)) == [(pytest.approx(6.85), pytest.approx(7.0))]
    assert limiter.stretches(columns, loaded & (columns.time_s >= 6.86)) == []
    columns.rpm[:] = np.nan
    assert limiter.stretches(columns, loaded) == []


def test_a_row_that_stands_out_hides_no_stretch():
    """1000 rpm more in one row are 77 in the mean of 0.06 s, so that 97.5 % of the highest are 6900 rpm."""
    columns, loaded = at_the_limiter(2.0)
    columns.rpm[columns.rows(6.0, 6.005)] += 1000.0
    (span,) = limiter.stretches(columns, loaded)
    assert span[0] == pytest.approx(4.90, abs=0.015)


def test_an_event_at_the_limiter():
    """Half of it lies in the stretch, which may end 0.15 s before."""
    at = limiter.at
    assert at(1.0, 2.0, [(5.0, 6.0), (1.49, 3.0)]) == (1.49, 3.0) and at(1.0, 2.0, [(1.51, 3.0)]) is None
    assert at(1.0, 2.0, [(0.0, 1.36)]) == (0.0, 1.36) and at(1.0, 2.0, [(0.0, 1.34)]) is None
    assert at(1.0, 2.0, []) is None


def test_a_fuel_pressure_that_follows_the_manifold_held():
    """The manifold falls by 60 kPa in the event, and the regulator lets the fuel follow."""
    made = scene(pulls=1)
    columns, (start, end) = made.columns, made.spans[0]
    columns.map_kpa[columns.rows(start + 3.0, start + 3.5)] -= 60.0
    columns.extra["fuel_pressure"] = 300.0 + columns.map_kpa
    pull = SimpleNamespace(judged=SimpleNamespace(columns=columns), pull=SimpleNamespace(start_s=start, end_s=end))
    assert holes.held(pull, event(start_s=start + 3.0, end_s=start + 3.5)) == ["fuel_pressure"]
    columns.map_kpa = None
    assert holes.held(pull, event(start_s=start + 3.0, end_s=start + 3.5)) == []


def test_falls_at_the_limiter_after_which_speed_rises():
    columns = scene(pulls=1).columns
    columns.rpm[:] = 6000.0
    columns.rpm[200] = 5900.0
    told = limiter.falls_of(columns, [(0.5, 2.0)])
    assert np.flatnonzero(told).tolist() == [200] and not limiter.falls_of(columns, []).any()


def marked(made):
    return StandInDrive(StandInSession(made.columns, [(*span, False) for span in made.spans]))


def test_a_pull_at_another_load_is_no_witness_for_a_lean_place():
    """Its mixture is on a target of its own; the same speeds at the same load are told."""
    (pull, *_) = answer(marked(scene())).pulls
    own = float(np.nanmedian(pull.judged.target[pull.judged.columns.rows(pull.pull.start_s + 2, pull.pull.end_s)]))
    assert abs(pull.excess_between(4000.0, 5000.0, own)) < 0.02 and pull.covers(4000.0, 5000.0, own)
    assert pull.excess_between(4000.0, 5000.0, own + 0.1) is None and not pull.covers(4000.0, 5000.0, own + 0.1)
    assert pull.covers(4000.0, 5000.0, float("nan")) and not pull.covers(8000.0, 9000.0, own)


@pytest.mark.parametrize("leaner", [0.0, 0.03])
def test_drives_that_are_judged_by_unlike_targets_say_so(leaner):
    before, after = scene(), scene(seed=1)
    with rewriting(after.columns) as written:
        written["target"]["lambda"] = [one + leaner for one in written["target"]["lambda"]]
    sides = [drive_comparison.Side(marked(one)) for one in (before, after)]
    kinds = [one.kind for one in drive_comparison.of_mixture(*sides).unlike]
    assert ("target" in kinds) == (leaner > 0)


def test_a_pull_without_a_bin_that_counts_has_no_mean(recwarn):
    values = np.array([[1.0, 1.1, np.nan], [1.0, 1.1, np.nan]])
    difference, low, high = compare._overall(values, values + 0.01, np.array([True, True]))
    assert difference == pytest.approx(0.01) and low < difference < high and not list(recwarn)
