"""Values from a few rows each, worked by hand: on-time of an injector, edges of a cycle, held values, the curve of
engine speed."""

from types import SimpleNamespace

import numpy as np
import pytest

from ringpull.files import configuration
from ringpull.ring.values import analog, decoded_columns, on_time, pulses, speed
from ringpull.ring.values.edges import EdgeColumns, Stretch
from ringpull.ring.values.speed import Curve

NAN = float("nan")


def setup_of(engine=None, **tops):
    columns = [SimpleNamespace(name=name.replace("_", "."), top=top) for name, top in tops.items()]
    return SimpleNamespace(columns=columns, config=configuration.of({"engine": engine or {}}))


def described(**keys):
    """The record of a channel."""
    (made,) = configuration.channels_of([keys])
    return made


def on_ms(count, on, age, rpm=None, strokes=4, **channel):
    setup = setup_of({"strokes": strokes}, inj_on=1 << 16, inj_age=1 << 20)
    raw = {"inj": np.array(count), "inj.on": np.array(on), "inj.age": np.array(age)}
    rpms = None if rpm is None else np.full(len(count), float(rpm))
    return on_time.on_ms(setup, described(name="inj", kind="pulse_width", **channel), raw, rpms).tolist()


def test_on_time_of_the_last_pulse():
    """None before the first one, and none where it was too long for its column; 0 where the next never came."""
    told = on_ms([0, 1, 2, 3, 3], [0, 2500, 65534, 65535, 65535], [5, 3000, 70000, 70000, (1 << 20) - 1])
    assert told == pytest.approx([NAN, 2.5, 65.534, NAN, 0.0], nan_ok=True)
    assert on_ms([1, 1], [2500, 2500], [(1 << 20) - 2, (1 << 20) - 1]) == [2.5, 0.0]
    assert on_ms([0, 0], [0, 0], [0, (1 << 20) - 1]) == pytest.approx([NAN, NAN], nan_ok=True)
    # the count goes round to 0: it has begun all the same
    assert on_ms([1, 0], [2500, 2600], [3000, 3000]) == [2.5, 2.6]


@pytest.mark.parametrize(
    "strokes, more, most_us",
    [(4, {}, 40_000), (4, {"per_cycle": 2}, 20_000), (2, {}, 20_000), (4, {"per_cycle": 4}, 10_000)],
)
def test_fuel_is_cut_where_two_pulses_should_have_come(strokes, more, most_us):
    """At 6000 rpm a cycle takes 20 ms, of a two-stroke 10."""
    ages = [most_us + 2500, most_us + 2501]
    assert on_ms([1, 1], [2500, 2500], ages, 6000, strokes, **more) == [2.5, 0.0]


def test_duty_by_hand():
    """2.5 ms of the 20 of a cycle at 6000 rpm; 0 in a fuel cut, whatever the speed."""
    injector = described(name="inj", kind="pulse_width")
    told = on_time.duty_pct(setup_of(), injector, np.array([2.5, 2.5, 0.0]), np.array([6000.0, NAN, NAN]))
    assert told.tolist() == pytest.approx([12.5, NAN, 0.0], nan_ok=True)
    told = on_time.duty_pct(setup_of({"strokes": 2}), injector, np.array([2.5]), np.array([6000.0]))
    assert told.tolist() == [25.0]
    injector = described(name="inj", kind="pulse_width", per_cycle=2)
    told = on_time.duty_pct(setup_of(), injector, np.array([2.5]), np.array([6000.0]))
    assert told.tolist() == [25.0]


@pytest.mark.parametrize(
    "channel, edges",
    [
        ({"kind": "pulses", "per_rev": 2}, 4.0),
        ({"kind": "pulses", "per_rev": 0.5}, 1.0),
        ({"kind": "pulses", "per_rev": 0.25}, 1.0),  # two cycles until it comes
        ({"kind": "pulses", "per_rev": 2.25}, 9.0),  # two cycles of 4.5
        ({"kind": "pulses", "per_rev": 17.125}, 137.0),  # four of 34.25
        ({"kind": "pulses", "per_rev": 17.1}, 34.2),  # five would be 171: none of up to four is whole
        ({"kind": "pulses", "per_metre": 4}, 8.0),
        ({"kind": "pulses", "per_metre": 0.1}, 1.0),
        ({"kind": "frequency", "hz": [0, 1], "values": [0, 1]}, 1.0),
    ],
)
def test_over_how_many_edges_a_channel_is_averaged(channel, edges):
    """Two metres of road, a cycle of two turns, or as many cycles as have a whole number of edges."""
    assert pulses.cycle_edges(setup_of(), described(name="p", **channel)) == pytest.approx(edges)


def test_values_that_are_held_too_long_are_none():
    """From 1000 ms on, or from the channel's own limit, or where its column holds no more."""
    for stale_ms, top, oldest in ((None, 4096, 1000), (250, 4096, 250), (None, 512, 511), (5000, 4096, 4095)):
        column = SimpleNamespace(stale_ms=stale_ms, top=top)
        setup = SimpleNamespace(column=lambda name, role: 3, columns={3: column})
        held = np.array([0, oldest - 1, oldest, min(oldest + 1, top - 1)])
        told = analog._fresh(setup, "map", {"map.held": held}, np.arange(4.0))
        assert told.tolist() == pytest.approx([0.0, 1.0, NAN, NAN], nan_ok=True), (stale_ms, top)
    bare = SimpleNamespace(column=lambda name, role: None)
    assert analog._fresh(bare, "map", {}, np.arange(4.0)).tolist() == [0.0, 1.0, 2.0, 3.0]
    column = SimpleNamespace(volts_per_count=0.25, volts_at_zero=-40.0)
    bus = SimpleNamespace(column=lambda name, role: None, described=lambda name, role: column)
    assert analog.from_bus(bus, described(name="oil", kind="can"), {"oil": np.array([0, 400])}).tolist() == [
        -40.0,
        60.0,
    ]


def test_of_rows_with_one_number_the_last_counts():
    table = {"row": np.array([5, 3, 5, 4, 3]), "map": np.array([1, 2, 3, 4, 5])}
    told = decoded_columns.rising(table)
    assert told["row"].tolist() == [3, 4, 5] and told["map"].tolist() == [5, 4, 3]
    empty = {"row": np.zeros(0, np.int64), "map": np.zeros(0)}
    assert len(decoded_columns.rising(empty)["map"]) == 0


@pytest.mark.parametrize("x", [[0, 1, 2, 3, 4], [0, 1, 3, 4, 6], [0, 1.5, 2, 40, 41], [2, 3, 4, 5]])
def test_a_parabola_is_its_own_curve(x):
    """Through points of x squared, however they lie: value, slope and the way back."""
    x = np.array(x, float)
    curve = Curve(x, x**2)
    at = np.concatenate([x, (x[1:] + x[:-1]) / 2, x[:-1] * 0.9 + x[1:] * 0.1])
    if np.ptp(np.diff(x)) < 30:
        assert curve(at) == pytest.approx(at**2)
        inside = at[at > 0.5]  # where the slope is 0 the way back is slow
        assert curve.where(inside**2) == pytest.approx(inside, abs=1e-4)
        between = at[len(x) :]
        assert curve.slope(between) == pytest.approx(2 * between)
    else:  # bends differ where intervals are so unlike; the points stay
        assert curve(x) == pytest.approx(x**2)


def test_a_curve_bends_no_more_than_twice_the_lesser_of_its_neighbours():
    """Secants 1, 2, 12: bends 1 and 10, in the middle 2 where their mean is 5.5; at a turn none."""
    curve = Curve(np.arange(4.0), np.array([0.0, 1.0, 3.0, 15.0]))
    assert curve.bend.tolist() == [1.0, 2.0, 10.0]
    assert curve(np.array([1.5])).tolist() == [2.0 - 2.0 / 8]
    down = Curve(np.arange(4.0), -np.array([0.0, 1.0, 3.0, 15.0]))
    assert down.bend.tolist() == [-1.0, -2.0, -10.0]
    turn = Curve(np.arange(4.0), np.array([0.0, 1.0, 3.0, 4.0]))
    assert turn.bend.tolist() == [1.0, 0.0, -1.0] and turn(np.array([1.25])).tolist() == [1.5]
    two = Curve(np.arange(2.0), np.array([0.0, 5.0]))
    assert two.bend.tolist() == [0.0] and two(np.array([0.5])).tolist() == [2.5]


def test_a_rate_needs_a_positive_time():
    assert speed._over(4.0, np.array([2.0, 0.0, -1.0])).tolist() == pytest.approx([2.0, NAN, NAN], nan_ok=True)


def turning(channel):
    """(setup, raw) of 2 s at 200 Hz with an edge each 10 ms, stamped 1.25 ms before every second row."""
    row = np.arange(400)
    widths = {("p", "count"): SimpleNamespace(bits=24), ("p.age", "age"): SimpleNamespace(bits=20)}
    setup = SimpleNamespace(
        described=lambda *one: widths[one],
        period_us=5000,
        config=configuration.Configuration(),
    )
    age = np.where(row % 2 == 0, 1250, 6250)
    return setup, {"row": row, "p": row // 2 + 1, "p.age": age}


def test_speeds_of_an_edge_each_ten_milliseconds():
    """100 a second: 3000 rpm of two a turn, 90 km/h of four a metre."""
    for more, expected in (({"per_rev": 2}, 3000.0), ({"per_metre": 4}, 90.0)):
        channel = described(name="p", kind="pulses", **more)
        setup, raw = turning(channel)
        assert pulses.value(setup, channel, raw)[50:350] == pytest.approx(np.full(300, expected)), more


def test_turns_of_two_edges_each():
    channel = described(name="p", kind="pulses", per_rev=2)
    setup, raw = turning(channel)
    ((times_s, turns),) = pulses.turns(setup, channel, raw)
    assert turns[:4].tolist() == [0.0, 0.5, 1.0, 1.5] and np.diff(times_s) == pytest.approx(
        np.full(len(turns) - 1, 0.01)
    )
    assert times_s[0] == pytest.approx(-0.00125)


def test_a_thermocouple_is_told_from_both_counts():
    """Each pair of counts by itself, as the shared definition has it of these volts."""
    from shared_math import thermocouple, transfer

    cold = {"name": "cj", "kind": "linear", "unit": "degC", "volts": [0.0, 5.0], "values": [0.0, 100.0]}
    hot = {"name": "egt", "kind": "thermocouple", "cold": "cj", "type": "K", "gain": 100.0}
    column = SimpleNamespace(bits=12, top=1 << 12, volts_per_count=0.001, volts_at_zero=0.0)
    config = configuration.of({"channels": [cold, hot]})
    setup = SimpleNamespace(config=config, described=lambda name, role: column)
    raw = {"egt": np.array([1000, 2000, 1000], np.uint16), "cj": np.array([1000, 1000, 1500], np.uint16)}
    setup.column, setup.looked_up = lambda name, role: None, {}
    assert analog.value(setup, config.by_name["cj"], raw).tolist() == pytest.approx([20.0, 20.0, 30.0])
    told = analog.value(setup, config.by_name["egt"], raw)
    wanted = [
        thermocouple.channel_degc(hot, egt / 1000, transfer.to_value(cold, cj / 1000))
        for egt, cj in ((1000, 1000), (2000, 1000), (1000, 1500))
    ]
    assert told.tolist() == pytest.approx(wanted) and len(set(wanted)) == 3


def columns_named(*pairs):
    """A setup with these columns, (name, role), and a channel of each kind."""
    channels = [
        {"name": "map", "kind": "linear", "unit": "kPa", "volts": [0.0, 5.0], "values": [0.0, 100.0]},
        {"name": "egt", "kind": "thermocouple", "cold": "cj", "type": "K", "gain": 100.0},
        {"name": "rpm", "kind": "pulses", "per_rev": 2},
        {"name": "inj", "kind": "pulse_width"},
        {"name": "oil", "kind": "can", "unit": "degC"},
        {"name": "door", "kind": "digital"},
    ]
    return SimpleNamespace(
        config=configuration.of({"channels": channels}),
        column=lambda name, role: pairs.index((name, role)) if (name, role) in pairs else None,
    )


EVERY = {
    "map": [("map", "adc")],
    "egt": [("egt", "adc"), ("cj", "adc")],
    "rpm": [("rpm", "count"), ("rpm.age", "age")],
    "inj": [("inj", "count"), ("inj.age", "age"), ("inj.on", "on_us")],
    "oil": [("oil", "bus")],
    "door": [("door", "digital")],
}


@pytest.mark.parametrize("name", EVERY)
def test_a_channel_is_decoded_only_from_all_of_its_columns(name):
    def told(pairs):
        return [one.name for one in decoded_columns.decodable(columns_named(*pairs))]

    assert told(EVERY[name]) == [name]
    assert told([]) == [] and told([pair for pairs in EVERY.values() for pair in pairs]) == list(EVERY)
    for missing in EVERY[name]:
        assert told([pair for pair in EVERY[name] if pair != missing]) == [], missing
    other = [(pair[0], "digital" if pair[1] != "digital" else "adc") for pair in EVERY[name]]
    assert told(other) == []


def test_values_beside_the_rows_that_are_wanted():
    """Rows 3 to 6 of ten, of 20 ms; the mark as the number of the open pull, else 0; the door as it was."""
    setup = columns_named(("door", "digital"), ("mark", "mark"))
    setup.period_us = 20000
    blocks = SimpleNamespace(id=7, setup=setup, runs=[])
    table = {"row": np.arange(10), "door": np.arange(10) % 2, "mark": np.array([0, 0, 1, 1, 2, 2, 3, 4, 5, 5])}
    told = decoded_columns.decoded(blocks, table, slice(3, 7))
    assert list(told) == ["session", "time_s", "door", "mark"]
    assert told["session"].tolist() == [7] * 4 and told["time_s"].tolist() == pytest.approx([0.06, 0.08, 0.1, 0.12])
    assert told["door"].tolist() == [1.0, 0.0, 1.0, 0.0] and told["mark"].tolist() == [1, 0, 0, 2]
    bare = columns_named()
    bare.period_us = 20000
    told = decoded_columns.decoded(SimpleNamespace(id=7, setup=bare, runs=[]), {"row": np.arange(3)})
    assert list(told) == ["session", "time_s", "mark"] and told["mark"].tolist() == [0, 0, 0]


def test_a_session_of_no_rows_has_empty_columns():
    setup = SimpleNamespace(names=["map", "count"], bits=[12, 24])
    blocks = SimpleNamespace(setup=setup, ordered=True, pieces=lambda: iter(()))
    told = decoded_columns.raw(blocks)
    assert {name: (len(column), column.dtype.itemsize) for name, column in told.items()} == {
        "row": (0, 8),
        "map": (0, 2),
        "count": (0, 4),
    }


def test_a_session_s_columns_are_joined_from_its_pieces():
    """Of two pieces; where rows go back, in the order of their numbers."""
    setup = SimpleNamespace(names=["map", "count"], bits=[12, 24])

    def pieces():
        yield np.array([3, 4]), {0: np.array([30, 40], np.uint16), 1: np.array([300, 400], np.uint32)}
        yield np.array([1]), {0: np.array([10], np.uint16), 1: np.array([100], np.uint32)}

    for ordered, wanted in ((True, [3, 4, 1]), (False, [1, 3, 4])):
        told = decoded_columns.raw(SimpleNamespace(setup=setup, ordered=ordered, pieces=pieces))
        assert told["row"].tolist() == wanted and list(told) == ["row", "map", "count"]
        assert told["map"].tolist() == [10 * n for n in wanted] and told["count"].tolist() == [100 * n for n in wanted]


@pytest.mark.parametrize("edges, learned", [(80, False), (81, True)])
def test_uneven_teeth_are_learned_from_twenty_cycles_on(edges, learned):
    """Four teeth up to 5 % of their spacing off; 81 edges are twenty whole cycles."""
    off = np.array([0.0, 0.05, -0.03, 0.02])
    number = np.arange(float(edges))
    told = speed.even_numbers(Stretch(number, 5000.0 * (number + np.resize(off, edges))), 4.0) - number
    assert told == pytest.approx(np.resize(off - off.mean(), edges) if learned else np.zeros(edges), abs=1e-3)
    every = speed.even_numbers(Stretch(number, 5000.0 * number), 4.0)
    assert every is number  # nothing to correct


@pytest.mark.parametrize("bits, kept", [(12, True), (16, True), (17, False)])
def test_each_count_is_converted_once(monkeypatch, bits, kept):
    """Up to 16 bits once for the session, by a table; a wider column would need a large one."""
    asked = []
    real = analog.transfer.to_value
    monkeypatch.setattr(analog.transfer, "to_value", lambda channel, volts: asked.append(volts) or real(channel, volts))
    channel = described(name="map", kind="linear", unit="kPa", volts=[0.0, 5.0], values=[0.0, 100.0])
    column = SimpleNamespace(bits=bits, top=1 << bits, volts_per_count=0.001, volts_at_zero=0.0)
    setup = SimpleNamespace(looked_up={}, described=lambda name, role: column)
    for counts in ([1000, 2000, 1000], [2000, 3000], [3000, 1000]):
        told = analog._of_counts(setup, channel, np.array(counts))
        assert told.tolist() == pytest.approx([count / 50 for count in counts])
    assert len(asked) == (3 if kept else 6) and (list(setup.looked_up) == ["map"]) == kept


def test_compiled_code_runs_only_where_it_is_asked_for(monkeypatch):
    """Loading and compiling take longer than a small file."""

    def refused(*given):
        raise AssertionError("compiled code was called")

    monkeypatch.setattr(speed, "_compiled_widths", refused)
    columns = EdgeColumns(np.arange(100), np.arange(1, 101), np.full(100, 1000), 5000.0, 24, 20)
    assert np.nanmean(speed.rate_hz(columns, 4.0)) == pytest.approx(200.0)
    with pytest.raises(AssertionError, match="was called"):
        speed.rate_hz(columns, 4.0, fast=True)


def test_the_first_cycle_s_middle_is_met_to_half_a_microsecond():
    """Edges each 10 ms from 10 ms on, the fifth a microsecond late: the middle of the first four periods is at
    30,000.5 us, behind the row of 30 ms."""
    for late, first in ((1, 7), (0, 6)):
        edges_us = np.arange(1, 60) * 10000
        edges_us[4] += late
        row = np.arange(118)
        count = np.searchsorted(edges_us, row * 5000, side="right")
        age = np.where(count > 0, row * 5000 - edges_us[np.maximum(count - 1, 0)], (1 << 20) - 1)
        hz = speed.rate_hz(EdgeColumns(row, count, age, 5000.0, 24, 20), 4.0)
        assert np.flatnonzero(np.isfinite(hz))[0] == first


@pytest.mark.parametrize("period_us, margin", [(10000, 500), (3000, 1667)])
def test_a_piece_is_decoded_with_five_seconds_on_both_sides(monkeypatch, period_us, margin):
    spans = []

    def noted(blocks, table, keep):
        spans.append((int(table["row"][0]), int(table["row"][-1]), keep.start, keep.stop))
        return {}

    pieces = [{"row": np.arange(first, first + 4000)} for first in (0, 4000, 8000)]
    monkeypatch.setattr(decoded_columns, "decoded", noted)
    monkeypatch.setattr(decoded_columns, "raw_pieces", lambda *given: iter(pieces))
    assert len(list(decoded_columns.pieces(SimpleNamespace(setup=SimpleNamespace(period_us=period_us))))) == 3
    assert spans == [
        (0, 3999 + margin, 0, 4000),
        (4000 - margin, 7999 + margin, margin, margin + 4000),
        (8000 - margin, 11999, margin, margin + 4000),
    ]
