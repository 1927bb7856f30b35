"""From the cylinder to the controller's output: transport of the gas, lag of the sensor, warm-up of the controller.

A charge leaves the cylinder 540 degrees of crank after its injection (value from memory: middle of injection to middle
of the exhaust stroke), then waits until the volume between port and sensor has flowed past: delay = V rho / mdot
(plug flow). All arrays: shape (steps,), one value a time step.
"""

from __future__ import annotations

import numpy as np

R_EXHAUST = 300.95  # J/kgK, products of petrol and air at lambda 0.85 (equilibrium computed with cantera)
CYCLE_DEG = 540.0
VOLUME_M3 = 1.85e-3  # manifold, turbine housing and downpipe up to the sensor
SENSOR_TAU_S = 0.076
LEAST_KG_S = 0.0004  # gas still drifts with the engine stopped
LEAST_RPM = 60.0


def density_kg_m3(mass_flow_kg_s: np.ndarray) -> np.ndarray:
    """Mean density of the gas: with more flow it is hotter and at higher pressure (invented figures)."""
    share = np.clip(mass_flow_kg_s / 0.19, 0.0, 1.0)
    kelvin = 780.0 + 360.0 * np.sqrt(share)
    kpa = 100.5 + 22.0 * share**2
    return kpa * 1000.0 / (R_EXHAUST * kelvin)


def arrival_s(t_s: np.ndarray, rpm: np.ndarray, mass_flow_kg_s: np.ndarray) -> np.ndarray:
    """The time in seconds at which the charge injected at each time reaches the sensor; extrapolated past the end."""
    dt_s = t_s[1] - t_s[0]
    degrees = np.cumsum(np.maximum(rpm, LEAST_RPM) * 6.0) * dt_s
    flow = np.maximum(mass_flow_kg_s, LEAST_KG_S)
    volume = np.cumsum(flow / density_kg_m3(flow)) * dt_s
    out_s = _extended(degrees + CYCLE_DEG, degrees, t_s)
    return _extended(_extended(out_s, t_s, volume) + VOLUME_M3, volume, t_s)


def _extended(x: np.ndarray, xs: np.ndarray, ys: np.ndarray) -> np.ndarray:
    """np.interp, extrapolated linearly past the last point."""
    slope = (ys[-1] - ys[-2]) / (xs[-1] - xs[-2])
    return np.interp(x, xs, ys) + np.maximum(x - xs[-1], 0.0) * slope


def at_sensor(t_s: np.ndarray, arrival: np.ndarray, cylinder: np.ndarray) -> np.ndarray:
    """Lambda of the gas at the sensor."""
    return np.interp(t_s, arrival, cylinder, left=cylinder[0])


def lagged(values: np.ndarray, tau_s: float, dt_s: float) -> np.ndarray:
    """First-order lag, exact for values that are constant over each dt_s."""
    share = 1.0 - np.exp(-dt_s / tau_s)
    out = []
    now = float(values[0])
    for value in values.tolist():
        now += (value - now) * share
        out.append(now)
    return np.array(out)
