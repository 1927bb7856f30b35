"""Reasons why a configuration without mistakes can give no answer: errors in `check`, though the logger records."""

from __future__ import annotations

from typing import Any

from ringpull.analysis.drive_state import units
from ringpull.device import by_role
from shared_math import boards, lean_watch, plausible
from shared_math import channels as descriptions
from shared_math.config import schema

Thought = tuple[str, str, str]  # code, where, detail

LITTLE_KPA = 15  # a load that is never higher is not a manifold pressure in kPa
STATES_SHARE = 0.5  # most of a lambda channel's range that its states may cover

# code -> (what is wrong, likely cause, what to do); {w} is the place, {d} the detail
SENTENCES = {
    "no_lambda": (
        "No channel measures lambda, so there is no answer about the mixture",
        "the controller's channel was left out or has another kind; the lambda that the engine computer commands is "
        "not a measurement",
        'add it: "kind": "lambda" with "volts" and "values" from the controller\'s manual',
    ),
    "no_speed": (
        "No channel counts the crank, so there is no answer about the mixture",
        'the tach line was left out, or "per_rev" is missing',
        'add a channel of kind "pulses" with "per_rev": pulses per turn of the crankshaft',
    ),
    "states_cover": (
        "{w} has states over {d} % of its volts, where no lambda is read",
        "the states' volts were copied from the channel's, or span too much",
        "give each state only the volts that the controller outputs in it, such as [0.0, 0.1]",
    ),
    "board_input": (
        "{w} is wired to {d}, which has no pin: the board measures a third of its own supply there",
        "a3 was taken to follow a2, or the configuration was written for another board",
        "use a0 to a2, or an input of an external converter (x0, x1, ...)",
    ),
    "max_rpm_low": (
        "{w} allows at most {d} rpm: pulses of a faster engine are rejected as ringing",
        "a digit of max_rpm is missing, or idle speed was written",
        "write a speed that the engine never reaches, such as 9000",
    ),
    "lambda_over_5v": (
        "{w} goes to {d} V, but the inputs of hardware/README.md read up to 5.5 V: every lambda would be wrong",
        "the volts of the controller's supply were written instead of those of its output",
        'write the output\'s volts, usually 0 to 5; for another output write its divider: "divider": {{"top_ohm": '
        "47000, "
        '"bottom_ohm": 10000}}',
    ),
    "little_kpa": (
        "{w} ends at {d} kPa, but the surrounding air has about 100: lambda would be compared with the wrong target",
        "the figures are in bar, not in kPa",
        "multiply them by 100: 3 bar is 300 kPa, absolute",
    ),
    "gauge_kpa": (
        "{w} goes down to {d} kPa, but an absolute pressure can't be below 0",
        "the figures are gauge pressures (above the surrounding air), but the analysis takes them as absolute",
        "add the air's pressure, about 100 kPa, to all of its values; with the engine off it must then read that",
    ),
    "not_ambient": (
        "{w} can't show the pressure of the stopped engine: its range is {d} kPa",
        "the volts or values belong to another sensor or another unit",
        "take them from the sensor's data sheet: the surrounding air has 60 to 105 kPa",
    ),
}


def impossible(config: dict[str, Any]) -> list[Thought]:
    """(code, where, detail) of each reason why a checked configuration can give no answer."""
    out: list[Thought] = []
    channels = config["channels"]
    sensors = by_role.lambda_channels(config)
    if not sensors:
        out.append(("no_lambda", "", ""))
    crank = descriptions.crank_of(channels)
    if crank is None:
        out.append(("no_speed", "", ""))
    elif crank.get("max_rpm", plausible.IDLE_MOST_RPM + 1) <= plausible.IDLE_MOST_RPM:
        out.append(("max_rpm_low", place(config, crank), f"{crank['max_rpm']:g}"))
    for channel in sensors:
        share = covered(channel)
        if share >= STATES_SHARE:
            out.append(("states_cover", place(config, channel), f"{100 * share:.0f}"))
        most_v = max(channel["volts"])
        if most_v > descriptions.LIMIT_5V and not ("divider" in channel or "calibration" in channel):
            out.append(("lambda_over_5v", place(config, channel), f"{most_v:g}"))
    taken = boards.OWN_SUPPLY.get(config.get("board", schema.BOARD))
    for channel in channels:
        if taken is not None and channel.get("input") == taken and not _measures_the_boards_supply(channel):
            out.append(("board_input", place(config, channel), taken))
    return out + _pressures(config)


def explain(thought: Thought) -> tuple[str, str, str]:
    """(what is wrong, likely cause, what to do) of a reason from impossible()."""
    code, where, detail = thought
    what, cause, step = (sentence.format(w=where, d=detail) for sentence in SENTENCES[code])
    return what, cause, step


def place(config: dict[str, Any], channel: dict[str, Any]) -> str:
    """A channel as it is named in a sentence."""
    return f'channel {config["channels"].index(channel) + 1} ("{channel["name"]}")'


def covered(channel: dict[str, Any]) -> float:
    """Share of a lambda channel's range of volts that its states cover, 0 to 1 (states never overlap)."""
    low, high = min(channel["volts"]), max(channel["volts"])
    taken = sum(
        max(0.0, min(high, state["volts"][1]) - max(low, state["volts"][0])) for state in channel.get("states", ())
    )
    return taken / (high - low)


def _measures_the_boards_supply(channel: dict[str, Any]) -> bool:
    """Whether a channel on that input is intended: in volts, and not named as the car's battery."""
    volts = channel["kind"] == "linear" and channel.get("unit") == "V"
    return volts and channel["name"] not in ("battery", "supply")


def _pressures(config: dict[str, Any]) -> list[Thought]:
    """Reasons from figures that manifold pressure and the target's pressures can't have."""
    out = []
    for entry in lean_watch.entries(config.get("target")):
        highest = max(entry.get("load_kpa", [LITTLE_KPA]))
        if highest < LITTLE_KPA:
            out.append(("little_kpa", "The target", f"{highest:g}"))
            break
    for channel in manifold_channels(config):
        least, most = range_kpa(channel)
        where = place(config, channel)
        if 0 <= least and most < LITTLE_KPA:
            out.append(("little_kpa", where, f"{most:g}"))
        elif least < 0:
            out.append(("gauge_kpa", where, f"{least:g}"))
        elif most < plausible.AMBIENT_LEAST_KPA or least > plausible.AMBIENT_MOST_KPA:
            out.append(("not_ambient", where, f"{least:g} to {most:g}"))
    return out


def manifold_channels(config: dict[str, Any]) -> list[dict[str, Any]]:
    """The linear or table channels used as manifold pressure: by name, or as a target's load in kPa."""
    by_name = by_role.channel_for("map", config)
    loads = {entry.get("load") for entry in lean_watch.entries(config.get("target")) if "load_kpa" in entry}
    return [
        one
        for one in config["channels"]
        if (one is by_name or one["name"] in loads) and one["kind"] in ("linear", "table")
    ]


def range_kpa(channel: dict[str, Any]) -> tuple[float, float]:
    """The least and most of a pressure channel's values, in kPa."""
    factor = units.UNITS["map"].get(channel.get("unit", ""), (1.0, 0.0))[0]
    values = [factor * value for value in channel["values"]]
    return min(values), max(values)
