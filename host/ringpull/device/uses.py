"""What each configured channel is used for, from its kind, its name and the keys that refer to it."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

from ringpull.analysis import car
from ringpull.device import by_role
from shared_math import bus, judging, lean_watch
from shared_math import channels as shared_channels

NOTHING = "logged and shown, not used"

# role that a channel has by its name -> what it is used for; channels of other roles are shown only
BRINGS = {
    "map": "shows when the engine is under load; gives the exhaust flow and so the delay to the lambda sensor",
    "throttle": "shows full throttle, part load and a closed throttle",
    "ambient": "pressure of the surrounding air: gives the limit of full load and a check of the manifold sensor",
    "coolant": "a cold engine (below 60 degC) is not judged; a comparison names pulls of unlike temperature",
    "intake": "density of the intake air, for the delay; if it rose it is named as a possible cause of a lean event; a "
    "comparison names pulls of unlike temperature",
    "exhaust": "if it rose it is named beside a lean event",
    "fuel_pressure": "if it fell it is named as a possible cause of a lean event",
    "battery": "if it fell it is named as a possible cause of a lean event",
    "injector": "shows the fuel cut and time zero of the delay; duty above 85 % is named as a possible cause of a lean "
    "event",
    "commanded": "the lambda that the engine computer asks for, not a measurement: gives time zero of the delay",
    "trim": "the engine computer's own correction, included in the fuel map; if it fell it is named as a possible "
    "cause of a lean event",
    "trim_long": "the engine computer's own correction, included in the fuel map",
    "fuel_state": "open or closed loop: trims count only in closed loop",
    "knock": "if it rose it is named beside a lean event",
    "boost_target": "if boost was above it, that is named as a possible cause of a lean event",
    "ethanol": "shifts the usual target between those of petrol and E85, if no target is configured",
    "wheel": "road speed: gives the gear of a pull, power at the wheels and a check of engine speed against the gears",
}

# Parameter of the car's computer -> what it is used for under any name, beside its role
ASKED = {
    car.SPEED: "engine speed as the car's computer tells it: how late it comes, and whether it agrees with the tach",
    car.COMMANDED: "the lambda that the engine computer asks for: shown beside the measured one of each pull",
    car.SPARK: "shown beside each pull",
    car.INTAKE: "shown beside each pull",
    car.SHORT_TRIM: "its mean in closed loop is shown beside each pull",
    car.LONG_TRIM: "its mean in closed loop is shown beside each pull",
    car.FUEL_STATE: "shown beside each pull, in words",
}


@dataclass(frozen=True)
class Use:
    """A channel's name and input, and sentences that say what it is used for; no sentences if it is only shown."""

    name: str
    place: str
    sentences: tuple[str, ...]


def uses(config: dict[str, Any]) -> list[Use]:
    """The use of each channel of a checked configuration, in the configuration's order."""
    found: dict[str, list[str]] = {channel["name"]: [] for channel in config["channels"]}
    _lambdas(config, found)
    _speeds(config, found)
    for role, brings in BRINGS.items():
        channel = by_role.channel_for(role, config)
        if channel is not None:
            found[channel["name"]].append(brings)
    for pid, brings in ASKED.items():
        asked = [one for one in config["channels"] if one["kind"] == "obd" and bus.pid_of(one) == pid]
        if asked:
            found[asked[0]["name"]].append(brings)
    _named_by_others(config, found)
    _logger(config, found)
    return [Use(one["name"], one.get("input", "bus"), tuple(found[one["name"]])) for one in config["channels"]]


def _lambdas(config: dict[str, Any], found: dict[str, list[str]]) -> None:
    sensors = by_role.lambda_channels(config)
    for channel in sensors:
        whose = f" of bank {channel['bank']}" if "bank" in channel and len(sensors) > 1 else ""
        found[channel["name"]].append(f"the mixture{whose}: lean events, fuel map, comparison")


def _speeds(config: dict[str, Any], found: dict[str, list[str]]) -> None:
    crank = shared_channels.crank_of(config["channels"])
    if crank is None:
        return
    found[crank["name"]].append("engine speed: places each value in the pull; delay, power")
    second = [one for one in config["channels"] if one is not crank and _turns(one)]
    if second:
        found[second[0]["name"]].append(f"a second engine speed: {crank['name']} is checked against it")


def _turns(channel: dict[str, Any]) -> bool:
    return "per_rev" in channel or shared_channels.unit_of(channel) == "rpm"


def _named_by_others(config: dict[str, Any], found: dict[str, list[str]]) -> None:
    """Add the channels that the target and thermocouples refer to by name."""
    for entry in lean_watch.entries(config.get("target")):
        if "load" in entry:
            _once(found[entry["load"]], "the load that the target depends on")
        if "when" in entry:
            _once(found[entry["when"]["channel"]], "chooses the target")
    for channel in config["channels"]:
        if "cold" in channel:
            _once(found[channel["cold"]], f"cold junction of {channel['name']}")


def _logger(config: dict[str, Any], found: dict[str, list[str]]) -> None:
    """Add what the logger itself does with a channel while it records."""
    for channel in config["channels"]:
        if channel["name"] == "throttle" and channel["kind"] == "linear":
            found["throttle"].append("a marked pull ends by itself when it closes")
        if "expect" in channel:
            low, high = channel["expect"]
            found[channel["name"]].append(
                f"outside {low:g} to {high:g} the lamp shows fault 46, and on the PC every answer is in doubt"
            )
        if "checks" in channel:
            above, below = judging.WIRE_ABOVE_V, judging.WIRE_BELOW_V
            apart = f"where it reads {above:g} V more or {below:g} V less, the lamp shows fault 48"
            told = f"compared with {channel['checks']}: {apart}, and on the PC lambda is not believed"
            found[channel["name"]].append(told)
    supply = shared_channels.supply_of(config)
    if supply is not None:
        found[supply["name"]].append("the logger counts dips of its supply")


def _once(sentences: list[str], sentence: str) -> None:
    if sentence not in sentences:
        sentences.append(sentence)
