"""Properties of shared_math that must hold for any input."""

import json
import math

from hypothesis import example, given
from hypothesis import strategies as st
from property_examples import examples

from shared_math import config, mixture, speed, ticks, transfer
from shared_math.config import json_text
from shared_math.target import lambda_target

finite = st.floats(-1e6, 1e6, allow_nan=False)
json_values = st.recursive(
    st.none()
    | st.booleans()
    | st.integers(-(10**15), 10**15)
    | st.floats(allow_nan=False, allow_infinity=False)
    | st.text(max_size=20),
    lambda inner: st.lists(inner, max_size=4) | st.dictionaries(st.text(max_size=10), inner, max_size=4),
    max_leaves=12,
)


@given(json_values, st.sampled_from([None, 1, 4]))
def test_reader_agrees_with_the_standard_library(value, indent):
    text = json.dumps(value, ensure_ascii=False, indent=indent)
    if "\\ud" in text or any(0xD800 <= ord(c) < 0xE000 for c in text):
        return  # lone surrogates are no UTF-8
    try:
        read = json_text.parse(text)
    except ValueError as error:
        assert "deep" in str(error) or "longer" in str(error), (text, error)
        return
    assert read == json.loads(text)
    assert json.loads(config.squeeze(text.encode())) == value


@given(st.text(alphabet='{}[]",:0123456789.eE+-truefalsn \n\\u', max_size=30))
def test_reader_takes_nothing_that_the_standard_library_refuses(text):
    try:
        read = json_text.parse(text)
    except ValueError:
        return
    assert json.loads(text) == read


@given(st.binary(max_size=60))
def test_reader_raises_nothing_but_its_sentence(data):
    try:
        config.load(data)
    except ValueError as error:
        assert str(error)


GOOD = {
    "version": 1,
    "engine": {"cylinders": 4},
    "fuel": {"name": "petrol"},
    "vehicle": {"mass_kg": 900},
    "target": {"load": "map", "load_kpa": [40, 200], "lambda": [1, 0.8]},
    "channels": [
        {"name": "lambda_1", "input": "a0", "kind": "lambda", "volts": [0, 5], "values": [0.6, 1.4]},
        {"name": "map", "input": "a1", "kind": "linear", "unit": "kPa", "volts": [0.5, 4.5], "values": [20, 300]},
        {"name": "engine_speed", "input": "p0", "kind": "pulses", "per_rev": 2},
        {"name": "coolant", "input": "a2", "kind": "thermistor", "pullup_ohm": 1800, "beta": 3435, "r25_ohm": 10000},
        {"name": "ethanol", "input": "p1", "kind": "frequency", "hz": [50, 150], "values": [0, 100]},
    ],
}


def _places(value, path=()):
    yield path
    items = value.items() if isinstance(value, dict) else enumerate(value) if isinstance(value, list) else ()
    for key, one in items:
        yield from _places(one, (*path, key))


PLACES = [path for path in _places(GOOD) if path]
anything = json_values | st.sampled_from(
    [float("nan"), float("inf"), -float("inf"), 10**400, -(10**400), True, "4", "a0", [], {}]
)


@examples(400)
@given(st.sampled_from(PLACES), anything)
def test_anything_anywhere_is_accepted_or_explained(path, value):
    wrong = json.loads(json.dumps(GOOD))
    holder = wrong
    for step in path[:-1]:
        holder = holder[step]
    holder[path[-1]] = value
    problems = config.check(wrong)
    for problem in problems:
        assert all(config.explain(problem))
    if not problems:
        full = config.defaults(wrong)
        assert config.check(full) == []
        for channel in full["channels"]:
            if channel["kind"] in ("pulses", "frequency"):
                assert speed.glitch_limit_us(channel) >= 1
            else:
                for volts in (0.0, 1.0, 2.5, 4.9, 5.0):
                    got = transfer.to_value(channel, volts)
                    assert got is None or math.isfinite(got)
        mixture.fuel(full["fuel"])
        got = lambda_target(full.get("target"), 100.0, 3000.0, {})
        assert got is None or 0.4 <= got <= 1.6


class Small(int):
    """An integer that must stay a small one on a board: signed, 31 bits."""


def _checked(name):
    plain = getattr(int, name)

    def operation(self, other):
        out = plain(self, other)
        assert -(1 << 30) <= out < 1 << 30, (name, int(self), int(other))
        return Small(out)

    return operation


for _name in ("add", "sub", "mul", "floordiv", "mod", "and", "rshift"):
    for _side in ("__", "__r"):
        setattr(Small, _side + _name + "__", _checked(_side + _name + "__"))


@given(st.integers(0, ticks.MASK), st.integers(-(1 << 29), (1 << 29) - 1))
def test_ticks_stay_small(tick, us):
    later = ticks.add(Small(tick), Small(us))
    assert ticks.diff(Small(later), Small(tick)) == us


@given(
    st.lists(st.tuples(st.integers(0, 900), st.integers(0, (1 << 20) - 1)), max_size=80),
    st.sampled_from([0.1, 2, 60, 400]),
)
@example([(0, 0), (2, 4999)], 0.1)  # two edges in a microsecond
def test_live_speed_stays_small_whatever_comes(rows, per_rev):
    live = speed.LiveSpeed(
        per_rev, Small(math.ceil(per_rev * 2)), Small(5000), Small((1 << 24) - 1), Small((1 << 20) - 1)
    )
    live.minute_us = Small(live.minute_us)
    count = Small(0)
    for more, age_us in rows:
        count = (count + more) & Small((1 << 24) - 1)
        assert 0 <= live.row(count, Small(age_us)) < 1 << 30


@given(st.integers(0, ticks.MASK), st.integers(-(1 << 29), (1 << 29) - 1))
def test_ticks_there_and_back(tick, us):
    assert ticks.diff(ticks.add(tick, us), tick) == us
    assert 0 <= ticks.add(tick, us) <= ticks.MASK


@given(st.integers(0, 2**32 - 1), st.integers(1, 2**31 - 1))
def test_sequence_is_serial(a, steps):
    b = (a + steps) & 0xFFFFFFFF
    assert ticks.seq_after(b, a) and not ticks.seq_after(a, b)
    assert ticks.seq_distance(a, b) == steps == -ticks.seq_distance(b, a)


points = st.lists(st.floats(-60, 60).map(lambda v: round(v, 3)), min_size=2, max_size=8, unique=True).map(sorted)


@given(points, st.data())
def test_value_lies_between_its_neighbours_and_none_beyond(volts, data):
    values = data.draw(st.lists(finite, min_size=len(volts), max_size=len(volts)))
    channel = {"kind": "table", "volts": volts, "values": values}
    inside = data.draw(st.floats(volts[0], volts[-1]))
    got = transfer.to_value(channel, inside)
    at = next(n for n in range(1, len(volts)) if inside <= volts[n])
    low, high = sorted(values[at - 1 : at + 1])
    slack = 1e-9 * (1 + abs(low) + abs(high))
    assert got is not None and low - slack <= got <= high + slack
    for at in range(len(volts)):
        assert math.isclose(transfer.to_value(channel, volts[at]), values[at], rel_tol=1e-9, abs_tol=1e-6)
    beyond = (volts[-1] - volts[0]) * 0.0101
    assert transfer.to_value(channel, volts[-1] + beyond) is None
    assert transfer.to_value(channel, volts[0] - beyond) is None


@given(st.floats(-200, 850), st.sampled_from([100.0, 1000.0]))
def test_rtd_there_and_back(degc, r0_ohm):
    got = transfer.rtd_degc(transfer.rtd_ohm(degc, r0_ohm), r0_ohm)
    assert got is not None and abs(got - degc) < 1e-6


@given(
    st.floats(50, 15000),
    st.sampled_from([0.5, 1, 2, 3, 4, 6, 8, 17.14, 36, 60]),
    st.floats(0, 1),
    st.integers(0, (1 << 24) - 1),
)
def test_live_speed_is_right_at_any_steady_speed(rpm, per_rev, phase, first):
    edge_us = 60e6 / (rpm * per_rev)
    if edge_us > 500_000 or edge_us < 100:
        return
    live = speed.LiveSpeed(per_rev, math.ceil(per_rev * 2), 5000, (1 << 24) - 1, (1 << 20) - 1)
    for n in range(1, 300):
        t = n * 5000
        edges = math.floor(t / edge_us + phase)
        age_us = int(t - (edges - phase) * edge_us)
        live.row((first + edges) & ((1 << 24) - 1), age_us if edges else (1 << 20) - 1)
    # ages are whole microseconds, the result is a whole number
    assert abs(live.rpm - rpm) <= 1 + rpm * 2 / min(edge_us * math.ceil(per_rev * 2), 315_000)
