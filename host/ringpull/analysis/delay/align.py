"""Lambda at the cylinder from lambda at the sensor: the sensor's lag is removed, then the transport delay."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from ringpull.analysis import local
from ringpull.analysis.delay import transport
from ringpull.analysis.delay.transport import Transport
from ringpull.analysis.drive_state.columns import Columns

# Width, in lags, of the window that regularises the inverse of the lag. From 0.2 to 0.8 noise and lost detail are in
# balance; at 2 the error is several times larger.
WINDOW_TAUS = 0.6


@dataclass(frozen=True)
class Aligned:
    """Lambda of one session at the time of injection, on the session's rows.

    lambda_: lag and delay removed. delayed_only: only the delay removed. arrival_s: time at which each row's charge
    reached the sensor. sensor_row: the row of that time. delay_s: arrival minus row time. noise_gain: white noise of
    the result over white noise of a sample.
    """

    lambda_: np.ndarray
    delayed_only: np.ndarray
    arrival_s: np.ndarray
    sensor_row: np.ndarray
    delay_s: np.ndarray
    noise_gain: float
    model: Transport
    flow: transport.Flow


def window_rows(tau_s: float, period_s: float) -> int:
    """Rows on each side of the inverse's window."""
    return local.half_rows(WINDOW_TAUS * tau_s, period_s)


def undo_lag(measured: np.ndarray, tau_s: float, period_s: float) -> np.ndarray:
    """Remove a first-order lag: value plus tau times the slope of a local straight line (a regularised inverse).

    The inverse of tau dy/dt + y = x is x = y + tau dy/dt; the window of WINDOW_TAUS lags bounds its noise.
    """
    if tau_s <= 0:
        return measured
    value, slope, _ = local.line(measured, period_s, window_rows(tau_s, period_s))
    return value + tau_s * slope


def noise_gain(tau_s: float, period_s: float) -> float:
    """Gain of white noise in `undo_lag`: sqrt(1/n + tau^2 / (dt^2 sum k^2)) for independent samples."""
    if tau_s <= 0:
        return 1.0
    half = window_rows(tau_s, period_s)
    offsets = np.arange(-half, half + 1)
    return float(np.sqrt(1.0 / len(offsets) + (tau_s / period_s) ** 2 / np.sum(offsets**2)))


def at_times(values: np.ndarray, columns: Columns, times_s: np.ndarray) -> np.ndarray:
    """A gridded column interpolated linearly at times; NaN if a neighbour is NaN, or beyond the ends."""
    if len(values) < 2:
        return np.full(len(times_s), np.nan)
    place = columns.place(times_s)
    low = np.floor(place + 1e-9).astype(np.int64)
    inside = (low >= 0) & (low < len(values) - 1)
    low = np.clip(low, 0, len(values) - 2)
    share = place - low
    return np.where(inside, values[low] + share * (values[low + 1] - values[low]), np.nan)


def injected(measured: np.ndarray, columns: Columns, model: Transport, arrival_s: np.ndarray) -> np.ndarray:
    """A sensor's column at the time of injection, for gas that arrives at `arrival_s`.

    A known lag is removed; an assumed lag only shifts the column by its length.
    """
    if model.lag_known:
        return at_times(undo_lag(measured, model.tau_s, columns.period_s), columns, arrival_s)
    return at_times(measured, columns, arrival_s + model.tau_s)


def align(columns: Columns, model: Transport | None = None, measured: np.ndarray | None = None) -> Aligned:
    """Lambda of a session (or another column of the same sensor) at the time of injection.

    columns: gridded. model: `transport.default` unless given. measured: (rows,), used instead of `columns.lambda_`.
    """
    model = transport.default(columns.config) if model is None else model
    measured = columns.lambda_ if measured is None else measured
    flow = transport.flow(columns)
    arrival = transport.arrival_s(model, flow)
    period_s = columns.period_s
    sensor_row = np.clip(np.round(columns.place(arrival)), 0, len(columns) - 1).astype(np.int64)
    return Aligned(
        lambda_=injected(measured, columns, model, arrival),
        delayed_only=at_times(measured, columns, arrival),
        arrival_s=arrival,
        sensor_row=sensor_row,
        delay_s=arrival - columns.time_s,
        noise_gain=noise_gain(model.tau_s, period_s) if model.lag_known else 1.0,
        model=model,
        flow=flow,
    )


def delay_table(columns: Columns, model: Transport, full_g_s: float) -> list[list[float | None]]:
    """[[rpm, load, delay_s, standard uncertainty]..] of the transport delay at engine speeds and loads of the drive.

    load: manifold pressure (kPa), None if it isn't logged. full_g_s: exhaust flow at full load.
    """
    rpm = columns.rpm[np.isfinite(columns.rpm)]
    rpm = rpm[rpm > 500]
    if len(rpm) == 0:
        return []
    loads: list[float | None] = [None]
    if columns.map_kpa is not None and np.isfinite(columns.map_kpa).any():
        loads = [*sorted({float(round(v)) for v in np.nanpercentile(columns.map_kpa, (50, 98))})]
    out: list[list[float | None]] = []
    for speed in sorted({float(round(v, -2)) for v in np.percentile(rpm, (10, 50, 90))}):
        for load in loads:
            kpa = transport.MAP_KPA_UNKNOWN if load is None else max(load, transport.LEAST_KPA)
            litres_per_s = transport.steady_flow_l_s(columns.config, speed, kpa, full_g_s)
            delay, u = model.delay_s(speed, litres_per_s), model.delay_u_s(litres_per_s)
            out.append([speed, load, round(float(delay), 4), round(float(u), 4)])
    return out
