"""What a logger in a random drive's car shows: its columns with their sensors' noise, and its configuration."""

from __future__ import annotations

import numpy as np

from truth.engines import Car, Chain, Engine
from truth.exhaust import Fuel, noise
from truth.road import FINE_S, Road

RATE_HZ = 200
STEP = round(1 / RATE_HZ / FINE_S)


def rows_of(
    rng: np.random.Generator,
    engine: Engine,
    chain: Chain,
    road: Road,
    fuel: Fuel,
    sensed: np.ndarray,
    holes: list,
    dent: np.ndarray,
) -> dict[str, np.ndarray]:
    """What is logged, with the sensors' own noise (half a kPa, 0.3 % of throttle, 4 kPa of fuel pressure, 0.03 V,
    0.5 degC), a 12-bit converter for lambda, and the controller's range."""
    fine = slice(None, None, STEP)
    count = sensed.size
    step = (chain.high - chain.low) / 3694  # 5 V through 6.8 and 10 kohm on a 3.3 V converter
    value = sensed + chain.systematic + noise(rng, chain, count, 1 / RATE_HZ)
    value = np.clip(np.round((value - chain.low) / step) * step + chain.low, chain.low, chain.high)
    map_kpa, throttle = road.map_kpa[fine], road.throttle[fine]
    rows = {
        "lambda_1": value,
        "map_kpa": map_kpa + rng.normal(0, 0.5, count),
        "throttle_pct": np.clip(throttle + rng.normal(0, 0.3, count), 0, 100),
    }
    if chain.timing == "command":
        shown = np.where(fuel.cut, chain.high, fuel.command)[fine]
        rows["lambda_commanded"] = shown + rng.normal(0, 0.0005, count)
    if chain.timing == "injector":
        rows["injector_ms"] = _injector_ms(engine, road, fuel)[fine] + rng.normal(0, 0.004, count)
    cause = holes[0].cause if holes else "none"
    dip = dent[fine] / fuel.command[fine] * (road.rpm[fine] > 0)
    real = np.zeros(count, bool)
    for hole in holes:
        bounds = road.pulls[hole.pull - 1]
        real[bounds[0] // STEP : bounds[1] // STEP] = True
    dip = np.where(real, dip, 0.0)
    if "fuel_pressure" in chain.extra:
        # Over the manifold where regulated; an injector's flow goes with the root of the difference
        across = engine.fuel_kpa * ((1 + dip) ** -2 if cause == "pressure" else 1.0)
        gauge = across + (map_kpa if engine.regulated else 101.325)
        rows["fuel_pressure_kpa"] = gauge + rng.normal(0, 4.0, count)
    if "battery" in chain.extra:
        volts = 13.9 - (18 * dip if cause == "supply" else 0.0)
        rows["battery_v"] = volts + rng.normal(0, 0.03, count)
    if "intake" in chain.extra:
        warm = engine.intake_k - 273.15 + 0.06 * np.maximum(map_kpa - 100, 0)
        rows["intake_degc"] = warm + rng.normal(0, 0.5, count)
    return rows


def _injector_ms(engine: Engine, road: Road, fuel: Fuel) -> np.ndarray:
    """On-time of the injection last begun, renewed at every firing; 0 while cut; full load at the limit has the duty
    drawn for the engine."""
    top = engine.limit_rpm
    most = engine.air_kg_s(np.array(top), engine.full_kpa(np.array(top))) / top / engine.target_lambda[-1]
    open_ms = engine.injector_full_duty * 120000 / top - engine.injector_dead_ms
    on_ms = np.where(fuel.injected > 0, fuel.injected / most * open_ms + engine.injector_dead_ms, 0.0)
    firing = np.floor(road.phase_rev * engine.cylinders / 2)
    renewed = np.concatenate([[True], np.diff(firing) > 0])
    return on_ms[np.maximum.accumulate(np.where(renewed, np.arange(on_ms.size), 0))]


def config_of(engine: Engine, car: Car, chain: Chain) -> dict:
    """The configuration that somebody with this car would have written."""
    lam = {"kind": "lambda", "volts": [0.0, 5.0], "values": [round(chain.low, 4), round(chain.high, 4)]}
    channels = [
        {"name": "lambda_1", "input": "a0", **lam, "tau_ms": 80},
        {"name": "engine_speed", "input": "p0", "kind": "pulses", "per_rev": chain.per_rev, "max_rpm": 9000},
        _linear("map", "a1", "kPa", 0, 300),
        _linear("throttle", "a2", "%", 0, 100),
    ]
    if chain.timing == "command":
        channels.append({"name": "lambda_commanded", "input": "a3", **lam})
    if chain.timing == "injector":
        channels.append(_linear("injector", "a3", "ms", 0, 30))
    more = {"fuel_pressure": ("kPa", 0, 1000), "battery": ("V", 0, 18), "intake": ("degC", -40, 150)}
    for at, name in enumerate(chain.extra, 4):
        channels.append(_linear(name, f"a{at}", *more[name]))
    config = {
        "version": 1,
        "board": "generic",
        "rate_hz": RATE_HZ,
        "engine": {
            "cylinders": engine.cylinders,
            "strokes": 4,
            "displacement_cc": round(engine.displacement_m3 * 1e6),
        },
        "fuel": {"name": "petrol"},
        "target": {
            "load": "map",
            "load_kpa": [round(x, 3) for x in engine.target_kpa],
            "lambda": [round(x, 5) for x in engine.target_lambda],
        },
        "channels": channels,
    }
    if not car.dyno:
        config["vehicle"] = {
            "mass_kg": round(car.mass_kg, 1),
            "cda_m2": round(car.cda_m2, 4),
            "crr": round(car.crr, 5),
            "gears": [round(car.rad_per_m / 3.6 / (2 * np.pi) * 60, 4)],
        }
    return config


def _linear(name: str, pin: str, unit: str, low: float, high: float) -> dict:
    return {"name": name, "input": pin, "kind": "linear", "unit": unit, "volts": [0.0, 5.0], "values": [low, high]}
