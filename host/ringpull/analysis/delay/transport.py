"""The delay of exhaust gas from cylinder to sensor: a constant, a part in crank degrees, and volume over flow."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from ringpull.analysis.delay.origin import NotFromEvents, Origin
from ringpull.analysis.drive_state.columns import Columns
from ringpull.files.configuration import Configuration

R_AIR = 287.05  # J/kgK, dry air (ISO 2533)
R_EXHAUST = 300.95  # J/kgK, products of petrol and air at lambda 0.85 (equilibrium computed with cantera)
STOICH_AFR = 14.57  # CH1.85 in standard dry air; affects only the fuel's share of the exhaust flow

# Assumptions for values that neither drive nor configuration gives; they are stated. Common practice, no source.
EXHAUST_IDLE_K, EXHAUST_SPAN_K = 700.0, 350.0  # temperature rises with the root of the share of full-load flow
EXHAUST_SETTLE_S = 0.5  # time constant of the gas temperature, because of the pipe's walls
BACK_KPA = 30.0  # back pressure at full load; it rises with the square of the share of full-load flow
ATMOSPHERE_KPA = 101.325
FULL_LOAD_RPM, FULL_LOAD_KPA = 5000.0, 100.0  # full load is taken to be at least this
INTAKE_K = 303.15
VOLUMETRIC_EFFICIENCY = 0.90
RICH_LAMBDA = 0.85
CYCLE_DEG = 540.0  # four-stroke: from the middle of injection and intake to the middle of the exhaust stroke
CONSTANT_S = 0.010
LAG_S, LAG_U_S = 0.080, 0.030
MAP_KPA_UNKNOWN = 90.0

LEAST_RPM = 300.0  # below this (starting, stopping) the flow is held at its value here, so that gas still moves
LEAST_KPA = 15.0


@dataclass(frozen=True)
class Transport:
    """The delay model and the sensor's lag, with standard uncertainties.

    constant_s: constant part. cycle_deg: crank degrees from injection to the exhaust port. volume_l: volume from there
    to the sensor. tau_s: first-order lag of sensor and filter.
    volume_u_l, constant_u_s, tau_u_s: standard uncertainties; correlation: of volume and constant.
    source: where they come from; None: defaults.
    lag_known: False if tau_s is only assumed. It is then not removed, since removing a lag that does not exist turns
    steps into lean spikes; instead lambda is shifted by it, as by a delay.
    kind: "transport" if time zero is the injection, "apparent, an estimate" if only the throttle is known.
    """

    constant_s: float = CONSTANT_S
    cycle_deg: float = CYCLE_DEG
    volume_l: float = 2.0
    tau_s: float = 0.08
    constant_u_s: float = 0.010
    volume_u_l: float = 1.0
    tau_u_s: float = 0.03
    correlation: float = 0.0
    source: Origin | None = None
    lag_known: bool = True
    kind: str = "transport"

    def delay_s(self, rpm, volume_flow_l_s):
        """Transport delay at a steady engine speed (rpm) and exhaust volume flow (litres/s)."""
        return self.constant_s + self.cycle_deg / (6.0 * rpm) + self.volume_l / volume_flow_l_s

    def delay_u_s(self, volume_flow_l_s):
        """Standard uncertainty of `delay_s`."""
        wait = self.volume_u_l / volume_flow_l_s
        return np.sqrt(self.constant_u_s**2 + wait**2 + 2.0 * self.correlation * self.constant_u_s * wait)


def air_flow_g_s(rpm, map_kpa, displacement_cc, ve=VOLUMETRIC_EFFICIENCY, intake_k=INTAKE_K, strokes=4):
    """Air flow in g/s by speed-density, VE Vd (N/120) MAP / (R T) for four strokes (Heywood, Internal Combustion Engine
    Fundamentals, 2.10)."""
    intakes_per_s = rpm / (30.0 * strokes)
    return ve * displacement_cc * intakes_per_s * map_kpa / (R_AIR * intake_k)


def exhaust_flow_g_s(air_g_s, lambda_=RICH_LAMBDA, stoich_afr=STOICH_AFR):
    """Exhaust mass flow in g/s: the air and the fuel burnt with it."""
    return air_g_s * (1.0 + 1.0 / (lambda_ * stoich_afr))


def exhaust_density_g_l(kelvin, kpa):
    """Density of exhaust gas in g/l, by the ideal gas law."""
    return kpa * 1000.0 / (R_EXHAUST * kelvin)


def exhaust_state(share):
    """(kelvin, kPa) of the gas in the pipe at a share of full-load flow. Assumed; common practice, no source."""
    share = np.clip(share, 0.0, 1.2)
    return EXHAUST_IDLE_K + EXHAUST_SPAN_K * np.sqrt(share), ATMOSPHERE_KPA + BACK_KPA * share**2


def filled(values: np.ndarray | None, otherwise: float, least: float, rows: int) -> np.ndarray:
    """A column without NaN (linear over gaps) and never below `least`; `otherwise` if it has no valid value."""
    if values is None:
        return np.full(rows, otherwise)
    there = np.isfinite(values)
    if not there.any():
        return np.full(rows, otherwise)
    if not there.all():
        at = np.arange(rows)
        values = np.interp(at, at[there], values[there])
    return np.maximum(values, least)


@dataclass(frozen=True)
class Flow:
    """Cumulative clocks of a session, (rows,) each: seconds, crank degrees and exhaust litres since its first row.

    full_g_s: exhaust flow that is taken as full load.
    """

    time_s: np.ndarray
    degrees: np.ndarray
    litres: np.ndarray
    rpm: np.ndarray
    litres_per_s: np.ndarray
    full_g_s: float

    def at(self, rows: np.ndarray) -> Flow:
        """These clocks at some of the rows."""
        return Flow(
            self.time_s[rows],
            self.degrees[rows],
            self.litres[rows],
            self.rpm[rows],
            self.litres_per_s[rows],
            self.full_g_s,
        )


def mass_flow_g_s(config: Configuration, rpm, map_kpa, intake_degc=None):
    """Exhaust mass flow in g/s; the configuration supplies displacement and strokes."""
    engine, kelvin = config.engine, INTAKE_K if intake_degc is None else intake_degc + 273.15
    return exhaust_flow_g_s(air_flow_g_s(rpm, map_kpa, engine.assumed_cc, intake_k=kelvin, strokes=engine.strokes))


def steady_flow_l_s(config: Configuration, rpm, map_kpa, full_g_s: float):
    """Exhaust volume flow in litres/s at a steady engine speed and load."""
    flow = mass_flow_g_s(config, rpm, map_kpa)
    return flow / exhaust_density_g_l(*exhaust_state(flow / full_g_s))


def settling(values: np.ndarray, tau_s: float, period_s: float) -> np.ndarray:
    """First-order lag of a slow column in blocks of about tau / 10: fast, and accurate enough for a gas temperature."""
    block = max(1, int(tau_s / 10.0 / period_s))
    count = -(-len(values) // block)
    middles = np.minimum(np.arange(count) * block + block // 2, len(values) - 1)
    share = 1.0 - np.exp(-block * period_s / tau_s)
    out = np.empty(count)
    state = float(values[0])
    for at, value in enumerate(values[middles].tolist()):
        state += share * (value - state)
        out[at] = state
    return np.interp(np.arange(len(values)), middles, out)


def flow(columns: Columns) -> Flow:
    """The clocks of a session: cumulative crank angle and cumulative exhaust volume."""
    rows = len(columns)
    rpm = filled(columns.rpm, 3000.0, LEAST_RPM, rows)
    map_kpa = filled(columns.map_kpa, MAP_KPA_UNKNOWN, LEAST_KPA, rows)
    intake = columns.extra.get("intake")
    mass = mass_flow_g_s(columns.config, rpm, map_kpa, None if intake is None else filled(intake, 30.0, -40.0, rows))
    least = float(mass_flow_g_s(columns.config, FULL_LOAD_RPM, FULL_LOAD_KPA))
    full_g_s = max(least, float(np.percentile(mass, 99.5))) if rows else least
    kelvin, kpa = exhaust_state(mass / full_g_s)
    if rows:
        kelvin = settling(kelvin, EXHAUST_SETTLE_S, columns.period_s)
    litres_per_s = mass / exhaust_density_g_l(kelvin, kpa)
    period_s = columns.period_s

    def passed(rate: np.ndarray) -> np.ndarray:
        steps = (rate[1:] + rate[:-1]) * (0.5 * period_s)
        return np.concatenate([[0.0], np.cumsum(steps)])

    return Flow(columns.time_s, passed(rpm * 6.0), passed(litres_per_s), rpm, litres_per_s, full_g_s)


def clock(times_s: np.ndarray, flow: Flow, of: np.ndarray, rate: np.ndarray) -> np.ndarray:
    """A cumulative clock of `flow` at any times; outside the session it continues at the rates of the ends."""
    first, last = flow.time_s[0], flow.time_s[-1]
    inside = np.interp(times_s, flow.time_s, of)
    return inside + np.minimum(times_s - first, 0.0) * rate[0] + np.maximum(times_s - last, 0.0) * rate[-1]


def time_at(value: np.ndarray, flow: Flow, of: np.ndarray, rate: np.ndarray) -> np.ndarray:
    """The time at which a cumulative clock of `flow` shows `value`: the inverse of `clock`."""
    inside = np.interp(value, of, flow.time_s)
    return inside + np.minimum(value - of[0], 0.0) / rate[0] + np.maximum(value - of[-1], 0.0) / rate[-1]


def arrival_s(model: Transport, flow: Flow, times_s: np.ndarray | None = None) -> np.ndarray:
    """The time at which the gas of a charge injected at each time reaches the sensor, before the lag; seconds.

    Exact for changing flow: the charge leaves the cylinder after `cycle_deg` of crank, then takes until `volume_l` has
    flowed, then `constant_s`.
    """
    times_s = flow.time_s if times_s is None else times_s
    out = times_s
    if model.cycle_deg:
        degrees = clock(out, flow, flow.degrees, flow.rpm * 6.0)
        out = time_at(degrees + model.cycle_deg, flow, flow.degrees, flow.rpm * 6.0)
    litres = clock(out, flow, flow.litres, flow.litres_per_s)
    return time_at(litres + model.volume_l, flow, flow.litres, flow.litres_per_s) + model.constant_s


def injection_s(model: Transport, flow: Flow, times_s: np.ndarray | None = None) -> np.ndarray:
    """The time at which the charge was injected whose gas is at the sensor at each time (inverse of `arrival_s`)."""
    out = (flow.time_s if times_s is None else times_s) - model.constant_s
    litres = clock(out, flow, flow.litres, flow.litres_per_s)
    out = time_at(litres - model.volume_l, flow, flow.litres, flow.litres_per_s)
    if model.cycle_deg:
        degrees = clock(out, flow, flow.degrees, flow.rpm * 6.0)
        out = time_at(degrees - model.cycle_deg, flow, flow.degrees, flow.rpm * 6.0)
    return out


def volume_of(config: Configuration) -> tuple[float, float]:
    """(exhaust volume in litres, its standard uncertainty) without identification: the engine's displacement, if it is
    not configured."""
    given_l = config.vehicle.exhaust_l
    if given_l is not None:
        return given_l, 0.2 * given_l
    volume_l = config.engine.assumed_cc / 1000.0
    return volume_l, 0.4 * volume_l


def configured_lag_s(config: Configuration) -> float | None:
    """The configured lag of the lambda channel; None without one."""
    lags = [c.tau_ms for c in config.channels if c.kind == "lambda" and c.tau_ms is not None]
    return lags[0] / 1000.0 if lags else None


def lag_of(config: Configuration) -> tuple[float, float]:
    """(lag in seconds, its standard uncertainty) without identification."""
    tau_s = configured_lag_s(config)
    return (LAG_S, LAG_U_S) if tau_s is None else (tau_s, 0.2 * tau_s)


def not_from_events(config: Configuration) -> NotFromEvents:
    """Where delay and lag come from without identification."""
    volume_configured, lag_configured = config.vehicle.exhaust_l is not None, configured_lag_s(config) is not None
    return NotFromEvents(volume_of(config)[0], volume_configured, lag_of(config)[0], lag_configured)


def cycle_deg(config: Configuration) -> float:
    """Crank degrees from injection to the exhaust port; a two-stroke takes half of the degrees."""
    return CYCLE_DEG * config.engine.strokes / 4.0


def default(config: Configuration) -> Transport:
    """The model from the configuration or from stated defaults, with the uncertainty of either."""
    (volume_l, volume_u_l), (tau_s, tau_u_s) = volume_of(config), lag_of(config)
    return Transport(
        cycle_deg=cycle_deg(config),
        volume_l=volume_l,
        volume_u_l=volume_u_l,
        tau_s=tau_s,
        tau_u_s=tau_u_s,
        source=not_from_events(config),
        lag_known=configured_lag_s(config) is not None,
    )
