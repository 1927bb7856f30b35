"""Configurations to begin with, and how answers change them. Figures are starting points, to be replaced by one's own."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Any

from shared_math import front_end


@dataclass(frozen=True)
class Plan:
    """What the questions are about. map_kpa: of the pressure sensor at map_volts, or None without one; throttle_volts:
    closed and open, or None. injector: openings a cycle, 0 where it is not wired. tach: pulses a turn."""

    what: str
    cylinders: int
    strokes: int
    displacement_cc: float
    fuel: str
    load_kpa: tuple[float, ...]
    target: tuple[float, ...]
    why: str
    board: str = "rp2"
    rate_hz: int = 200
    volts: tuple[float, float] = (0.0, 5.0)
    values: tuple[float, float] = (0.60, 1.40)
    afr_stoich: float = 0.0
    tach: float = 2.0
    max_rpm: int = 9000
    map_volts: tuple[float, float] = (0.5, 4.5)
    map_kpa: tuple[float, float] | None = (20.0, 300.0)
    throttle_volts: tuple[float, float] | None = (0.5, 4.5)
    injector: int = 0
    warm_up: tuple[float, float] | None = None  # volts by which the controller says that its sensor is heating
    coil: bool = False


BOOSTED = Plan(
    what="petrol with a turbocharger or a compressor",
    cylinders=4,
    strokes=4,
    displacement_cc=1600,
    fuel="petrol",
    load_kpa=(40, 100, 150, 200),
    target=(1.0, 0.90, 0.82, 0.78),
    why="0.76 to 0.82 under boost",
    max_rpm=9000,
)
FREE = replace(
    BOOSTED,
    what="petrol, no charger",
    load_kpa=(40, 70, 100),
    target=(1.0, 0.95, 0.87),
    why="0.85 to 0.90 at full load",
    max_rpm=8000,
    map_kpa=(20.0, 105.0),
)
# Targets at full load are rules of thumb of the trade, without a source: they are what somebody begins with
PRESETS = {
    "na-petrol": FREE,
    "boosted-petrol": BOOSTED,
    "e85": replace(
        BOOSTED,
        what="E85 with a turbocharger or a compressor",
        fuel="e85",
        target=(1.0, 0.90, 0.84, 0.82),
        why="0.80 to 0.86 at full load",
    ),
    "methanol": replace(
        BOOSTED,
        what="methanol with a turbocharger or a compressor",
        fuel="methanol",
        target=(0.95, 0.85, 0.76, 0.74),
        why="0.70 to 0.80 at full load",
    ),
    "two-stroke": replace(
        FREE,
        what="two-stroke on petrol and oil, no charger",
        cylinders=2,
        strokes=2,
        displacement_cc=500,
        load_kpa=(),
        target=(0.85,),
        why="0.85 to 0.90 at full load; charge that slips through the ports reads falsely lean",
        tach=2.0,
        max_rpm=11000,
        map_kpa=None,
    ),
}


def tach_of(cylinders: int, strokes: int) -> float:
    """Pulses a turn of a tach line that pulses at every firing."""
    return float(cylinders) if strokes == 2 else cylinders / 2


def config_of(plan: Plan) -> dict[str, Any]:
    """The configuration of a plan, as it goes into logger.json."""
    config: dict[str, Any] = {
        "version": 1,
        "note": "Made by 'ringpull setup'. Replace volts and values by those in your sensors' papers, and the target by "
        f"your own: this one is a rule of thumb of the trade, lambda {plan.why}.",
        "board": plan.board,
        "rate_hz": plan.rate_hz,
        "engine": {
            "cylinders": plan.cylinders,
            "strokes": plan.strokes,
            "displacement_cc": _short(plan.displacement_cc),
        },
        "fuel": {"name": plan.fuel},
        "target": _target(plan),
        "channels": [_lambda(plan), _speed(plan)],
    }
    listed = config["channels"]
    if plan.map_kpa:
        listed.append(_linear("map", "a1", "kPa", plan.map_volts, plan.map_kpa, "absolute pressure in the manifold"))
    if plan.throttle_volts:
        why = "volts at the closed and at the open stop"
        listed.append(_linear("throttle", "a2", "%", plan.throttle_volts, (0, 100), why))
    if plan.injector:
        injector = {"name": "injector", "input": "p1", "kind": "pulse_width", "polarity": "low"}
        listed.append(
            injector | {"per_cycle": plan.injector, "note": "on-time of one injector, from which duty follows"}
        )
    return config


def _short(number: float) -> float:
    """Without a decimal point where none is needed."""
    return int(number) if number == int(number) else number


def _target(plan: Plan) -> dict[str, Any]:
    if plan.map_kpa and plan.load_kpa:
        return {"load": "map", "load_kpa": list(plan.load_kpa), "lambda": list(plan.target)}
    return {"lambda": plan.target[-1]}


def _lambda(plan: Plan) -> dict[str, Any]:
    channel: dict[str, Any] = {"name": "lambda_1", "input": "a0", "kind": "lambda"}
    channel |= {"volts": list(plan.volts), "values": list(plan.values), "tau_ms": 80}
    channel["front"] = front_end.DIFFERENTIAL  # in both builds of the hardware's README
    if plan.afr_stoich:
        channel |= {"scale": "afr", "stoich": plan.afr_stoich}
    if plan.warm_up:
        channel["states"] = [{"name": "warm-up", "volts": list(plan.warm_up)}]
    return channel | {
        "note": "both ends of the controller's analog output; tau_ms is the sensor's own lag, often 50 to 100"
    }


def _speed(plan: Plan) -> dict[str, Any]:
    channel: dict[str, Any] = {
        "name": "engine_speed",
        "input": "p0",
        "kind": "pulses",
        "per_rev": _short(plan.tach),
        "max_rpm": plan.max_rpm,
    }
    if plan.coil:
        channel["ringing_us"] = 300
    return channel | {"note": "per_rev: pulses per turn of the crankshaft"}


def _linear(name: str, place: str, unit: str, volts: Any, values: Any, why: str) -> dict[str, Any]:
    channel = {"name": name, "input": place, "kind": "linear", "unit": unit}
    return channel | {"volts": list(volts), "values": list(values), "note": why}
