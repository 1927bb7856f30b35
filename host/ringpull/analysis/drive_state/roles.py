"""Which configured channel plays which part in the analysis, by its name, kind and unit."""

import re

from shared_math import channels as shared_channels
from shared_math import judging

# Role -> pattern of channel names; the first channel that fits plays the role
NAMES = {
    "map": r"map|manifold(_pressure)?|boost",
    "throttle": r"throttle|tps|throttle_position",
    "ambient": r"ambient(_pressure)?|baro(meter|metric)?(_pressure)?|air_pressure",
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
    "knock": r"knock",
    "boost_target": r"boost_target|map_target",
    "ethanol": r"ethanol(_content)?|flex",
    "wheel": r"wheel_speed|road_speed|vehicle_speed|speed",
}

# Role -> unit as configured -> (factor, offset) to the unit the analysis uses; other units are taken as they are
_KPA = {"bar": (100.0, 0.0), "mbar": (0.1, 0.0), "psi": (6.894757, 0.0)}
_DEGC = {"degF": (1.0 / 1.8, -32.0 / 1.8), "K": (1.0, -273.15)}
UNITS = {
    "map": _KPA,
    "ambient": _KPA,
    "fuel_pressure": _KPA,
    "boost_target": _KPA,
    "coolant": _DEGC,
    "intake": _DEGC,
    "exhaust": _DEGC,
    "battery": {"mV": (0.001, 0.0)},
    "injector": {"us": (0.001, 0.0)},
    "wheel": {"mph": (1.609344, 0.0), "m/s": (3.6, 0.0)},
}


def channel_for(role: str, channels: list[dict]) -> dict | None:
    """The channel of the configuration that plays `role`, or None."""
    for channel in channels:
        if channel.get("kind") not in ("lambda", "pulses") or role in ("commanded", "wheel"):
            if re.fullmatch(NAMES[role], channel["name"].lower()):
                return channel
    if role == "injector":
        return next((c for c in channels if c.get("kind") == "pulse_width"), None)
    if role == "wheel":
        return next((c for c in channels if c.get("kind") == "pulses" and "per_metre" in c), None)
    return None


def lambda_channels(channels: list[dict]) -> list[dict]:
    """The lambda channels that measure the exhaust: kind lambda, without what the engine computer only commands."""
    commanded = channel_for("commanded", channels)
    return [c for c in channels if c.get("kind") == "lambda" and c is not commanded]


def speed_channel(channels: list[dict]) -> dict | None:
    """The pulse channel that counts the crank: the first one with `per_rev`."""
    return shared_channels.crank_of(channels)
