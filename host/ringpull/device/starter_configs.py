"""Presets, and the configuration that they or the answers of `setup` make. Figures are starting points to replace."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Any

from ringpull.device import car_values
from shared_math import boards
from shared_math import channels as descriptions

FUEL_KPA = (0.0, 1000.0)
LEAST_KPA = 30  # least distance between the two highest loads of a target
WIRE_INPUTS = ("a2", "a1")  # the first that is free; on a2 the minimum build measures lambda_1's signal wire once more
EXTERNAL = "mcp3208"  # the external converter for inputs that the board lacks


@dataclass(frozen=True)
class Plan:
    """The answers from which a configuration is made.

    map_kpa: values of the pressure sensor at map_volts; fuel_kpa: those of the fuel pressure sensor at fuel_volts; None
    without a sensor. throttle_volts: closed and open, or None. injector: openings per cycle, 0 if it is not wired.
    asks: whether the car's computer may be asked for values; from_bus: channels from the car's bus.
    source: source of engine speed, "coil", "line" or "wheel". fired: cylinders that the coil fires. tach: pulses per
    turn.
    """

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
    second_lambda: bool = False
    tach: float = 2.0
    max_rpm: int = 9000
    source: str = "line"
    fired: int = 1
    map_volts: tuple[float, float] = (0.5, 4.5)
    map_kpa: tuple[float, float] | None = (20.0, 300.0)
    throttle_volts: tuple[float, float] | None = (0.5, 4.5)
    fuel_volts: tuple[float, float] = (0.5, 4.5)
    fuel_kpa: tuple[float, float] | None = None
    battery: bool = False
    injector: int = 0
    asks: bool = False
    from_bus: tuple[dict[str, Any], ...] = ()
    warm_up: tuple[float, float] | None = None  # volts by which the controller reports that its sensor is heating


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
# Targets at full load are rules of thumb of the trade, without a source, to begin with
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


def tach_of(cylinders: int, strokes: int, source: str = "line") -> float:
    """Pulses per turn of a line that pulses whenever one of `cylinders` fires; for a toothed wheel a usual number."""
    if source == "wheel":
        return 36.0
    return float(cylinders) if strokes == 2 else cylinders / 2


def loads_to(highest_kpa: float, plan: Plan) -> tuple[tuple[float, ...], tuple[float, ...]]:
    """(loads in kPa, target lambda) up to the highest pressure; those of the plan if it ends there."""
    if plan.load_kpa and plan.load_kpa[-1] == highest_kpa:
        return plan.load_kpa, plan.target
    known = [(kpa, lam) for kpa, lam in zip(plan.load_kpa, plan.target, strict=False) if kpa <= highest_kpa - LEAST_KPA]
    known = known or [(40.0, 1.0)]
    return (*(kpa for kpa, _ in known), highest_kpa), (*(lam for _, lam in known), plan.target[-1])


def config_of(plan: Plan) -> dict[str, Any]:
    """The configuration of a plan, as written to logger.json."""
    config: dict[str, Any] = {
        "version": 1,
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
    listed += _further(plan, [channel["input"] for channel in listed])
    taken = [channel["input"] for channel in listed]
    listed += [_wire(name, plan.board) for name in WIRE_INPUTS if name not in taken][:1]
    if plan.injector:
        injector = {"name": "injector", "input": "p1", "kind": "pulse_width", "polarity": "low"}
        listed.append(
            injector | {"per_cycle": plan.injector, "note": "on-time of one injector, from which duty follows"}
        )
    if any(channel["input"][0] == "x" for channel in listed):
        config["converters"] = {"x": EXTERNAL}
    if plan.from_bus:
        config["bus"] = {"ask": plan.asks}
        listed += car_values.beside(list(plan.from_bus), {channel["name"] for channel in listed})
    return config


def _further(plan: Plan, taken: list[str]) -> list[dict[str, Any]]:
    """Channels for second lambda, fuel pressure and battery, on the board's free inputs, then on an external converter.

    The battery is given a3 first, since the drawings have its divider there.
    """
    board: Any = plan.board
    own = [name for name in ("a1", "a2", "a3") if name in boards.INPUTS.get(board, ("a1", "a2"))]
    free = [name for name in own if name not in (*taken, boards.OWN_SUPPLY.get(board))]
    out = []
    if plan.battery:
        place = free.pop() if "a3" in free else None
        top, bottom = descriptions.DIVIDER_BATTERY
        battery = _linear(
            "battery", place or "x7", "V", (0, 18), (0, 18), "the car's 12 V, before the logger's regulator"
        )
        out.append(battery | {"divider": {"top_ohm": top, "bottom_ohm": bottom}})
    left = [*free, "x0", "x1"]
    first = []
    if plan.second_lambda:
        first.append(_lambda(plan) | {"name": "lambda_2", "input": left.pop(0), "bank": 2, "label": "bank 2"})
    if plan.fuel_kpa:
        why = "of a sensor of your own in the fuel line"
        first.append(_linear("fuel_pressure", left.pop(0), "kPa", plan.fuel_volts, plan.fuel_kpa, why))
    return first + out


def _short(number: float) -> float:
    """The number without a needless decimal point."""
    return int(number) if number == int(number) else number


def _target(plan: Plan) -> dict[str, Any]:
    if plan.map_kpa and plan.load_kpa:
        return {"load": "map", "load_kpa": [_short(kpa) for kpa in plan.load_kpa], "lambda": list(plan.target)}
    return {"lambda": plan.target[-1]}


def _lambda(plan: Plan) -> dict[str, Any]:
    channel: dict[str, Any] = {"name": "lambda_1", "input": "a0", "kind": "lambda"}
    channel |= {"volts": list(plan.volts), "values": list(plan.values), "tau_ms": 80}
    channel["front"] = descriptions.DIFFERENTIAL  # in both builds of the hardware's README
    if plan.second_lambda:
        channel |= {"bank": 1, "label": "bank 1"}
    if plan.afr_stoich:
        channel |= {"scale": "afr", "stoich": plan.afr_stoich}
    if plan.warm_up:
        channel["states"] = [{"name": "warm-up", "volts": list(plan.warm_up), "means": "heating"}]
    return channel | {
        "note": "both ends of the controller's analog output; tau_ms is the sensor's own lag, often 50 to 100"
    }


def _wire(place: str, board: str) -> dict[str, Any]:
    least = 0.5 if board == "esp32" else 0  # its converter reads nothing below 0.15 V at the pin: compare from there on
    why = "lambda_1's signal wire against the logger's own ground: tells a broken ground core"
    channel = _linear("lambda_1_wire", place, "V", (least, 8), (least, 8), why)
    divider = {"top_ohm": 16800, "bottom_ohm": 10000}  # both arms before node P of block A0
    return channel | {"divider": divider, "checks": "lambda_1"}


def _speed(plan: Plan) -> dict[str, Any]:
    channel: dict[str, Any] = {
        "name": "engine_speed",
        "input": "p0",
        "kind": "pulses",
        "per_rev": _short(plan.tach),
        "max_rpm": plan.max_rpm,
    }
    if plan.source == "coil":
        channel["ringing_us"] = 300
    return channel | {"note": "per_rev: pulses per turn of the crankshaft"}


def _linear(name: str, place: str, unit: str, volts: Any, values: Any, why: str) -> dict[str, Any]:
    channel = {"name": name, "input": place, "kind": "linear", "unit": unit}
    return channel | {"volts": list(volts), "values": list(values), "note": why}
