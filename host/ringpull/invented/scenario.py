"""The invented scenario: engine, car and driver are stepped through one drive. A seed always gives the same drive.

A step is one millisecond. instruments.py turns the result into the logger's signals.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

from ringpull.invented import car, driver, engine, exhaust, fuelling

STEP_S = 0.001
TELL_STEPS = 10000
HOLE_PULL = 2
SCATTER = 0.004  # of lambda between cylinders and cycles, correlated over SCATTER_S
SCATTER_S = 0.10
STARTER_NM = 95.0
STARTER_RPM = 240.0
OVERRUN_KPA = 22.0
LEAST_VALVE = 0.08


@dataclass(frozen=True)
class Drive:
    """The whole drive, one value per step (arrays of shape (steps,)).

    lambda_cylinder: at the time of injection. lambda_steady: without the loss of fuel pressure. lambda_sensor: of the
    gas at the sensor. lambda_shown: reading of the lagging sensor. arrival_s: time at which each charge reaches the
    sensor. crank_rev: revolutions since power-on. presses: (press, seconds held).
    """

    t_s: np.ndarray
    rpm: np.ndarray
    crank_rev: np.ndarray
    map_kpa: np.ndarray
    throttle_pct: np.ndarray
    rail_kpa: np.ndarray
    across_kpa: np.ndarray
    battery_v: np.ndarray
    speed_m_s: np.ndarray
    air_kg_s: np.ndarray
    target: np.ndarray
    lambda_cylinder: np.ndarray
    lambda_steady: np.ndarray
    lambda_sensor: np.ndarray
    lambda_shown: np.ndarray
    arrival_s: np.ndarray
    pulls: list[driver.PullTruth]
    presses: list[tuple[float, float]]


def simulate(seed: int = 1, progress: Callable[[float], None] | None = None, mended: bool = False) -> Drive:
    """Simulate the whole drive, about 136 s.

    seed: seed of all random figures, 0 or more. progress: called with the fraction done. mended: the fuel pump does
    not sag.
    """
    random = np.random.default_rng([seed, 1])
    hands = [float(x) for x in random.normal(0.0, 0.04, 6).clip(-0.12, 0.12)]
    supply = fuelling.FuelSupply(
        sag_kpa=float(65.0 + random.normal(0.0, 3.0)),
        sag_s=float(0.95 + random.normal(0.0, 0.05)),
        from_rpm=float(4700.0 + random.normal(0.0, 80.0)),
    )
    if mended:
        supply.sag_kpa = 0.0
    steps = round(driver.END_S / STEP_S)
    scatter = 1.0 + _scatter(random, steps)
    rows, who = _run(driver.Driver(hands), supply, steps, progress)
    columns = np.array(rows).T
    names = ("t", "rpm", "rev", "map", "throttle", "across", "battery", "speed", "air", "target", "cylinder")
    by = dict(zip(names, columns, strict=True))
    cylinder = np.where(by["cylinder"] < fuelling.NO_FUEL_LAMBDA, by["cylinder"] * scatter, by["cylinder"])
    gone = np.sqrt(np.clip(by["across"] / fuelling.REGULATED_KPA, 0.01, 1.0))
    burning = by["cylinder"] < fuelling.NO_FUEL_LAMBDA
    exhaust_kg_s = by["air"] * (1.0 + np.where(burning, 1.0 / (by["cylinder"] * engine.STOICH_AFR), 0.0))
    arrival = exhaust.arrival_s(by["t"], by["rpm"], exhaust_kg_s)
    gas = exhaust.at_sensor(by["t"], arrival, cylinder)
    return Drive(
        t_s=by["t"],
        rpm=by["rpm"],
        crank_rev=by["rev"],
        map_kpa=by["map"],
        throttle_pct=by["throttle"],
        rail_kpa=np.maximum(0.0, by["across"] + by["map"] - engine.AMBIENT_KPA),
        across_kpa=by["across"],
        battery_v=by["battery"],
        speed_m_s=by["speed"],
        air_kg_s=by["air"],
        target=by["target"],
        lambda_cylinder=cylinder,
        lambda_steady=np.where(burning, cylinder * gone, cylinder),
        lambda_sensor=gas,
        lambda_shown=exhaust.lagged(gas, exhaust.SENSOR_TAU_S, STEP_S),
        arrival_s=arrival,
        pulls=who.pulls,
        presses=[*who.presses, (driver.LONG_PRESS_AT_S, driver.LONG_PRESS_S)],
    )


def _scatter(random: np.random.Generator, steps: int) -> np.ndarray:
    """Correlated noise of standard deviation SCATTER."""
    white = random.normal(0.0, SCATTER * math.sqrt(2.0 * SCATTER_S / STEP_S), steps)
    return exhaust.lagged(white, SCATTER_S, STEP_S)


def _run(
    who: driver.Driver, supply: fuelling.FuelSupply, steps: int, progress: Callable[[float], None] | None
) -> tuple[list[tuple], driver.Driver]:
    """Step the model; yields a tuple of figures for each step."""
    line = car.Driveline(engine.INERTIA_KGM2)
    fuel = fuelling.Fuelling()
    out = []
    pi = math.pi
    map_kpa = boost_kpa = seen_kpa = engine.AMBIENT_KPA
    rev = 0.0
    idle, battery = 0.2, 12.5
    seen_share = STEP_S / 0.012
    for n in range(steps):
        t_s = n * STEP_S
        if progress and n % TELL_STEPS == 0:
            progress(n / steps)
        rpm = line.crank_rad_s * 30.0 / pi
        now = (t_s, rpm, rev, map_kpa)
        speed_m_s, wanted = line.speed_m_s, fuelling.target_lambda(map_kpa)
        who.step(STEP_S, t_s, rpm, line.speed_m_s)
        closed = who.pedal < 1.0
        kelvin = engine.intake_k(boost_kpa)
        air = engine.air_kg_s(rpm, map_kpa, kelvin)
        if closed and who.running and rpm < 1800.0:
            idle = min(1.0, max(LEAST_VALVE, idle + (driver.IDLE_RPM - rpm) * 1.0e-4 * STEP_S))
            valve = min(1.0, max(LEAST_VALVE, idle + (driver.IDLE_RPM - rpm) * 2.5e-4))
        elif (
            closed and who.running
        ):  # on the overrun the idle valve keeps some pressure, so that no oil is drawn past the rings
            valve = min(1.0, max(0.0, (OVERRUN_KPA + 8.0 - map_kpa) / 8.0))
        else:
            valve = idle
        area = engine.throttle_area_m2(who.pedal, valve)
        through = engine.throttle_kg_s(area, boost_kpa, map_kpa, kelvin)
        map_kpa += engine.R_AIR * kelvin / engine.MANIFOLD_M3 * (through - air) * STEP_S / 1000.0
        goal = engine.AMBIENT_KPA if closed else engine.boost_goal_kpa(air, rpm)
        boost_kpa += (goal - boost_kpa) / engine.boost_lag_s(air, goal < boost_kpa) * STEP_S
        seen_kpa += (map_kpa - seen_kpa) * seen_share
        across = supply.step(STEP_S, t_s, rpm, map_kpa, who.in_pull == HOLE_PULL)
        mixture = fuel.step(STEP_S, rpm, air, seen_kpa, engine.STOICH_AFR, closed, across if who.running else 0.0)
        torque = engine.torque_nm(rpm, air, map_kpa, mixture)
        if who.starter:
            torque += STARTER_NM * max(0.0, 1.0 - rpm / STARTER_RPM / 1.6)
        elif rpm < 1.0:
            torque = 0.0
        line.step(STEP_S, torque, who.gear, who.clutch, who.brake, who.grade)
        rev += 0.5 * (rpm / 60.0 + line.crank_rad_s / (2.0 * pi)) * STEP_S
        supplied = 9.9 if who.starter else (12.45 if rpm < 500.0 else 14.05 - 0.15 * (rpm > 5500.0))
        battery += (supplied - battery) * STEP_S / 0.08
        out.append((*now, who.pedal, across, battery, speed_m_s, air, wanted, mixture))
    return out, who
