"""The invented engine: a 1.6 litre turbocharged four-stroke four on pump petrol, as a mean-value model.

Air flow by speed-density, the throttle as a compressible orifice, a manifold that fills, boost that follows exhaust
flow with a lag, and torque from the burnt fuel's heat less friction and gas exchange. The formulas are from Heywood's
Internal Combustion Engine Fundamentals (2.10, appendix C). The coefficients are invented to be plausible and describe
no real engine.
"""

from __future__ import annotations

import math

R_AIR = 287.05  # J/kgK, dry air
DISPLACEMENT_M3 = 1.598e-3
INERTIA_KGM2 = 0.14  # crank, flywheel, clutch
AMBIENT_KPA = 100.0
AMBIENT_K = 295.15
STOICH_AFR = 14.57  # CH1.85 in standard dry air, computed with cantera
HEATING_J_KG = 42.9e6  # lower heating value of petrol, common practice

MANIFOLD_M3 = 3.0e-3
THROTTLE_M2 = 1.9e-3
THROTTLE_FLOW = 0.82
IDLE_VALVE_M2 = 1.6e-4

BOOST_KPA = 202.0  # absolute pressure at which the wastegate opens
BOOST_FALL_KPA = 10.0  # loss of boost up to the limiter, since the turbine is small
BOOST_FROM_KG_S = 0.020
BOOST_FULL_KG_S = 0.085


def ve(rpm: float, map_kpa: float) -> float:
    """Volumetric efficiency by manifold density: a hump over engine speed, lower where burnt gas remains."""
    hump = 0.96 - 0.17 * ((rpm - 5100.0) / 4000.0) ** 2
    return hump * (0.82 + 0.18 * min(map_kpa, 110.0) / 110.0)


def air_kg_s(rpm: float, map_kpa: float, intake_k: float, efficiency: float | None = None) -> float:
    """Air flow by speed-density, VE Vd (N/120) MAP / (R T), in kg/s. efficiency: used instead of `ve`."""
    filling = ve(rpm, map_kpa) if efficiency is None else efficiency
    return filling * DISPLACEMENT_M3 * (rpm / 120.0) * map_kpa * 1000.0 / (R_AIR * intake_k)


def intake_k(before_kpa: float) -> float:
    """Temperature in the manifold in kelvin: the intercooler leaves 12 K per bar of boost, the engine bay adds 8 K."""
    return AMBIENT_K + 8.0 + 12.0 * max(0.0, before_kpa - AMBIENT_KPA) / 100.0


def throttle_area_m2(open_pct: float, idle_share: float) -> float:
    """Open area of a round throttle plate, closed at 6 degrees from square, plus that of the idle valve."""
    angle = math.radians(6.0 + 0.84 * open_pct)
    plate = 1.0 - math.cos(angle) / math.cos(math.radians(6.0))
    return THROTTLE_M2 * plate + IDLE_VALVE_M2 * idle_share


def throttle_kg_s(area_m2: float, before_kpa: float, after_kpa: float, kelvin: float) -> float:
    """Compressible flow through an orifice in kg/s; linear through zero above a pressure ratio of 0.92."""
    choked = 0.6847  # sqrt(k) (2/(k+1))^((k+1)/(2(k-1))) for k = 1.4
    ratio = after_kpa / before_kpa
    edge = 0.92
    if ratio > edge:
        flow = _subsonic(edge) * (1.0 - ratio) / (1.0 - edge)
    elif ratio > 0.5283:
        flow = _subsonic(ratio)
    else:
        flow = choked
    return THROTTLE_FLOW * area_m2 * before_kpa * 1000.0 / math.sqrt(R_AIR * kelvin) * flow


def _subsonic(ratio: float) -> float:
    k = 1.4
    return math.sqrt(2.0 * k / (k - 1.0) * (ratio ** (2.0 / k) - ratio ** ((k + 1.0) / k)))


def boost_goal_kpa(air_flow_kg_s: float, rpm: float) -> float:
    """The pressure before the throttle that would settle at this exhaust flow."""
    share = (air_flow_kg_s - BOOST_FROM_KG_S) / (BOOST_FULL_KG_S - BOOST_FROM_KG_S)
    most = BOOST_KPA - BOOST_FALL_KPA * max(0.0, rpm - 5500.0) / 1500.0
    return min(most, AMBIENT_KPA + (most - AMBIENT_KPA) * max(0.0, share))


def boost_lag_s(air_flow_kg_s: float, falling: bool) -> float:
    """Time constant of the boost: shorter with more exhaust; when falling, a valve releases the boost."""
    return 0.12 if falling else 0.22 + 0.012 / (air_flow_kg_s + 0.01)


def torque_nm(rpm: float, air_flow_kg_s: float, map_kpa: float, lambda_: float) -> float:
    """Torque at the crank: heat of the fuel that burns, less friction and gas exchange (4 pi radians per cycle)."""
    per_cycle_kg = air_flow_kg_s * 120.0 / max(rpm, 100.0)
    burnt = 1.0 / lambda_ if lambda_ > 1.0 else 1.0 + 0.16 * (1.0 - lambda_) - 0.9 * (1.0 - lambda_) ** 2
    share = 0.365 - 0.30 * math.exp(-map_kpa / 30.0)  # a small charge burns slowly between cold walls
    if lambda_ > 1.5:
        share = 0.0  # too lean to burn, or no fuel
    heat_j = per_cycle_kg / STOICH_AFR * HEATING_J_KG * burnt
    exhaust_kpa = AMBIENT_KPA + 600.0 * air_flow_kg_s
    friction_kpa = 100.0 + 0.014 * rpm + max(0.0, exhaust_kpa - map_kpa) * 0.9
    return (share * heat_j - friction_kpa * 1000.0 * DISPLACEMENT_M3) / (4.0 * math.pi)
