"""Raw columns -> values in the channels' units, by the same scalars as on the device; NaN where there is none."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np

from ringpull.ring.rows.setup import Setup
from ringpull.ring.values import edges as read_edges
from ringpull.ring.values import speed as read_speed
from shared_math import channels as shared_channels
from shared_math import speed as shared_speed
from shared_math import thermocouple, transfer

Array = np.ndarray

TABLE_BITS = 16  # up to here a table keeps each count's value, above they are computed anew for those that occur
HELD_MS = 1000  # a slow converter's value older than this is none
WHEEL_M = 2.0  # a tyre of a car turns about once in this, and so do the teeth that a speed sensor sees


def volts(setup: Setup, name: str, raw: dict[str, Array]) -> Array:
    """(rows,) volts at the terminal of analog channel `name`. KeyError where there is no such channel."""
    column = _column(setup, name, "adc")
    return transfer.counts_to_volts(raw[name].astype(float), column["s"], column["o"])


def value(setup: Setup, channel: dict, raw: dict[str, Array]) -> Array | None:
    """(rows,) values of a channel, float; None where the ring file has no column for it.

    raw: "row" and the columns of the setup, (rows,) each.
    """
    name, kind = channel["name"], channel["kind"]
    if kind in shared_channels.ANALOG_KINDS:
        if setup.column(name, "adc") is None:
            return None
        out = _thermocouple(setup, channel, raw) if "cold" in channel else _analog(setup, channel, raw[name])
        held = setup.column(name + ".held", "held")
        if held is not None:
            oldest = min(HELD_MS, (1 << setup.bits[held]) - 1)
            out = np.where(raw[name + ".held"] >= oldest, np.nan, out)
        return out
    if kind in shared_channels.PULSE_KINDS:
        if setup.column(name, "count") is None or setup.column(name + ".age", "age") is None:
            return None
        return _pulses(setup, channel, raw)
    if kind == "digital" and setup.column(name, "digital") is not None:
        return raw[name].astype(float)
    return None


def _column(setup: Setup, name: str, role: str) -> dict:
    at = setup.column(name, role)
    if at is None:
        raise KeyError(f"no channel {name!r} of this role in the ring file")
    return setup.columns[at]


def _analog(setup: Setup, channel: dict, counts: Array) -> Array:
    column = _column(setup, channel["name"], "adc")

    def one(count: int) -> float:
        value = transfer.to_value(channel, transfer.counts_to_volts(count, column["s"], column["o"]))
        return np.nan if value is None else value

    if column["b"] <= TABLE_BITS:
        size = 1 << column["b"]
        table, known = setup.looked_up.setdefault(channel["name"], (np.full(size, np.nan), np.zeros(size, bool)))
        fresh = np.unique(counts[~known[counts]])
        table[fresh] = [one(count) for count in fresh.tolist()]
        known[fresh] = True
        return table[counts]
    return _looked_up(counts, one)


def _thermocouple(setup: Setup, channel: dict, raw: dict[str, Array]) -> Array:
    """Of a thermocouple whose cold junction another channel measures: once for each pair of counts that occurs."""
    cold = next(one for one in setup.config["channels"] if one["name"] == channel["cold"])
    column, other = _column(setup, channel["name"], "adc"), _column(setup, cold["name"], "adc")
    pairs = raw[channel["name"]].astype(np.int64) << other["b"] | raw[cold["name"]]

    def one(pair: int) -> float:
        cold_volts = transfer.counts_to_volts(pair & ((1 << other["b"]) - 1), other["s"], other["o"])
        volts = transfer.counts_to_volts(pair >> other["b"], column["s"], column["o"])
        return _or_nan(thermocouple.channel_degc(channel, volts, transfer.to_value(cold, cold_volts)))

    return _looked_up(pairs, one)


def _looked_up(counts: Array, one: Callable[[int], float]) -> Array:
    """one(count) for each count, computed once for each that occurs."""
    different, where = np.unique(counts, return_inverse=True)
    return np.array([one(count) for count in different.tolist()], float)[where]


def cycle_edges(setup: Setup, channel: dict) -> float:
    """Edges over which a pulse channel is averaged: a whole engine cycle (the least number of cycles with a whole
    number of edges), a turn of a wheel, or one period."""
    if channel["kind"] == "frequency":
        return 1.0
    if "per_metre" in channel:
        return float(max(1, round(channel["per_metre"] * WHEEL_M)))
    edges = float(shared_speed.edges_per_cycle(setup.config.get("engine", {}), channel["per_rev"]))
    whole = next((cycles for cycles in range(1, 5) if abs(edges * cycles - round(edges * cycles)) < 1e-9), 1)
    return max(1.0, edges * whole)


def _pulses(setup: Setup, channel: dict, raw: dict[str, Array]) -> Array:
    name = channel["name"]
    count, age = _column(setup, name, "count"), _column(setup, name + ".age", "age")
    hz = read_speed.rate_hz(
        raw["row"], raw[name], raw[name + ".age"], setup.period_us, count["b"], age["b"], cycle_edges(setup, channel)
    )
    if channel["kind"] == "frequency":
        return np.array([_or_nan(transfer.frequency_value(channel, one)) for one in hz.tolist()], float)
    if "per_metre" in channel:
        return shared_speed.speed_kmh(hz, channel["per_metre"], 1e6)
    return shared_speed.rpm(hz, channel["per_rev"], 1e6)


def turns(setup: Setup, channel: dict, raw: dict[str, Array]) -> list[tuple[Array, Array]]:
    """(times_s, turns since the first) of the pulses of a `per_rev` channel, (n,) each, for every stretch without a stop
    or a loss: missing pulses counted, uneven spacing evened out."""
    name = channel["name"]
    count, age = _column(setup, name, "count"), _column(setup, name + ".age", "age")
    cycle = cycle_edges(setup, channel)
    found = read_edges.stretches(
        raw["row"],
        raw[name],
        raw[name + ".age"],
        setup.period_us,
        count["b"],
        age["b"],
        max(2.0, float(int(cycle))),
        read_speed.SLOWEST_US,
    )
    return [(one.time_us / 1e6, read_speed.even_numbers(one, cycle) / channel["per_rev"]) for one in found]


def _or_nan(value: float | None) -> float:
    return np.nan if value is None else value
