"""The wiring of a configuration, by the terminals of hardware/README.md: the last lines that `setup` prints."""

from __future__ import annotations

from typing import Any

from shared_math import channels, converters

# board -> input -> the marking of its pin (hardware/circuit/boards.py; a test compares the two)
RP2_PADS = {
    "a0": "GP26, pin 31",
    "a1": "GP27, pin 32",
    "a2": "GP28, pin 34",
    "p0": "GP15, pin 20",
    "p1": "GP6, pin 9",
    "d0": "GP14, pin 19",
}
ESP32_PADS = {
    "a0": "IO36 (VP)",
    "a1": "IO39 (VN)",
    "a2": "IO34",
    "a3": "IO35",
    "p0": "IO27",
    "p1": "IO15",
    "d0": "IO26",
}
PADS = {"rp2": RP2_PADS, "rp2350": RP2_PADS, "esp32": ESP32_PADS}

FIRST = (
    "Terminals of the builds on perfboard. The board to order numbers its own otherwise, and its inputs want other "
    "parts: wire it by hardware/board/made/wiring.md alone.",
    "Key out, battery's minus off, never near airbags, brakes or steering; the fuse goes in last.",
    "T1  switched 12 V, through a 1 A fuse within 15 cm of its tap",
    "T2  the lambda controller's power ground point, by a ring lug, through the resettable fuse P-F2 at the lug: "
    "without it the wire burns if it ever touches 12 V",
)
# name -> line: from where, through which parts, to which terminal and block
LINES = {
    "lambda_1": "the controller's 0-5 V output -> T3, its signal ground -> T4, each through 6.8 kilohm at the "
    "controller; block A0, differential",
    "lambda_2": "the second controller's output and its signal ground, each through 6.8 kilohm at the "
    "controller; one more block, differential, as A0",
    "lambda_1_wire": "no wire in the car: from where A0-R2, A0-R3 and A0-C1 meet (lambda_plus in the wiring tables) "
    "through W0-R1, 1 kilohm; block W0. Not built? Then take this channel out of logger.json",
    "map": "a sensor of your own: signal -> T7, its 5 V from T12, its ground to T13; block A1, 0-5 V",
    "throttle": "the sensor's signal -> T8, its ground -> T11, each through 180 kilohm at the splice; block A2, sensor "
    "tap",
    "fuel_pressure": "a sensor of your own: signal to one more block, 0-5 V, as A1; its 5 V from T12, its ground to "
    "T13",
    "battery": "joined to T1 inside the logger; block A3: 47 and 10 kilohm",
    "injector": "the injector's driver line through 1 kilohm at the injector; one more block E, logic line, JP1 open",
}
SPEED = {
    "coil": "the ignition coil's switched end -> T5, through two 15 kilohm at the coil (it carries 400 V); a bolt of "
    "the engine block near it -> T6, through 1 kilohm at its lug; block E, opto-coupler",
    "line": "the tach output -> T5, through 1 kilohm at its far end; block E, logic line, JP1 open",
    "wheel": "a sensor with pulses of 5 to 12 V -> T5, through 1 kilohm at the sensor; block E, logic line, JP1 open",
}

BUS = (
    "T23, T24, T25  the diagnostic socket's pins 6, 14 and 5, by a plug of your own with 4.7 kilohm in both lines "
    "of the bus and 1 kilohm in its ground, less than 1 m of twisted pair, no terminating resistor; block K: "
)
LISTENS = "JP1 and JP2 stay open, so that it can only listen"
ASKS = "asking needs JP1 and JP2 closed and the 4.7 kilohm bridged: read block K's cautions first"


def lines(config: dict[str, Any], source: str) -> list[str]:
    """A line for each wire that the configuration needs. source: source of engine speed, "coil", "line" or "wheel"."""
    pads = PADS.get(config["board"], {})
    out: list[str] = [*FIRST]
    for channel in config["channels"]:
        if channel["kind"] in channels.BUS_KINDS:
            continue
        name, place = channel["name"], channel["input"]
        line = SPEED[source] if channel["kind"] == "pulses" else LINES[name]
        part = converters.part_of(config, place)
        pad = f"an {part.upper()}'s input {place[1:]}" if part else pads.get(place, "see firmware/boards/pin_table.py")
        out.append(f"{place}  {name}: {line}; pin: {pad}")
    if channels.from_the_bus(config):
        out.append(BUS + (ASKS if config.get("bus", {}).get("ask") else LISTENS))
    return [*out, "Button -> T15 and T16; lamp -> T17 (long leg) and T18; screens of all cables -> T14"]
