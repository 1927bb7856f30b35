"""What a configuration without mistakes should still make somebody think of: said by `check`, never refused."""

from shared_math import boards, lean_watch, plausible, speed
from shared_math import channels as descriptions
from shared_math.config import schema

STRAIGHT_INPUTS = ("a0", "a1", "a2", "a3")  # those that the drawings wire for 0-5 V
LITTLE_KPA = 15  # a load that never goes above this is no manifold pressure in kPa

# code -> as in shared_math/config/words.py
ADVICE = {
    "board_unknown": (
        "Board {d} is not one of %s" % ", ".join(boards.TITLES),
        "a typing slip, or a board of your own",
        "write one of these, else nothing can be said here of how fast it is",
    ),
    "input_not_there": (
        "{w} is wired to {d}, which this board does not have unless its wiring table was changed",
        "a slip, or a configuration for another board",
        "use an input of hardware/README.md; otherwise the logger shows fault 45 and the channel reads 0",
    ),
    "per_rev_unusual": (
        "{w} has {d} pulses per turn, and a tach line or coil of this engine usually gives another number",
        "half the cylinders on most four-stroke tach lines, 1 where two cylinders share a spark, 0.5 for a coil of its "
        "own",
        "compare engine speed at idle with the dashboard; half or twice of it means that per_rev is wrong",
    ),
    "little_kpa": (
        "{w} ends at {d} kPa, and air outside has about 100",
        "the figures are in bar, not in kPa",
        "multiply them by 100: 3 bar are 300 kPa, absolute",
    ),
    "gauge_kpa": (
        "{w} goes down to {d} kPa, and no absolute pressure lies below 0",
        "the figures are of a pressure over the air around (gauge), and the analysis takes them as absolute",
        "add the air's pressure, about 100 kPa, to all of its values; with the engine off it must then show that",
    ),
    "not_ambient": (
        "{w} can't show the pressure of the standing engine: it shows {d} kPa",
        "the volts or values are those of another sensor, or of another unit",
        "take them from the sensor's own data sheet: air outside has 60 to 105 kPa",
    ),
    "sensor_too_small": (
        "{w} ends at {d} kPa, below the highest load of the target",
        "the sensor is too small for the boost: above its end the target stays that of a lower load",
        "fit a sensor of a larger range, or check its values and the target's load_kpa",
    ),
    "fast_for_interrupts": (
        "{w} may send {d} pulses a second, and this board counts them by interrupts, good for 2000",
        "many teeth or pulses per turn on a board without a counter of its own",
        'use an RP2040 board ("board": "rp2"), which stamps edges without its processor, or divide the signal',
    ),
    "soft_timer": (
        "While the card is busy, board {d} takes no rows",
        "its port runs timers and interrupts only between other work; most writes take a few milliseconds, some far "
        "longer",
        'use an RP2040 board ("board": "rp2") where none may be missing; what is lost is counted and shown as a gap',
    ),
    "below_converter": (
        "{w} uses volts below {d} V, and this board's own converter reads all of them as about that",
        "the ESP32's converter ends near 0.15 V at its pin: a warm-up state down there is not seen, a rich end looks "
        "like a number",
        "set the controller's output to begin higher, such as at 0.5 V, or wire it to an external converter's input",
    ),
    "battery_divider": (
        "{w} goes to {d} V, so its input is taken to stand behind the divider of the battery input",
        "a 0-5 V input reads to 5.5 V; the battery's, of 47 and 10 kiloohm, to 18 V",
        'solder that divider there, or write what is soldered: "divider": {{"top_ohm": 47000, "bottom_ohm": 10000}}',
    ),
    "duty_without_speed": (
        "{w} measures an injector, but no channel counts the crank",
        "duty is on-time times engine speed",
        'add a channel of kind "pulses" with "per_rev"; on-time is logged either way',
    ),
    "no_lean_warning": (
        "{w} stays off for want of {d}",
        "it compares lambda with the target at the load that there is, while the engine runs",
        'add what is missing, or write "lean_warning": false',
    ),
    "lean_after_warm_up": (
        "{w} is silent for the first %d s that the engine runs" % (lean_watch.WARM_MS // 1000),
        "no state of {d} tells that its controller is still heating",
        'add it from the controller\'s papers: "states": [{{"name": "warm-up", "volts": [0.0, 0.1]}}]',
    ),
}


def advice(config):
    """(code, where, detail) for each thing worth knowing about a configuration that has no mistakes."""
    out = []
    channels = config["channels"]
    board = config.get("board", schema.BOARD)
    by_interrupts = board in boards.TITLES and board not in boards.STAMPING
    if board not in boards.TITLES:
        out.append(("board_unknown", "", '"%s"' % board))
    elif by_interrupts:
        out.append(("soft_timer", "", '"%s"' % board))
    load = _load_of(config, out)
    for at in range(len(channels)):
        channel = channels[at]
        where = 'channel %d ("%s")' % (at + 1, channel["name"])
        if channel["kind"] in ("pulses", "frequency") and by_interrupts:
            shortest = speed.channel_shortest_us(channel)
            if shortest < boards.INTERRUPT_PERIOD_US:
                out.append(("fast_for_interrupts", where, "%d" % (1000000 // shortest)))
        if channel["input"][0] in "apd" and channel["input"] not in boards.INPUTS.get(board, (channel["input"],)):
            out.append(("input_not_there", where, channel["input"]))
        if _unusual(channel, config.get("engine", {})):
            out.append(("per_rev_unusual", where, "%g" % channel["per_rev"]))
        if channel["name"] == load and channel.get("unit") == "kPa" and max(channel["values"]) < LITTLE_KPA:
            out.append(("little_kpa", where, "%g" % max(channel["values"])))
        elif channel["name"] == load and channel.get("unit") == "kPa":
            out += [(code, where, detail) for code, detail in _pressure(channel["values"], config)]
        most_v = max(channel.get("volts", [0]))
        if most_v > descriptions.LIMIT_5V and not ("divider" in channel or "calibration" in channel):
            if channel["name"] not in ("battery", "supply") or channel["input"] in STRAIGHT_INPUTS:
                out.append(("battery_divider", where, "%g" % most_v))
        least_v = _least_v(channel, boards.LEAST_V.get(board, 0.0))
        if least_v is not None:
            out.append(("below_converter", where, "%.2f" % least_v))
        if channel["kind"] == "pulse_width" and descriptions.crank_of(channels) is None:
            out.append(("duty_without_speed", where, ""))
    sensors = lean_watch.sensors(channels)
    if sensors and config.get("lean_warning") is not False:
        lacking = lean_watch.lacking(config)
        if lacking:
            words = {"speed": "an engine speed", "load": "a target by load of a linear or table channel"}
            out.append(("no_lean_warning", "The lean warning", " and ".join([words[one] for one in lacking])))
        else:
            mute = ['"%s"' % one["name"] for one in sensors if not one.get("states")]
            if mute:
                out.append(("lean_after_warm_up", "The lean warning", " and ".join(mute)))
    return out


def _pressure(values, config):
    """(code, detail) of what an absolute manifold pressure cannot be."""
    least, most = min(values), max(values)
    if least < 0:
        return [("gauge_kpa", "%g" % least)]
    if most < plausible.AMBIENT_LEAST_KPA or least > plausible.AMBIENT_MOST_KPA:
        return [("not_ambient", "%g to %g" % (least, most))]
    target = config.get("target")
    highest = max(max(one.get("load_kpa", [0])) for one in (target if isinstance(target, list) else [target or {}]))
    return [("sensor_too_small", "%g" % most)] if most < highest else []


def _load_of(config, out):
    """Name of the channel that the target goes by, if any; a target in bar is told."""
    target = config.get("target")
    for one in target if isinstance(target, list) else [target or {}]:
        if max(one.get("load_kpa", [LITTLE_KPA])) < LITTLE_KPA:
            out.append(("little_kpa", "The target", "%g" % max(one["load_kpa"])))
        if "load" in one:
            return one["load"]
    return None


def _unusual(channel, engine):
    """Whether a four-stroke's pulses per turn are none of the usual ones, nor a toothed wheel's or an alternator's."""
    if "per_rev" not in channel or "cylinders" not in engine or speed.strokes_of(engine) != 4:
        return False
    return channel["per_rev"] < 9 and channel["per_rev"] not in (0.5, 1, engine["cylinders"] / 2)


def _least_v(channel, pin_v):
    """Volts at the terminal that the board's own converter ends at, where a lambda channel uses lower ones; else None.

    pin_v: where it ends at its pin.
    """
    if channel["kind"] != "lambda" or channel["input"][0] != "a":
        return None
    top, bottom = descriptions.divider_of(channel)
    least_v = pin_v * (top + bottom) / bottom
    used = list(channel["volts"])
    for state in channel.get("states", ()):
        used += state["volts"]
    return least_v if min(used) < least_v else None


def explain(told):
    """(what is worth knowing, why it is so, what to do) of one of advice()'s."""
    code, where, detail = told
    return tuple([sentence.format(w=where, d=detail) for sentence in ADVICE[code]])
