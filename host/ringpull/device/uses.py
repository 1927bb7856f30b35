"""What each configured channel is used for, by its kind, its name and what refers to it."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

from ringpull.analysis.drive_state import roles
from shared_math import channels as shared_channels
from shared_math import lean_watch

NOTHING = "shown, used for nothing"

# Part that a channel plays by its name -> what that brings; a part that is not here is shown and no more
BRINGS = {
    "map": "tells when the engine is under load; gives the exhaust's flow, and with it the delay to the lambda sensor",
    "throttle": "tells full throttle, part load and a closed throttle",
    "ambient": "the pressure of the air around: from which load on is full load, and whether the manifold sensor tells "
    "the truth",
    "coolant": "a cold engine (below 60 degC) is left out of judgement; a comparison names pulls of unlike warmth",
    "intake": "density of the intake air for the delay; named as a possible cause of a lean event where it rose; a "
    "comparison names pulls of unlike warmth",
    "exhaust": "named beside a lean event where it rose",
    "fuel_pressure": "named as a possible cause of a lean event where it fell",
    "battery": "named as a possible cause of a lean event where it fell",
    "injector": "fuel cut and time zero of the delay; duty above 85 % is named as a possible cause of a lean event",
    "commanded": "what the engine computer asks for: time zero of the delay; it measures nothing",
    "trim": "the engine computer's own correction, added in the fuel map; named as a possible cause of a lean event "
    "where it fell",
    "trim_long": "the engine computer's own correction, added in the fuel map",
    "fuel_state": "open or closed loop: trims count in closed loop alone",
    "knock": "named beside a lean event where it rose",
    "boost_target": "named as a possible cause of a lean event where boost stood above it",
    "ethanol": "moves the usual target between that of petrol and that of E85, where no target is configured",
    "wheel": "road speed: which gear a pull was in, power at the wheels, and whether engine speed fits the gears",
}


@dataclass(frozen=True)
class Use:
    """A channel by its name and input, and what it is used for: sentences, none where it is only shown."""

    name: str
    place: str
    sentences: tuple[str, ...]


def uses(config: dict[str, Any]) -> list[Use]:
    """What each channel of a checked configuration is used for, in the configuration's order."""
    found: dict[str, list[str]] = {channel["name"]: [] for channel in config["channels"]}
    _lambdas(config, found)
    _speeds(config, found)
    for role, brings in BRINGS.items():
        channel = roles.channel_for(role, config["channels"])
        if channel is not None:
            found[channel["name"]].append(brings)
    _named_by_others(config, found)
    _logger(config, found)
    return [Use(one["name"], one.get("input", "bus"), tuple(found[one["name"]])) for one in config["channels"]]


def _lambdas(config: dict[str, Any], found: dict[str, list[str]]) -> None:
    sensors = roles.lambda_channels(config["channels"])
    for channel in sensors:
        whose = f" of bank {channel['bank']}" if "bank" in channel and len(sensors) > 1 else ""
        found[channel["name"]].append(f"the mixture{whose}: lean events, fuel map, comparison")


def _speeds(config: dict[str, Any], found: dict[str, list[str]]) -> None:
    crank = shared_channels.crank_of(config["channels"])
    if crank is None:
        return
    found[crank["name"]].append("engine speed: where in the pull each value belongs, delay, power")
    second = [one for one in config["channels"] if one is not crank and _turns(one)]
    if second:
        found[second[0]["name"]].append(f"a second engine speed: {crank['name']} is checked against it")


def _turns(channel: dict[str, Any]) -> bool:
    return "per_rev" in channel or shared_channels.unit_of(channel) == "rpm"


def _named_by_others(config: dict[str, Any], found: dict[str, list[str]]) -> None:
    """What the target and thermocouples refer to by name."""
    for entry in lean_watch.entries(config.get("target")):
        if "load" in entry:
            _once(found[entry["load"]], "the load that the target goes by")
        if "when" in entry:
            _once(found[entry["when"]["channel"]], "chooses the target")
    for channel in config["channels"]:
        if "cold" in channel:
            _once(found[channel["cold"]], f"cold junction of {channel['name']}")


def _logger(config: dict[str, Any], found: dict[str, list[str]]) -> None:
    """What the logger itself does with a channel while it records."""
    for channel in config["channels"]:
        if channel["name"] == "throttle" and channel["kind"] == "linear":
            found["throttle"].append("ends a marked pull by itself once closed")
        if "expect" in channel:
            low, high = channel["expect"]
            found[channel["name"]].append(f"outside {low:g} to {high:g} the lamp shows fault 46")
    supply = shared_channels.supply_of(config)
    if supply is not None:
        found[supply["name"]].append("the logger counts dips of its supply")


def _once(sentences: list[str], sentence: str) -> None:
    if sentence not in sentences:
        sentences.append(sentence)
