"""The lamp's warnings held against the judged pulls, and one sensor's unusable output: each limit with a number."""

from types import SimpleNamespace

import numpy as np
import pytest

from ringpull.analysis import signs
from ringpull.analysis.judge import lamp, sensor
from ringpull.files import configuration

PERIOD_S = 0.01
NAN = float("nan")


class Columns:
    """20 s of an idle engine at lambda 1, 100 rows a second."""

    def __init__(self, rows=2000, **more):
        self.period_s = PERIOD_S
        self.time_s = np.arange(rows) * PERIOD_S
        self.lambda_ = np.ones(rows)
        self.rpm = np.full(rows, 3000.0)
        self.map_kpa, self.throttle = np.full(rows, 40.0), np.full(rows, 10.0)
        self.config = configuration.of(
            {"channels": [{"name": "lambda_1", "kind": "lambda", "volts": [0, 5], "values": [0.6, 1.4]}]}
        )
        self.banks = {"lambda_1": self.lambda_}
        self.states, self.extra = {}, {}
        self.__dict__.update(more)

    def __len__(self):
        return len(self.time_s)

    def rows(self, start_s, end_s):
        low, high = np.searchsorted(self.time_s, (start_s - 1e-9, end_s - 1e-9))
        return slice(int(low), int(high))


def judged(excess=0.0, loaded=(), known=True, banks=("lambda_1",), doubted=(), columns=None, **rule):
    """excess: of all rows, or by bank. loaded, known: spans in s, known also for all."""
    columns = columns or Columns()
    rows = len(columns)

    def spans(some):
        out = np.zeros(rows, bool)
        for start_s, end_s in some:
            out[columns.rows(start_s, end_s)] = True
        return out

    shown = np.full(rows, known) if isinstance(known, bool) else spans(known)
    values = excess if isinstance(excess, dict) else {name: np.full(rows, float(excess)) for name in banks}
    return SimpleNamespace(
        columns=columns,
        loaded=spans(loaded),
        banks=list(banks),
        doubted=list(doubted),
        load_rule=SimpleNamespace(**{"rising_rpm_s": None, "throttle_pct": 80.0, "full_kpa": 95.0} | rule),
        shown=lambda part: shown[part],
        excess=lambda name, part: values[name][part],
    )


def pull(number, start_s, end_s, *events, spoiled=False):
    held = [SimpleNamespace(start_s=a, end_s=b, depth=depth) for a, b, depth in events]
    return SimpleNamespace(number=number, start_s=start_s, end_s=end_s, spoiled=spoiled, events=held)


def came_to(made, *pulls, warning=(10.0, 12.0)):
    told = lamp.held_against(made, 3, warning, list(pulls))
    assert (told.session, told.start_s, told.end_s) == (3, *warning)
    return told


@pytest.mark.parametrize(
    "start_s, end_s, counts",
    [(11.0, 11.2, True), (8.0, 8.51, True), (8.0, 8.49, False), (11.99, 13.0, True), (12.0, 13.0, False)],
)
def test_an_event_up_to_a_second_and_a_half_before_a_warning_is_its_cause(start_s, end_s, counts):
    """The warning is up from 10 to 12 s: from 8.5 s on."""
    told = came_to(judged(loaded=[(5, 15)]), pull(4, 5.0, 15.0, (start_s, end_s, 0.07), (1.0, 2.0, 0.2)))
    assert told.pull == 4
    assert (told.came_to, told.excess) == ((lamp.EVENT, 0.07) if counts else (lamp.JUDGED, 0.0))


def test_of_several_events_the_deepest_is_told():
    told = came_to(judged(), pull(1, 5.0, 10.5, (9.0, 9.5, 0.05)), pull(2, 10.6, 15.0, (11.0, 11.5, 0.08)))
    assert (told.pull, told.came_to, told.excess) == (1, lamp.EVENT, 0.08)


@pytest.mark.parametrize("end_s, near", [(8.51, True), (8.49, False)])
def test_which_pull_a_warning_belongs_to(end_s, near):
    assert came_to(judged(), pull(2, 5.0, end_s)).pull == (2 if near else None)
    assert came_to(judged(), pull(2, 11.99, 15.0)).pull == 2 and came_to(judged(), pull(2, 12.0, 15.0)).pull is None


@pytest.mark.parametrize("judged_s, word", [(1.2, lamp.JUDGED), (1.19, lamp.UNJUDGED)])
def test_a_span_of_which_four_fifths_were_judged_is_judged(judged_s, word):
    """The 1.5 s before the warning, from 8.5 s on, all of them under load."""
    told = came_to(judged(0.02, loaded=[(5, 15)], known=[(8.5, 8.5 + judged_s)]), pull(1, 5.0, 15.0))
    assert told.came_to == word and told.excess == pytest.approx(0.02)


def test_only_rows_under_load_and_in_pulls_that_count_are_judged():
    half = judged(loaded=[(8.5, 9.1)], known=[(8.5, 9.1)])  # of 0.6 s all
    assert came_to(half, pull(1, 5.0, 15.0)).came_to == lamp.JUDGED
    every = judged(loaded=[(5, 15)])
    assert came_to(every, pull(1, 5.0, 15.0, spoiled=True)).came_to == lamp.UNJUDGED
    assert came_to(every, pull(1, 8.9, 15.0)).came_to == lamp.UNJUDGED  # of 1.5 s 1.1
    both = came_to(every, pull(1, 5.0, 8.9), pull(2, 8.9, 15.0))
    assert (both.came_to, both.pull) == (lamp.JUDGED, 1)  # the earlier one is told
    assert came_to(judged(), pull(1, 5.0, 15.0)).came_to == lamp.UNJUDGED  # never under load, but in a pull


def test_of_two_banks_the_less_judged_and_the_leaner_count():
    columns = Columns()
    poor = np.full(len(columns), 0.01)
    poor[columns.rows(9.0, 10.0)] = NAN
    full = {"lambda_1": np.full(len(columns), 0.02), "lambda_2": np.full(len(columns), 0.01)}
    banks = ("lambda_1", "lambda_2")
    told = came_to(judged(full, [(5, 15)], banks=banks), pull(1, 5.0, 15.0))
    assert (told.came_to, told.excess) == (lamp.JUDGED, pytest.approx(0.02))
    told = came_to(judged(full | {"lambda_2": poor}, [(5, 15)], banks=banks), pull(1, 5.0, 15.0))
    assert (told.came_to, told.excess) == (lamp.UNJUDGED, pytest.approx(0.02))


def test_part_load_is_told_with_the_highest_pressure_and_throttle():
    columns = Columns()
    columns.map_kpa[1100], columns.throttle[900] = 62.0, 33.0
    columns.map_kpa[1300], columns.throttle[840] = 90.0, 77.0  # behind the warning, and 1.6 s before it
    told = came_to(judged(columns=columns))
    assert (told.pull, told.came_to, told.most_kpa, told.most_pct) == (None, lamp.PART_LOAD, 62.0, 33.0)
    columns.throttle = None
    told = came_to(judged(columns=columns))
    assert (told.came_to, told.most_kpa, told.most_pct) == (lamp.PART_LOAD, 62.0, None)


@pytest.mark.parametrize("known_rows, told", [(280, True), (279, False)])
def test_part_load_needs_four_fifths_of_the_rows(known_rows, told):
    """Of the 350 rows from 8.5 to 12 s, by either instrument."""
    columns = Columns()
    columns.map_kpa[850 + 100 : 1200] = NAN
    columns.throttle[: 850 + 350 - (known_rows - 100)] = NAN
    assert (came_to(judged(columns=columns)).came_to == lamp.PART_LOAD) == told


@pytest.mark.parametrize(
    "more",
    [
        {"doubted": [SimpleNamespace(channel="map", role="map")]},
        {"rising_rpm_s": 300.0},
        {"loaded": [(11.9, 11.95)]},
        {"throttle_pct": None, "full_kpa": None},
    ],
)
def test_where_load_is_not_known_a_warning_is_unjudged(more):
    told = came_to(judged(**more))
    assert (told.came_to, told.most_kpa, told.most_pct) == (lamp.UNJUDGED, None, None)


def test_a_contradicted_reading_by_which_the_lamp_warned_is_named():
    doubted = [SimpleNamespace(channel="lambda_1", role="lambda"), SimpleNamespace(channel="oil", role="oil")]
    for made, word in (
        (judged(doubted=doubted), lamp.UNJUDGED),
        (judged(doubted=doubted, loaded=[(5, 15)]), lamp.JUDGED),
    ):
        told = came_to(made, pull(1, 5.0, 15.0))
        assert (told.came_to, told.rests_on) == (word, ("lambda_1",))
    event = came_to(judged(doubted=doubted), pull(1, 5.0, 15.0, (9.0, 9.5, 0.05)))
    assert (event.came_to, event.rests_on) == (lamp.EVENT, ()) and came_to(judged()).rests_on == ()


def test_load_is_told_by_the_instruments_of_the_rule_alone():
    columns = Columns()
    columns.map_kpa[:] = NAN
    assert came_to(judged(columns=columns, throttle_pct=None)).came_to == lamp.UNJUDGED
    assert came_to(judged(columns=columns, full_kpa=None)).came_to == lamp.PART_LOAD
    assert came_to(judged(columns=columns, loaded=[(12.0, 13.0)])).came_to == lamp.PART_LOAD


def steps_of(*values, rows=100, tau_s=0.02, guard=0, beside=None, **more):
    """Rows of lambda 1 with other `values`, (first, last, lambda)."""
    columns = Columns(rows, **more)
    for first, last, value in values:
        columns.lambda_[first:last] = value
    steps, spoiled = sensor.too_fast(columns, tau_s, guard, beside)
    return steps, np.flatnonzero(spoiled).tolist()


def test_a_step_is_too_fast_where_the_lag_allows_less():
    """In a row of 10 ms a lag of 20 ms passes 1 - exp(-0.5) = 0.3935 of the range of 0.8, with 0.02 more 0.3348."""
    assert steps_of((50, 100, 1.33)) == (0, [])
    assert steps_of((50, 100, 1.34)) == (1, [49, 50])
    assert steps_of((50, 100, 0.66)) == (1, [49, 50])
    assert steps_of((50, 100, 1.34), guard=3) == (1, [*range(46, 54)])
    assert steps_of((50, 100, 1.34), rows=51) == (1, [49, 50]) and steps_of(rows=1) == (0, [])


def test_a_lag_that_allows_nine_tenths_of_the_range_tells_of_no_step():
    """A row of 10 ms: with 0.02 of slack 0.9 x 0.8 are allowed from a lag of 4.81 ms down: 10 / ln(1 / 0.125) ms."""
    for tau_s, told in ((0.0049, 1), (0.0047, 0), (0.0, 0)):
        assert steps_of((50, 60, 1.4), (60, 61, 0.6), tau_s=tau_s)[0] == told, tau_s
    bare = {"config": configuration.of({"channels": [{"name": "lambda_1", "kind": "lambda"}]})}
    assert steps_of((50, 100, 1.4), **bare) == (0, [])


def test_a_spike_takes_what_lies_in_it_and_nothing_between_it_and_the_next():
    assert steps_of((50, 53, 1.4)) == (2, [49, 50, 51, 52, 53])
    told = steps_of((50, 53, 1.4), (80, 83, 1.4))
    assert told == (4, [*range(49, 54), *range(79, 84)])


def test_two_steps_within_three_seconds_belong_together():
    """The second step begins in the row `last`: what lies between is not used."""
    for last, together in ((351, True), (352, False)):
        steps, rows = steps_of((50, last, 1.4), rows=500)
        assert steps == 2 and (len(rows) == last + 1 - 49) == together, last
    steps, rows = steps_of((50, 100, 1.35), (100, 150, 1.0), (150, 200, 1.35), rows=300)
    assert (steps, rows) == (4, [*range(49, 201)])  # half a second is no spike: it may as well be wrong in between


def test_steps_on_the_edge_of_a_state_are_spoiled_but_not_counted():
    beside = np.zeros(100, bool)
    beside[50] = True
    assert steps_of((50, 100, 1.4), beside=beside) == (0, [49, 50])
    beside[50], beside[51] = False, True
    assert steps_of((50, 100, 1.4), beside=beside) == (1, [49, 50])


def test_air_of_a_fuel_cut_may_come_at_once_and_is_no_step():
    """The throttle closes at 0.3 s and opens at 0.4 s: its air is in the pipe up to 1 s later."""
    throttle = np.full(400, 50.0)
    throttle[:10] = 0.0  # a closed throttle is known
    throttle[30:40] = 0.0
    rpm = np.full(400, 3000.0)
    rpm[:10] = 800.0
    for at, counted in ((35, 0), (139, 0), (141, 1)):
        assert steps_of((at, 400, 1.4), rows=400, throttle=throttle, rpm=rpm)[0] == counted, at
        # up and down within a tenth of a second: no air does that
        assert steps_of((at, at + 5, 1.4), rows=400, throttle=throttle, rpm=rpm)[0] == 2, at
    for rows, counted in ((11, 2), (12, 0)):  # ten of them behind the row of the step itself
        assert steps_of((60, 60 + rows, 1.4), rows=400, throttle=throttle, rpm=rpm)[0] == counted


def output(**more):
    columns = Columns(400, **more)
    return sensor.output(columns), columns


def test_a_state_is_widened_by_the_lag_and_counted_where_the_engine_runs():
    """A lag of 80 ms: eight rows on either side."""
    values = np.ones(400)
    values[100:110] = NAN
    values[200] = NAN
    config = configuration.of(
        {"channels": [{"name": "lambda_1", "kind": "lambda", "values": [0.6, 1.4], "tau_ms": 80}]}
    )
    told, _ = output(lambda_=values, config=config)
    assert np.flatnonzero(told.state).tolist() == [*range(92, 118), *range(192, 209)]
    assert told.entries == 2 and told.steps == 0 and (told.unusable == told.state).all()
    rpm = np.full(400, 3000.0)
    rpm[:150] = 0.0
    assert output(lambda_=values, config=config, rpm=rpm)[0].entries == 1
    values[:3] = NAN  # what began before the first row is no entry
    assert output(lambda_=values, config=config)[0].entries == 2


def test_a_lost_reading_is_no_state():
    values = np.ones(400)
    values[100:110] = NAN
    present = np.ones(400)
    present[95:120] = 0.0
    told, _ = output(lambda_=values, extra={"present": present})
    assert not told.state.any() and told.entries == 0
    present[95:120] = 0.5
    assert output(lambda_=values, extra={"present": present})[0].entries == 1


def test_a_state_of_another_channel_is_none_of_the_only_sensor():
    flags = np.zeros(400, bool)
    flags[100:110] = True
    assert output(states={("lambda_1", "off"): flags})[0].entries == 1
    assert output(states={("egt", "off"): flags})[0].entries == 0
    both = {"lambda_1": np.ones(400), "lambda_2": np.ones(400)}
    assert output(states={("lambda_1", "off"): flags}, banks=both)[0].entries == 0


def test_the_ends_of_the_range_are_told():
    values = np.ones(400)
    values[100:110], values[200:210] = 0.6, 1.4
    told, _ = output(lambda_=values)
    assert np.flatnonzero(told.rich).tolist() == [*range(100, 110)]
    assert np.flatnonzero(told.lean).tolist() == [*range(200, 210)] and told.electrical.any() and told.steps == 4


@pytest.mark.parametrize(
    "steps, entries, told", [(0, 4, None), (0, 5, (0, 5)), (1, 4, (1, 0)), (1, 5, (1, 5)), (0, 0, None)]
)
def test_more_than_four_entries_into_a_state_mean_a_loose_plug(steps, entries, told):
    bank = SimpleNamespace(output=SimpleNamespace(steps=steps, entries=entries))
    found = signs.wiring([SimpleNamespace(columns=Columns(10), banks={"": bank})])
    assert [(one.steps, one.entries) for one in found] == ([] if told is None else [told])


def test_steps_of_several_sessions_add_up():
    bank = SimpleNamespace(output=SimpleNamespace(steps=2, entries=3))
    (one,) = signs.wiring([SimpleNamespace(columns=Columns(10), banks={"": bank})] * 2)
    assert (one.steps, one.entries) == (4, 6)


@pytest.mark.parametrize("falls_rpm_s, steps", [(0.0, 2), (1000.0, 0)])
def test_a_fuel_cut_is_no_electrical_step_where_speed_alone_tells_of_it(falls_rpm_s, steps):
    """Lambda goes through its whole range at once and back, 3 s and 6 s on; speed falls meanwhile, or stands."""
    rpm = np.full(2000, 6000.0)
    rpm[290:600] = 6000.0 - falls_rpm_s * PERIOD_S * np.arange(310)
    rpm[600:] = rpm[599]
    values = np.full(2000, 0.85)
    values[300:600] = 1.39
    columns = Columns(map_kpa=None, throttle=None, rpm=rpm, lambda_=values)
    assert sensor.too_fast(columns, 0.02, 5)[0] == steps
