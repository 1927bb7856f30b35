"""The role of each configured channel in the analysis, by its name, kind and unit."""

import re
from collections.abc import Sequence

from ringpull.files.configuration import Configuration, ConfiguredChannel
from shared_math import channels as shared_channels
from shared_math import judging

# Role -> pattern of channel names; the first channel that matches has the role
NAMES = {
    "map": r"map|manifold(_pressure)?|boost",
    "throttle": r"throttle|tps|throttle_position",
    "ambient": r"(ambient|atmospheric|baro|barometric|air)_pressure|ambient|atmosphere|baro|barometer",
    "pedal": r"pedal|accelerator",
    "coolant": r"coolant|water|engine_temperature",
    "intake": r"intake(_air)?|intake_temperature|charge(_temperature)?|air_temperature",
    "exhaust": r"exhaust(_gas)?(_temperature)?|egt",
    "fuel_pressure": r"fuel_pressure|rail_pressure",
    "battery": r"battery|supply",
    "injector": r"injector(_time)?|injection(_time)?|pulse_width",
    "commanded": "|".join(judging.COMMANDED),
    "trim": r"trim|fuel_trim|short_(fuel_)?trim|trim_short",
    "trim_long": r"long_(fuel_)?trim|trim_long",
    "fuel_state": r"fuel_state|fuel_system|fuel_system_1",
    "knock": r"knock",
    "boost_target": r"boost_target|map_target",
    "ethanol": r"ethanol(_content)?|flex",
    "wheel": r"wheel_speed|road_speed|vehicle_speed|speed",
}

# Role -> the parameter that has it under any name: nothing but the car's computer tells these
PIDS = {"trim": 0x06, "trim_long": 0x07, "fuel_state": 0x03}

# What is timed against the exhaust: a value that was asked for over the bus comes late, and not at every row
NEVER_BY_BUS = ("commanded", "injector")


def channel_for(role: str, channels: Sequence[ConfiguredChannel]) -> ConfiguredChannel | None:
    """The channel of the configuration that has this role, or None."""
    for channel in channels:
        if channel.kind in shared_channels.BUS_KINDS and role in NEVER_BY_BUS:
            continue
        if channel.kind not in ("lambda", "pulses") or role in ("commanded", "wheel"):
            if re.fullmatch(NAMES[role], channel.name.lower()):
                return channel
    if role in PIDS:
        return next((c for c in channels if c.pid == PIDS[role]), None)
    if role == "injector":
        return next((c for c in channels if c.kind == "pulse_width"), None)
    if role == "wheel":
        return next((c for c in channels if c.kind == "pulses" and c.per_metre), None)
    return None


def lambda_channels(channels: Sequence[ConfiguredChannel]) -> list[ConfiguredChannel]:
    """The channels of kind lambda that measure the exhaust, without a lambda that the engine computer commands."""
    commanded = channel_for("commanded", channels)
    return [c for c in channels if c.kind == "lambda" and c is not commanded]


def bank_label(config: Configuration, name: str | None) -> str:
    """The name of a lambda channel to show: its label, else its bank, else its name."""
    for channel in lambda_channels(config.channels):
        if channel.name == name:
            side = "" if channel.bank is None else f"bank {channel.bank}"
            return channel.label or side or channel.name.replace("_", " ")
    return "" if name is None else name.replace("_", " ")


def called(config: Configuration, name: str) -> str:
    """A channel with the bank that it belongs to, as "right bank (lambda_2)"; its name alone if that is its label."""
    label = bank_label(config, name)
    return name if label == name.replace("_", " ") else f"{label} ({name})"
