"""What the car's own computer can be asked for: all names, and the sets that `setup` offers."""

from __future__ import annotations

from typing import Any, NamedTuple

from shared_math import bus
from shared_math.obd import pids

# set -> channels. fuel_state beside the trims, since these count in closed loop alone
_MIXTURE: list[dict[str, Any]] = [
    {"name": "fuel_state", "kind": "obd", "pid": "fuel_system_1", "hz": 4},
    {"name": "short_trim", "kind": "obd", "pid": "short_trim_1", "hz": 4},
    {"name": "long_trim", "kind": "obd", "pid": "long_trim_1", "hz": 0.5},
    {"name": "lambda_asked", "kind": "obd", "pid": "commanded_lambda", "hz": 10},
]
_MORE: list[dict[str, Any]] = [
    {"name": "speed_by_bus", "kind": "obd", "pid": "engine_speed", "hz": 10},
    {"name": "spark", "kind": "obd", "pid": "spark_advance", "hz": 10},
    {"name": "intake_air", "kind": "obd", "pid": "intake_temperature", "hz": 0.5},
    {"name": "coolant", "kind": "obd", "pid": "coolant_temperature", "hz": 0.5},
]
SETS = {"mixture": _MIXTURE, "more": _MIXTURE + _MORE}
SETS_SAID = {
    "mixture": "fuel trims with their state, and the lambda that it asks for",
    "more": "these, and engine speed, spark, intake air and coolant",
}


class Value(NamedTuple):
    """name: what `pid` takes. pid: its two hexadecimal digits. hz: how often it is asked for unless `hz` says."""

    name: str
    pid: str
    unit: str
    hz: float


def every() -> list[Value]:
    """All values whose scale is known, by number."""
    return [
        Value(name, f"{pid:02X}", unit, bus.usual_hz({"pid": name}))
        for pid in pids.scalable()
        for name, _, _, (_, _, _, unit), _ in (pids.described(pid) or (0, ()))[1]
    ]


def beside(channels: list[dict[str, Any]], taken: set[str]) -> list[dict[str, Any]]:
    """Channels from the bus, under other names where a wired channel has theirs."""
    return [one | {"name": one["name"] + "_bus"} if one["name"] in taken else one for one in channels]
