"""Advice about a configuration that has no mistakes: `check` prints it, and nothing is refused for it."""

from typing import Any

from ringpull.analysis.cells.ratio import TRIMS
from ringpull.analysis.drive_state import sensor_range, units
from ringpull.device import by_role
from ringpull.device.advice_words import ADVICE
from ringpull.device.impossible import Thought, manifold_channels, place, range_kpa
from ringpull.files import configuration
from shared_math import boards, bus, converters, judging, lean_watch, plausible, speed
from shared_math import channels as descriptions
from shared_math.config import checker, schema

STRAIGHT_INPUTS = ("a0", "a1", "a2", "a3")  # inputs that the drawings wire for 0-5 V
# other names of a board -> its name here (makers' names of chips and boards, from memory)
ALSO_CALLED = {
    "pico": "rp2",
    "picow": "rp2",
    "rp2040": "rp2",
    "pico2": "rp2350",
    "pico2w": "rp2350",
    "esp32s3": "esp32",
}
LEAST_TAU_MS = 5  # a smaller lag of a lambda sensor means seconds written for milliseconds
LOW_MAX_RPM = 4000  # the limit of few petrol engines is lower
# Fuel pressure sensors end between these: carburettors need less than the first, direct injection reaches 35,000
FUEL_LEAST_KPA, FUEL_MOST_KPA = 100, 50000
STATE_BELOW_V = 0.2  # a range that begins lower leaves no volts for a state below it
LEAST_ABSOLUTE_KPA = 5  # the range of an absolute sensor usually begins higher
# role of a channel -> the unit in which the analysis takes it if its unit is not known
BASE_UNITS = {"kPa": ("map", "ambient", "fuel_pressure", "boost_target"), "degC": ("coolant", "intake", "exhaust")}
BASE_UNITS |= {"V": ("battery",), "ms": ("injector",), "km/h": ("wheel",)}
# Spark ignition at full load is given 0.72 to 0.95; well outside lies a slip. Common practice, no source
FULL_LOAD_RICHEST, FULL_LOAD_LEANEST = 0.65, 1.02
LEAN_BURNING = ("hydrogen", "methane")  # fuels that may be burnt lean at full load
LEAST_ABOVE = 0.1  # lambda above target that the scale must still show, to tell how lean an engine is
PRESSURE_UNITS = ("kPa", *units.UNITS["map"])
# Advice to follow up before the first drive; all other advice is worth knowing
FIRST = (
    "board_unknown",
    "bus_not_own",
    "trims_alone",
    "input_not_there",
    "per_rev_unusual",
    "sensor_too_small",
    "maybe_gauge",
    "fuel_pressure_range",
    "unit_unknown",
    "fast_for_interrupts",
    "below_converter",
    "battery_divider",
    "own_divider",
    "no_lean_warning",
    "tau_in_seconds",
    "falling_slope",
    "falling_pressure",
    "low_max_rpm",
    "target_unusual",
    "lambda_range_short",
    "when_at_the_end",
)


def advice(config: dict[str, Any]) -> list[Thought]:
    """(code, where, detail) of each piece of advice about a configuration without mistakes."""
    out = _board(config)
    for channel in config["channels"]:
        where = place(config, channel)
        out += [(code, where, detail) for code, detail in (*_input(config, channel), *_values(config, channel))]
    for channel in manifold_channels(config):
        out += [(code, place(config, channel), detail) for code, detail in _pressure(config, channel)]
    return (
        out
        + _target(config)
        + _fuel_pressure(config)
        + _units(config)
        + _warning(config)
        + _wires(config)
        + _bus(config)
    )


def _board(config: dict[str, Any]) -> list[Thought]:
    board = config.get("board", schema.BOARD)
    if board not in boards.TITLES:
        plain = "".join(letter for letter in board.lower() if letter.isalnum())
        meant = ALSO_CALLED.get(plain) or checker.meant(plain, boards.TITLES)
        return [("board_unknown", "", f'"{board}"' + (f'; did you mean "{meant}"?' if meant else ""))]
    return [] if board in boards.STAMPING else [("soft_timer", "", f'"{board}"')]


def _bus(config: dict[str, Any]) -> list[Thought]:
    """What to know of the bus controller."""
    listed = descriptions.from_the_bus(config)
    if not listed:
        return []
    chip = config.get("bus", {}).get("chip", bus.DEFAULTS["chip"])
    out: list[Thought] = []
    if chip == "mcp2515":
        out.append(("bus_two_buffers", "The car's bus", ""))
    if chip == "own" and config.get("board", schema.BOARD) in ("rp2", "rp2350", "esp32"):
        out.append(("bus_not_own", "The car's bus", f'"{config["board"]}"'))
    if any(one["kind"] == "obd" for one in listed):
        out.append(("bus_asks", "The car's bus", ""))
    trims = [one for role in TRIMS if (one := by_role.channel_for(role, config))]
    if trims and by_role.channel_for("fuel_state", config) is None:
        out.append(("trims_alone", place(config, trims[0]), ""))
    return out


def _input(config: dict[str, Any], channel: dict[str, Any]) -> list[tuple[str, str]]:
    """(code, detail) of advice about a channel's input on this board."""
    out = []
    if channel["kind"] in descriptions.BUS_KINDS:
        return out
    board = config.get("board", schema.BOARD)
    if channel["kind"] in ("pulses", "frequency") and board in boards.TITLES and board not in boards.STAMPING:
        shortest = speed.channel_shortest_us(channel)
        if shortest < boards.INTERRUPT_PERIOD_US:
            out.append(("fast_for_interrupts", f"{1000000 // shortest}"))
    if channel["input"][0] in "apd" and channel["input"] not in boards.INPUTS.get(board, (channel["input"],)):
        out.append(("input_not_there", channel["input"]))
    known = "divider" in channel or "calibration" in channel
    if channel["input"] == boards.OWN_SUPPLY.get(board) and not known:
        out.append(("own_divider", channel["input"]))
    most_v = max(channel.get("volts", [0]))
    if most_v > descriptions.LIMIT_5V and not known and channel["kind"] != "lambda" and "checks" not in channel:
        if channel["name"] not in ("battery", "supply") or channel["input"] in STRAIGHT_INPUTS:
            out.append(("battery_divider", f"{most_v:g}"))
    # A signal that is measured once more tells of a broken core well above these volts
    least_v = None if "checks" in channel else _least_v(channel, boards.LEAST_V.get(board, 0.0))
    if least_v is not None:
        out.append(("below_converter", f"{least_v:.2f}"))
    return out


def _values(config: dict[str, Any], channel: dict[str, Any]) -> list[tuple[str, str]]:
    """(code, detail) of advice about figures that are allowed but hardly intended."""
    out = []
    if _unusual(channel, config.get("engine", {})):
        out.append(("per_rev_unusual", f"{channel['per_rev']:g}"))
    if LOW_MAX_RPM > channel.get("max_rpm", LOW_MAX_RPM):
        out.append(("low_max_rpm", f"{channel['max_rpm']:g}"))
    if channel["kind"] == "pulse_width" and descriptions.crank_of(config["channels"]) is None:
        out.append(("duty_without_speed", ""))
    if channel["kind"] == "lambda":
        if 0 < channel.get("tau_ms", 0) < LEAST_TAU_MS:
            out.append(("tau_in_seconds", f"{channel['tau_ms']:g}"))
        out += _falling(channel, "falling_slope")
    if channel["kind"] == "linear" and descriptions.unit_of(channel) in PRESSURE_UNITS:
        out += _falling(channel, "falling_pressure")
    return out


def _falling(channel: dict[str, Any], code: str) -> list[tuple[str, str]]:
    """Advice about values that fall as the volts rise."""
    (low_v, first), *_, (high_v, last) = sorted(zip(channel["volts"], channel["values"], strict=True))
    return [(code, f"{first:g} at {low_v:g} V to {last:g} at {high_v:g} V")] if first > last else []


def _pressure(config: dict[str, Any], channel: dict[str, Any]) -> list[tuple[str, str]]:
    """(code, detail) of advice about a manifold pressure channel that may not fit this car."""
    least, most = range_kpa(channel)
    entries = [entry for entry in lean_watch.entries(config.get("target")) if entry.get("load") == channel["name"]]
    highest = max([max(entry.get("load_kpa", [0])) for entry in entries], default=0)
    out = []
    if plausible.AMBIENT_LEAST_KPA <= most < highest:
        out.append(("sensor_too_small", f"{most:g}"))
    if "boost" in channel["name"] and 0 <= least < LEAST_ABSOLUTE_KPA:
        out.append(("maybe_gauge", f"{least:g}"))
    return out


def _target(config: dict[str, Any]) -> list[Thought]:
    """Advice about a target at its highest load that no engine is given, or that the lambda sensor can't show."""
    entries = lean_watch.entries(config.get("target"))
    ends = _condition_ends(config, entries)
    if not entries or config.get("fuel", {}).get("name") in LEAN_BURNING:
        return ends
    at_full = [_at_full_load(entry["lambda"]) for entry in entries]
    least, most = min(low for low, _ in at_full), max(high for _, high in at_full)
    out = ends
    if most > FULL_LOAD_LEANEST or least < FULL_LOAD_RICHEST:
        out.append(("target_unusual", "The target", f"{most if most > FULL_LOAD_LEANEST else least:g}"))
    elif (lean_end := sensor_range.lambda_range(configuration.of(config))[1]) < most + LEAST_ABOVE:
        out.append(("lambda_range_short", "The lambda scale", f"{lean_end:.2f}, and the target is {most:g}"))
    return out


def _condition_ends(config: dict[str, Any], entries: list[dict[str, Any]]) -> list[Thought]:
    """Advice about conditions on a range that ends where the channel's own scale does: a reading's noise leaves it."""
    scales = {one["name"]: one["values"] for one in config["channels"] if one.get("values")}
    out: list[Thought] = []
    for when in (entry["when"] for entry in entries if "when" in entry):
        wanted, scale = when["is"], scales.get(when["channel"])
        if not isinstance(wanted, list) or scale is None:
            continue
        ends = [end for end, of in zip(wanted, (min(scale), max(scale)), strict=True) if end == of]
        out += [("when_at_the_end", when["channel"], f"{end:g}") for end in ends]
    return out


def _at_full_load(value: float | list) -> tuple[float, float]:
    """(least, most) lambda at the highest load of a target: a number, a row by load, or rows by speed."""
    last = [row[-1] if isinstance(row, list) else row for row in value] if isinstance(value, list) else [value]
    last = last if isinstance(value, list) and isinstance(value[0], list) else last[-1:]
    return min(last), max(last)


def _fuel_pressure(config: dict[str, Any]) -> list[Thought]:
    """Advice about a fuel pressure sensor whose range no such sensor has."""
    channel = by_role.channel_for("fuel_pressure", config)
    if channel is None or not channel.get("values"):
        return []
    unit = descriptions.unit_of(channel)
    factor, offset = units.UNITS["fuel_pressure"].get(unit, (1.0, 0.0))
    most = max(channel["values"])
    if FUEL_LEAST_KPA <= most * factor + offset <= FUEL_MOST_KPA:
        return []
    return [("fuel_pressure_range", place(config, channel), f"{most:g} {unit}")]


def _units(config: dict[str, Any]) -> list[Thought]:
    """Advice about channels used by name whose unit the analysis does not know."""
    out: list[Thought] = []
    for base, parts in BASE_UNITS.items():
        for role in parts:
            channel = by_role.channel_for(role, config)
            if channel is None:
                continue
            unit = descriptions.unit_of(channel)
            known = [base, *units.UNITS.get(role, ())]
            if unit not in known:
                meant = next((one for one in known if one.lower() == unit.lower()), None)
                hint = f'; did you mean "{meant}"?' if meant else f" (known: {', '.join(known)})"
                out.append(("unit_unknown", place(config, channel), f'"{unit}"{hint}' if unit else f"no unit{hint}"))
    return out


def _warning(config: dict[str, Any]) -> list[Thought]:
    """Advice about channels or states that the lean warning lacks."""
    sensors = lean_watch.sensors(config["channels"])
    if not sensors or config.get("lean_warning") is False:
        return []
    lacking = lean_watch.lacking(config)
    if lacking:
        words = {"speed": "an engine speed", "load": "a target that depends on the load of a linear or table channel"}
        return [("no_lean_warning", "The lean warning", " and ".join(words[one] for one in lacking))]
    mute = [
        f'"{one["name"]}"'
        for one in sensors
        if judging.HEATING not in [judging.meaning(state) for state in one.get("states", ())]
    ]
    room = all(min(one.get("volts", [0.0])) >= STATE_BELOW_V for one in sensors)
    code = "lean_after_warm_up" if room else "lean_no_room_for_state"
    return [(code, "The lean warning", " and ".join(mute))] if mute else []


def _wires(config: dict[str, Any]) -> list[Thought]:
    """Advice about lambda sensors whose ground core nothing checks, while an input for that is free."""
    checked = [one["checks"] for one in config["channels"] if "checks" in one]
    free = [name for name in _free_inputs(config) if not _is_slow(config, name)]
    differential = [
        one
        for one in by_role.lambda_channels(config)
        if one.get("front") == descriptions.DIFFERENTIAL and one["name"] not in checked
    ]
    bare = [one for one in config["channels"] if "checks" in one and "divider" not in one]
    out = [("wire_divider", place(config, one), one["checks"]) for one in bare]
    return [
        *out,
        *(("wire_unchecked", place(config, one), name) for one, name in zip(differential, free, strict=False)),
    ]


def _is_slow(config: dict[str, Any], name: str) -> bool:
    part = converters.part_of(config, name)
    return part is not None and converters.slow(part)


def _free_inputs(config: dict[str, Any]) -> list[str]:
    """The analog inputs that no channel uses: of the board, then of the converters that are configured."""
    used = [converters.parse(one["input"]) for one in config["channels"] if "input" in one]
    taken = {(letter, number) for letter, plus, minus in filter(None, used) for number in (plus, minus)}
    board = config.get("board", schema.BOARD)
    own = [name for name in boards.INPUTS.get(board, ()) if name[0] == "a" and name != boards.OWN_SUPPLY.get(board)]
    listed = config.get("converters", {})
    own += [f"{letter}{n}" for letter in sorted(listed) for n in range(converters.inputs(listed[letter]))]
    return [name for name in own if (name[0], int(name[1:])) not in taken]


def _unusual(channel: dict[str, Any], engine: dict[str, Any]) -> bool:
    """Whether pulses per turn of a four-stroke fit no usual tach line, toothed wheel or alternator."""
    if "per_rev" not in channel or "cylinders" not in engine or speed.strokes_of(engine) != 4:
        return False
    return channel["per_rev"] < 9 and channel["per_rev"] not in (0.5, 1, engine["cylinders"] / 2)


def _least_v(channel: dict[str, Any], pin_v: float) -> float | None:
    """The lowest volts at the terminal that the board's converter can read, if the channel uses lower ones; else None.

    pin_v: the lowest volts at the converter's pin.
    """
    if channel["kind"] != "lambda" or channel["input"][0] != "a":
        return None
    top, bottom = descriptions.divider_of(channel)
    least_v = pin_v * (top + bottom) / bottom
    used = list(channel["volts"])
    for state in channel.get("states", ()):
        used += state["volts"]
    return least_v if min(used) < least_v else None


def explain(thought: Thought) -> tuple[str, str, str]:
    """(what is worth knowing, why, what to do) of a piece of advice."""
    code, where, detail = thought
    what, why, step = (sentence.format(w=where, d=detail) for sentence in ADVICE[code])
    return what, why, step
