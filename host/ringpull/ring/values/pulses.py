"""Engine speed, road speed, frequency values and turns of the crank from edge counts and ages."""

from __future__ import annotations

import numpy as np

from ringpull.files.configuration import ConfiguredChannel
from ringpull.ring.rows.setup import Setup
from ringpull.ring.values import edges as read_edges
from ringpull.ring.values import speed as read_speed
from ringpull.ring.values.analog import or_nan
from ringpull.ring.values.edges import EdgeColumns
from shared_math import speed as shared_speed
from shared_math import transfer

Array = np.ndarray

WHEEL_M = 2.0  # road per turn of a car's wheel, roughly, and so per turn of a speed sensor's toothed ring


def value(setup: Setup, channel: ConfiguredChannel, raw: dict[str, Array], fast: bool = False) -> Array:
    """(rows,) values of a channel with pulses, float, NaN where its cycle is not completely known.

    raw: "row" and the columns of the setup, (rows,) each. fast: use compiled code, which must be available. Raises
    KeyError if the ring file lacks the channel's columns.
    """
    hz = read_speed.rate_hz(edge_columns(setup, channel.name, raw), cycle_edges(setup, channel), fast)
    if channel.kind == "frequency":
        return np.array([or_nan(transfer.frequency_value(channel.written, one)) for one in hz.tolist()], float)
    if channel.per_metre:
        return shared_speed.speed_kmh(hz, channel.per_metre, 1e6)
    return shared_speed.rpm(hz, channel.per_rev, 1e6)


def edge_columns(setup: Setup, name: str, raw: dict[str, Array]) -> EdgeColumns:
    """The columns of pulse channel `name`. Raises KeyError if it has none."""
    count, age = setup.described(name, "count"), setup.described(name + ".age", "age")
    return EdgeColumns(raw["row"], raw[name], raw[name + ".age"], setup.period_us, count.bits, age.bits)


def cycle_edges(setup: Setup, channel: ConfiguredChannel) -> float:
    """The number of edges over which a pulse channel is averaged: an engine cycle (or the fewest cycles with a whole
    number of edges), a turn of a wheel, or one period."""
    if channel.kind == "frequency":
        return 1.0
    if channel.per_metre:
        return float(max(1, round(channel.per_metre * WHEEL_M)))
    edges = float(shared_speed.edges_per_cycle({"strokes": setup.config.engine.strokes}, channel.per_rev))
    whole = next((cycles for cycles in range(1, 5) if abs(edges * cycles - round(edges * cycles)) < 1e-9), 1)
    return max(1.0, edges * whole)


def turns(setup: Setup, channel: ConfiguredChannel, raw: dict[str, Array]) -> list[tuple[Array, Array]]:
    """(times_s, turns since the first) of the pulses of a `per_rev` channel, (n,) each, for every stretch without a
    stop or a loss. Missing pulses are counted, and uneven spacing is evened out."""
    cycle = cycle_edges(setup, channel)
    told = edge_columns(setup, channel.name, raw)
    found = read_edges.stretches(told, max(2.0, float(int(cycle))), read_speed.SLOWEST_US)
    return [(one.time_us / 1e6, read_speed.even_numbers(one, cycle) / channel.per_rev) for one in found]
