"""Converter counts to volts and values, by the same functions as on the device; NaN where there is no value."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np

from ringpull.files.configuration import ConfiguredChannel
from ringpull.ring.rows.setup import Setup
from shared_math import layout, thermocouple, transfer

Array = np.ndarray

TABLE_BITS = 16  # up to this width a table keeps the value of each count; above it only counts that occur are computed


def volts(setup: Setup, name: str, raw: dict[str, Array]) -> Array:
    """(rows,) volts at the terminal of analog channel `name`. Raises KeyError if there is no such channel."""
    column = setup.described(name, "adc")
    return transfer.counts_to_volts(raw[name].astype(float), column.volts_per_count, column.volts_at_zero)


def value(setup: Setup, channel: ConfiguredChannel, raw: dict[str, Array]) -> Array:
    """(rows,) values of an analog channel, float, NaN where its volts are invalid or held for too long.

    raw: "row" and the columns of the setup, (rows,) each. Raises KeyError if the ring file lacks the channel's column.
    """
    name = channel.name
    out = _thermocouple(setup, channel, raw) if channel.cold is not None else _of_counts(setup, channel, raw[name])
    return _fresh(setup, name, raw, out)


def from_bus(setup: Setup, channel: ConfiguredChannel, raw: dict[str, Array]) -> Array:
    """(rows,) values of a channel that came over the car's bus, float, NaN where they are held for too long."""
    name = channel.name
    column = setup.described(name, "bus")
    return _fresh(setup, name, raw, raw[name] * column.volts_per_count + column.volts_at_zero)


def _fresh(setup: Setup, name: str, raw: dict[str, Array], values: Array) -> Array:
    """NaN in place of values that are held for too long."""
    held = setup.column(name + ".held", "held")
    if held is None:
        return values
    column = setup.columns[held]
    oldest = min(column.stale_ms or layout.STALE_MS, column.top - 1)
    return np.where(raw[name + ".held"] >= oldest, np.nan, values)


def _of_counts(setup: Setup, channel: ConfiguredChannel, counts: Array) -> Array:
    column = setup.described(channel.name, "adc")

    def of_count(count: int) -> float:
        at_terminal = transfer.counts_to_volts(count, column.volts_per_count, column.volts_at_zero)
        return or_nan(transfer.to_value(channel.written, at_terminal))

    if column.bits <= TABLE_BITS:
        table, known = setup.looked_up.setdefault(
            channel.name, (np.full(column.top, np.nan), np.zeros(column.top, bool))
        )
        places = counts.astype(np.intp)
        there = known.take(places)
        if not there.all():
            fresh = np.unique(places[~there])
            table[fresh] = [of_count(count) for count in fresh.tolist()]
            known[fresh] = True
        return table.take(places)
    return _looked_up(counts, of_count)


def _thermocouple(setup: Setup, channel: ConfiguredChannel, raw: dict[str, Array]) -> Array:
    """The values of a thermocouple with a measured cold junction, computed once for each pair of counts."""
    cold = next(one for one in setup.config.channels if one.name == channel.cold)
    column, other = setup.described(channel.name, "adc"), setup.described(cold.name, "adc")
    pairs = raw[channel.name].astype(np.int64) << other.bits | raw[cold.name]

    def of_pair(pair: int) -> float:
        cold_volts = transfer.counts_to_volts(pair % other.top, other.volts_per_count, other.volts_at_zero)
        hot_volts = transfer.counts_to_volts(pair >> other.bits, column.volts_per_count, column.volts_at_zero)
        return or_nan(
            thermocouple.channel_degc(channel.written, hot_volts, transfer.to_value(cold.written, cold_volts))
        )

    return _looked_up(pairs, of_pair)


def _looked_up(counts: Array, of_count: Callable[[int], float]) -> Array:
    """of_count(count) for each count, computed once for each distinct count."""
    different, where = np.unique(counts, return_inverse=True)
    return np.array([of_count(count) for count in different.tolist()], float)[where]


def or_nan(number: float | None) -> float:
    """The number, or NaN for None."""
    return np.nan if number is None else number
