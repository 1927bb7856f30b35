"""Live values in whole numbers agree with the floating definitions for channels and targets that nobody chose."""

import math

from hypothesis import given
from hypothesis import strategies as st

from shared_math import channels, target, transfer, whole_numbers_build

volts = st.lists(st.integers(0, 100), min_size=2, max_size=6, unique=True).map(sorted)


@st.composite
def readings(draw):
    """(channel, column, scale): a lambda, linear or table channel with its line of volts, rising or falling."""
    at = [v / 20 for v in draw(volts)]
    if draw(st.booleans()):
        at = at[::-1]
    scale = draw(st.sampled_from([1000, 10]))
    most = 1400 if scale == 1000 else 4000
    values = [v / scale for v in draw(st.lists(st.integers(1, most), min_size=len(at), max_size=len(at)))]
    channel = {"kind": "table", "volts": at, "values": values}
    if draw(st.booleans()):
        low = draw(st.integers(-20, 100)) / 20
        channel["states"] = [{"name": "warm-up", "volts": [low, low + draw(st.integers(1, 10)) / 20]}]
    bits = draw(st.sampled_from([10, 12, 16]))
    slope, zero = channels.volts_line(channel, bits, 3.3)
    if draw(st.booleans()):
        slope, zero = -slope, zero + slope * (1 << bits)
    return channel, {"b": bits, "s": slope, "o": zero}, scale


@given(readings(), st.data())
def test_readings(made, data):
    channel, column, scale = made
    reading = whole_numbers_build.reading(channel, column, scale)
    for _ in range(20):
        counts = data.draw(st.integers(0, (1 << column["b"]) - 1))
        v = transfer.counts_to_volts(counts, column["s"], column["o"])
        true, got = transfer.to_value(channel, v), reading.value(counts)
        if got is None or true is None:
            # Only a count right on an end or on a state's limit may fall to either side
            limits = [limit for state in channel.get("states", ()) for limit in state["volts"]]
            slack = abs(channel["volts"][-1] - channel["volts"][0]) * transfer.TOLERANCE
            limits += [min(channel["volts"]) - slack, max(channel["volts"]) + slack]
            assert got == true or min(abs(v - limit) for limit in limits) <= 1.01 * abs(column["s"])
            continue
        # A piece between two bends is drawn from the counts beside them: one count of the steeper piece at most
        steepest = max(
            abs((y1 - y0) / (x1 - x0))
            for x0, x1, y0, y1 in zip(
                channel["volts"], channel["volts"][1:], channel["values"], channel["values"][1:], strict=False
            )
        )
        assert abs(got - scale * true) <= 1.01 + scale * steepest * abs(column["s"])
    xs, ys = reading.line.xs, reading.line.ys
    for x0, x1, y0, y1 in zip(xs, xs[1:], ys, ys[1:], strict=False):
        assert (x1 - x0) * abs(y1 - y0) < 1 << 30


axes = st.lists(st.integers(1, 300), min_size=2, max_size=6, unique=True).map(sorted)


@given(axes, st.one_of(st.none(), axes), st.data())
def test_targets(loads, speeds, data):
    def row():
        return [v / 1000 for v in data.draw(st.lists(st.integers(500, 1300), min_size=len(loads), max_size=len(loads)))]

    entry = {"load": "map", "load_kpa": loads, "lambda": row()}
    if speeds:
        entry["rpm"] = [20 * rpm for rpm in speeds]
        entry["lambda"] = [row() for _ in speeds]
    wanted = whole_numbers_build.wanted(entry)
    for _ in range(20):
        load, rpm = data.draw(st.integers(0, 3200)), data.draw(st.integers(0, 7000))
        true = target.lambda_target(entry, load / 10, rpm)
        assert math.isclose(wanted.at(load, rpm), 1000 * true, abs_tol=1.6)
