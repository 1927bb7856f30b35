"""The page for whoever solders the first board: block by block, what to fit, what to measure, what must come out.

Volts and their limits are those of circuit/checks.py, which a test computes in ngspice; ohms are computed here.
"""

from __future__ import annotations

import json
from dataclasses import dataclass

from hardware.board import contents, items, places, prices, prints, rules, shape
from hardware.board.places import below_module
from hardware.circuit import checks, readings
from hardware.circuit.blocks import BY_NAME
from hardware.circuit.stock import PRICE_DATE, STOCK
from shared_math import bus_states

REFERENCE_V = 3.0
TAB_MM = 5.0
_NO_BRIDGE = "above 1 kohm: bridged, a transistor or Zener diode behind it burns"
_BATTERY, _PLAIN = ([BY_NAME[name].value(ref) for ref in ("R1", "R2")] for name in ("analog_battery", "analog_5v"))
_CHANNELS = (
    {"name": "lambda_1", "input": "a0", "kind": "lambda", "front": "differential", "volts": [0.0, 5.0],
     "values": [0.60, 1.40]},
    {"name": "engine_speed", "input": "p0", "kind": "pulses", "per_rev": 2, "max_rpm": 9000},
    {"name": "throttle", "input": "a2", "kind": "linear", "unit": "%", "volts": [0.5, 4.5], "values": [0, 100]},
    {"name": "map", "input": "x0", "kind": "linear", "unit": "kPa", "volts": [0.5, 4.5], "values": [20, 300]},
    {"name": "battery", "input": "x1", "kind": "linear", "unit": "V", "volts": [0.0, 17.0], "values": [0.0, 17.0],
     "divider": {"top_ohm": _BATTERY[0], "bottom_ohm": _BATTERY[1]}},
    {"name": "lambda_1_wire", "input": "x2", "kind": "linear", "unit": "V", "volts": [0.0, 8.0], "values": [0.0, 8.0],
     "divider": {"top_ohm": readings.WIRE_OHM[0], "bottom_ohm": readings.WIRE_OHM[1]}, "checks": "lambda_1"},
    {"name": "rail_3v3", "input": "x6", "kind": "linear", "unit": "V", "volts": [0.0, 5.0], "values": [0.0, 5.0],
     "divider": {"top_ohm": 10000, "bottom_ohm": 10000}, "expect": list(readings.RAIL_V)},
)  # fmt: skip
LOGGER = {
    "version": 1, "board": "rp2", "rate_hz": 200, "reference_v": REFERENCE_V, "converters": {"x": "mcp3208"},
    "engine": {"cylinders": 4, "strokes": 4, "displacement_cc": 1598}, "fuel": {"name": "petrol"},
    "channels": list(_CHANNELS),
}  # fmt: skip


def logger_json() -> str:
    """LOGGER, a channel a line."""
    head = json.dumps(LOGGER | {"channels": 0}).removesuffix("0}")
    return head + "[\n " + ",\n ".join(json.dumps(one) for one in _CHANNELS) + "\n]}"


@dataclass(frozen=True)
class Measure:
    """check: text of a Check, or "" where `want` is computed here. at: where the meter goes. state: what is joined."""

    state: str
    at: str
    want: str
    check: str = ""


@dataclass(frozen=True)
class Step:
    """fit: parts of these blocks, or the words that say so. before: what to look at first."""

    title: str
    fit: tuple[str, ...]
    words: str
    measures: tuple[Measure, ...]


def _volts(low: float, high: float) -> str:
    return f"{low:.2f} to {high:.2f} V"


def limits(text: str) -> tuple[float, float]:
    """The limits of a check. KeyError where no check has that text."""
    found = {check.text: check for check in checks.ALL}
    return found[text].low, found[text].high


def _held(state: str, at: str, text: str, unit: str = "V") -> Measure:
    low, high = limits(text)
    if unit == "mA":
        return Measure(state, at, f"{1000 * low:.0f} to {1000 * high:.0f} mA", text)
    if unit == "ohm":
        return Measure(state, at, f"{low:g} to {high:g} ohm", text)
    return Measure(state, at, _volts(max(low, 0.0), high), text)


def rail_ohm() -> float:
    """Ohms from 3V3 to ground with neither chips nor RP2040 board in their sockets: the clamp's two dividers."""
    clamp = BY_NAME["clamp"]
    one, two = (clamp.value(a) + clamp.value(b) for a, b in (("R1", "R2"), ("R3", "R4")))
    return one * two / (one + two)


def near_tab() -> list[str]:
    """What stands within 5 mm of Q1's live tab, on the way of a meter's tip: ref and millimetres, nearest first."""
    at, every = places.read_places(), {item.ref: item for item in items.all_items()}
    left, top, right, low = at["P-Q1"].box(every["P-Q1"].footprint.body)
    found = []
    for ref, item in every.items():
        box = at[ref].box(item.footprint.body)
        gap = max(box[0] - right, left - box[2], box[1] - low, top - box[3])
        if ref != "P-Q1" and gap < TAB_MM:
            found.append((gap, ref))
    return [f"{ref} ({gap:.1f} mm)" for gap, ref in sorted(found)]


def steps() -> tuple[Step, ...]:
    """In the order of work: the supply alone before anything that it could harm."""
    differential = [
        (
            _held(f"{one}-R1 and {one}-R4 joined to T2", f"TP-{pin}", "below 0.03 V at pin a0"),
            _held(f"{one}-R1 to 3V3, {one}-R4 to T2", f"TP-{pin}", "1.94 V ± 0.08 V at pin a0"),
            _held(f"{one}-R1 to 12 V, {one}-R4 to T2", f"TP-{pin}", "at most 3.6 V at pin a0"),
        )
        for one, pin in (("A0", "a0"), ("A1", "a1"))
    ]
    taps = [
        (
            _held(f"{one}-R1 and {one}-R4 joined to T2", f"TP-{pin}", "below 0.03 V at pin a2"),
            _held(f"{one}-R1 to 3V3, {one}-R4 to T2", f"TP-{pin}", "1.94 V ± 0.08 V at pin a2"),
        )
        for one, pin in (("A2", "a2"), ("A3", "x0"))
    ]
    lines = [
        (
            _held(f"{one}-R4 to 5 V", f"TP-{pin}", "3.3 V ± 0.1 V at pin p0"),
            _held(f"{one}-R4 to T2", f"TP-{pin}", "0 V at pin p0"),
        )
        for one, pin in (("E1", "p0"), ("E2", "p1"))
    ]
    return (
        Step(
            "The bare board",
            (),
            "Look at both sides against the light: no hair of copper between tracks, the slot milled through, no "
            f"copper within {shape.COIL_MM:g} mm of the coil's corner. Ground and analog ground are **two** pieces of "
            "copper: they meet in the RP2040 board alone.",
            (
                Measure("meter in ohms", "TP-12V to TP-GND", "open (above 1 Mohm)"),
                Measure("meter in ohms", "TP-AGND to TP-GND", "open (above 1 Mohm)"),
                Measure("meter in ohms", "TP-3V3 to TP-GND", "open (above 1 Mohm)"),
                Measure(
                    "meter in ohms",
                    "pin 1 of J8 to TP-GND, pin 2 of J8 to TP-GND, pin 1 to pin 2",
                    "open (above 1 Mohm)",
                ),
            ),
        ),
        Step(
            "Supply",
            ("P", "J1"),
            "Low parts first, Q1 and the regulator with its heat sink last. **Q1's tab is live** (12 V), and "
            f"within {TAB_MM:g} mm of it stand {', '.join(near_tab())}: it gets its insulating cap now, for fingers, "
            "loose wires and a slipping tip; every test point is further off. P-R1 stands 5 mm off the board. "
            "Everything else stays off. A bench supply with its current limit at 0.1 A, P-F2 in the ground wire. "
            "Overvoltage last, volts raised slowly, "
            "12 V again after it: Q1 cuts off at about 30 V (28 to 31 with P-D2's 5 %), and where TP-VS follows "
            "to 33 V the guard against a load dump is missing.",
            (
                Measure("power off, meter in ohms", "across P-R4", _NO_BRIDGE),
                _held("12 V at J1", "TP-5V", "5.0 V ± 0.2 V at P-U1 out"),
                _held("12 V at J1", "TP-VBOARD", "5.0 V ± 0.2 V at the cathode of P-D4"),
                _held("12 V at J1", "current into J1", "less than 25 mA drawn", "mA"),
                _held("12 V at J1 the wrong way round", "TP-5V", "0 V at P-U1 out"),
                _held("25 V at J1", "TP-5V", "still 5.0 V ± 0.2 V at P-U1 out"),
                _held("33 V at J1, after a minute", "TP-VS", "below 5 V on VS"),
            ),
        ),
        Step(
            "Clamp voltages, sockets",
            ("V", "sockets of M1, U1, U2, U3, X-U1 and their capacitors"),
            f"{', '.join(below_module())} lie below the RP2040 board: they go in with its sockets, 1 mm off the board. "
            "The chips and the RP2040 board are not in their sockets yet. Without power:",
            (Measure("meter in ohms", "TP-3V3 to TP-GND", f"{0.97 * rail_ohm():.0f} to {1.03 * rail_ohm():.0f} ohm"),),
        ),
        Step(
            "RP2040 board and card",
            ("S", "N", "M1 in its sockets", "S-X1: compare the order of your carrier's pins with the print"),
            "The board's USB socket points off the edge. The RP2040 board has no firmware yet, so that "
            "its pins drive nothing: that goes on after step 10. Until then each pin is pulled down by 50 to 80 kohm "
            "of its own, which the figures count in (TP-button near 1.9 V, TP-power_fail near 2.8 V). From here on the "
            "bench supply's limit stands at 0.5 A. First by USB alone, 12 V off; then by 12 V alone.",
            (
                _held("12 V at J1", "TP-VBOARD", "4.7 V ± 0.2 V at VBOARD"),
                Measure("12 V at J1", "TP-3V3", _volts(3.3 * 0.98, 3.3 * 1.02)),
                _held("12 V at J1", "TP-VCH", "VCH 2.65 to 2.80 V"),
                _held("12 V at J1", "TP-VCL", "VCL 0.38 to 0.45 V"),
                _held("12 V at J1", "TP-REF against TP-AGND", "3.00 V ± 0.03 V at REF"),
                Measure("power off, RP2040 board in", "TP-AGND to TP-GND", "below 1 ohm"),
            ),
        ),
        Step(
            "Lambda inputs",
            ("A0", "A1", "G", "U2", "J2", "J3"),
            "The resistors that later sit at the controller (R1, R4) hang on the plugs. **G-R1 stands 5 mm off the "
            "board**: it is meant to burn when a screen touches 12 V. Wash the flux off.",
            (
                *differential[0],
                *differential[1],
                _held("power off", "J2 pin 3 to TP-GND", "9.5 to 10.5 ohm from T14 to T2", "ohm"),
            ),
        ),
        Step(
            "Sensor taps, battery, converter",
            ("A2", "A3", "A4", "X", "W0", "W1", "Y", "U3", "J4", "J5"),
            "**Never on an electronic throttle or pedal.** x0 and x1 are the converter's first inputs, on test points; "
            "its legs 3, 5 and 7 check both lambda inputs' ground cores and the reference.",
            (
                *taps[0],
                *taps[1],
                Measure("power off, meter in ohms", "across A4-R1", _NO_BRIDGE),
                _held("12.0 V at J1", "TP-x1", "12.0 V give 2.10 V ± 0.05 V at pin a3"),
                *(
                    _held(
                        f"{one}-R1 to 3V3, {one}-R4 to T2",
                        f"leg {leg} of X-U1",
                        "1.23 V ± 0.05 V at the input of block W0",
                    )
                    for one, leg in (("A0", 3), ("A1", 5))
                ),
                _held("12 V at J1", "leg 7 of X-U1", "1.65 V ± 0.05 V at the input of block Y"),
            ),
        ),
        Step(
            "Tach lines",
            ("E1", "E2", "J", "U1", "J7"),
            "E1-JP1 and E2-JP1 open; J-JP1 on pins 1 and 2 for line 1. What may go on T20, and that the brakes' wheel "
            "sensors never do, stands in the [wiring](wiring.md).",
            (*lines[0], *lines[1]),
        ),
        Step(
            "Coil's corner",
            ("C", "J8"),
            f"J-JP1 on pins 2 and 3. J8 has a pitch of 7.62 mm: the data sheet of the one in your hand names "
            f"{rules.COIL_VOLTS:.0f} V or more between its pins (usual in this class: "
            f"{STOCK['plug_coil'].volts:.0f} V, from memory), or it is not fitted. R1, R2 and R4 of block C sit at the "
            "coil, never here. Wash the flux off: what is left of it creeps. More than 12 V are not tried on the "
            "bench.",
            (
                _held("12 V between the free ends of C-R1 and C-R4", "TP-p0", "p0 stays at 0 V"),
                _held(
                    "12 V through 1.5 kohm (about 7 mA) onto the anode end of C-D1 (net C-A), its minus to T6 of J8",
                    "TP-p0",
                    "p0 goes to 3.3 V ± 0.1 V",
                ),
            ),
        ),
        Step(
            "Button, lamp, sounder, screen",
            ("B", "Z", "D", "J9"),
            "Button on T15 and T16, lamp on T17 (long leg) and T18. **D-X1: compare the order of your screen's pins "
            "with "
            "the print** (many have VCC first: then its cable crosses two cores, or it dies). The screen goes on by a "
            "cable of at most 30 cm, never straight into D-X1: it would lie on its neighbours and shake loose.",
            (
                _held("button up", "TP-button", "1.6 to 3.4 V at the button's pin"),
                _held("button pressed", "TP-button", "below 0.5 V while it is pressed"),
                _held(
                    "GP12 joined to 3V3, never once the firmware is on: it drives that pin",
                    "current through the lamp",
                    "1 to 3 mA through the lamp",
                    "mA",
                ),
            ),
        ),
        Step(
            "Reservoir, 5 V for sensors",
            ("H", "R", "J6"),
            "**Not without Q1's insulating cap (step 2).** "
            "**R-R2 stands 5 mm off the board**: it is meant to burn. R-F1 holds 0.1 A at 20 °C and 40 mA at 85 "
            "(makers' curves, from memory): sensors take 30 mA at most. H-C1's polarity first: 4700 uF the wrong way "
            "round burst. It stands 37 mm tall and the car shakes: a "
            "bead of epoxy at its foot (no silicone, which ends lambda sensors).",
            (
                Measure("power off, meter in ohms", "across H-R2", _NO_BRIDGE),
                _held("12 V at J1", "TP-power_fail", "below 0.2 V at the power-fail signal"),
                _held("12 V off, USB in", "TP-power_fail", "2.6 to 3.4 V at the power-fail signal"),
                _held("12 V at J1", "T12 against TP-GND", "5.0 V ± 0.2 V at T12"),
                _held("power off", "T13 to TP-GND", "0.9 to 1.1 ohm from T13 to T2", "ohm"),
            ),
        ),
        Step(
            "The car's bus, where you want it",
            ("K", "J10"),
            "The firmware is on by now, as the project's README says. This block comes empty: two chips without "
            "legs, and no answer needs it. Who fits it reads "
            "[its cautions](../../README.md#the-blocks) first; **K-JP1 and K-JP2 stay open**, pin 1 of K-U1 and K-U2 "
            "is at the print's corner mark, R3 to R5 sit in the plug. K-Y1 is one of 20 MHz, which logger.json must "
            "say.",
            (
                Measure("power off, plug on", "pin 6 to pin 14 of the plug", "above 9 kohm"),
                Measure("12 V at J1", "TP-3V3", _volts(3.3 * 0.98, 3.3 * 1.02)),
                _held("12 V at J1", "K-JP2, square pad", "3.3 V ± 0.1 V at pin S"),
                _held("12 V at J1", "K-JP1, round pad", "3.3 V ± 0.1 V at pin TXD"),
                _held("12 V at J1", "T23 against TP-GND, T24 alike", "2.5 V ± 0.2 V at T23"),
                Measure(
                    'a recording on the bench, `"bus": {"crystal_mhz": 20}` in logger.json',
                    "column bus_state of `ringpull decode`",
                    f"{bus_states.SILENT} (nothing was heard yet); {bus_states.NO_CHIP} is a controller that does not "
                    "answer",
                ),
            ),
        ),
    )


def markdown() -> str:
    """The page."""
    low, high = prices.range_usd()
    ends = [REFERENCE_V * (top + bottom) / bottom for top, bottom in (_PLAIN, _BATTERY)]
    out = [
        "# Bring-up of the board",
        "",
        "**Nobody has built this board yet.** It passes its checks on paper (KiCad's rules, the netlist read back, the "
        "circuit's simulations); no copper has been etched, nothing measured. Whoever builds the first one: this page "
        "in this order, and stop at the first figure that is not met.",
        "",
        f"Price, {PRICE_DATE}, all from memory, no offer: a bare board {prices.BARE_USD:.2f} USD where "
        f"{prices.BOARDS_ORDERED} are ordered ({prices.BOARDS_USD:.0f} USD and {prices.BOARDS_SHIPPING_USD:.0f} USD "
        f"shipping); everything for one logger {prices.total_usd():.2f} USD in single quantities, {low} to {high} with "
        f"shipping from cheap to dear ([parts](parts.csv)). The first logger costs {prices.first_usd():.2f} USD, for "
        f"{prices.BOARDS_ORDERED} boards are paid though one is used. Lambda controller and its sensor are not in it.",
        "",
        "To order: the files of [gerber](gerber), zipped. Two layers, 1.6 mm, 35 µm copper, "
        f"{shape.WIDTH_MM:g} x {shape.HEIGHT_MM:g} mm, tracks and gaps at least 0.25 mm, holes at least "
        f"{rules.VIA_DRILL_MM} mm, one milled slot of {shape.SLOT_MM:g} mm. Where each part goes: "
        "[page](assembly.html), [picture](assembly.svg).",
        "",
        "The six rules at the head of [the circuit's page](../../README.md) hold here too. What sits at the far ends "
        "of the wires is in the [parts](parts.csv) with its place; where each core goes is in the [wiring](wiring.md), "
        "for this board's terminals are not those of the builds on perfboard.",
        "",
        "Test points are called TP- and their net; printed is the net alone, short where it is long: "
        + ", ".join(f"TP-{name} {short}" for name, short in prints.POINTS.items())
        + ".",
        "",
        "Transistors: the print is for 2N3904, 2N3906 and MPSA92. BC547 and BC557 go in turned round. Those of the "
        "inputs (A0-Q1 to A4-Q2) are of one kind and maker, out of one bag: where a clamp voltage is lost, what they "
        "differ by is what lambda is off by.",
        "",
    ]
    for k, step in enumerate(steps(), 1):
        out += [f"## {k}. {step.title}", "", step.words, ""]
        if step.fit:
            out += [f"Fit: {', '.join(step.fit)}.", ""]
        out += ["| state | measure | must be | is |", "|---|---|---|---|"]
        out += [f"| {one.state} | {one.at} | {one.want} | |" for one in step.measures]
        out.append("")
    empty = [use.prefix for use in contents.BOARD.uses if use.prefix in contents.NOT_FITTED]
    count = sum(item.block in empty for item in items.all_items())
    out += [
        "## What stays empty, and what fits elsewhere",
        "",
        f"Block {', '.join(empty)} (the car's bus), {count} parts and J10, unless you fit them by the last step.",
        "",
        "The plugs of the 12 V (J1) and of the coil (J8) have a pitch that no other socket has. The others take each "
        "other's plugs, and J9 every smaller one: nothing of car or logger is harmed, but what is read is wrong; "
        "[row by row](../../failures/board.md). Write the socket's number on each plug.",
        "",
        "**J4 and J5 exchanged are told by nothing**: each reads the other's volts, and both look plausible. The same "
        "holds for J2 and J3. What shows it, key on, engine off, in the log or `ringpull live`: pressure is the day's "
        "air pressure (about 100 kPa at sea level) and stands still while the pedal goes from end to end; throttle "
        "follows it from 0 to 100 %. For J2 and J3: pull one plug, and its own channel alone goes to its rich end.",
        "",
        "Two cores exchanged in one plug harm neither car nor logger; J6 (T12, T13) may kill the sensor on it: measure "
        "its plug before the sensor goes on. J2 or J3 with pin 2's core in pin 3 reads as T4 open does, too rich and "
        "plausible. J7's two cores exchanged give wrong engine speed. A pedal, a button, the lamp and the dashboard's "
        "speed show the others.",
        "",
        "## Before it goes into the car",
        "",
        "- **Coat it**, both sides, when everything has been measured: acrylic varnish for boards, two thin coats, "
        "none "
        "on sockets, plugs, jumpers, test points, card and switch (tape), none of silicone. Moisture on flux is what "
        "shifts the high-ohm inputs and creeps in the coil's corner.",
        "- **Key out and the battery's minus off while you wire it in**; order, places and cautions: "
        "[wiring](wiring.md). T1's fuse goes in last.",
        "- Four spacers under it, in a case that no metal chip falls into; each cable held by its gland.",
        "- RP2040 board, chips, card and plugs shake out of sockets: a strip of foam under the lid, a tie over the "
        "plugs.",
        "- A laptop on USB runs on its own battery in the car, never on a charger, or through an isolator: its ground "
        "would lead past P-F2 ([why](../../failures/board.md)).",
        "",
        "## logger.json for this board",
        "",
        f"An example; scales and engine are yours. Inputs end at {ends[0]:.2f} V, the battery at {ends[1]:.1f} V, "
        f"since the reference is {REFERENCE_V:.2f} V. **`lambda_1_wire` and `rail_3v3` stay in**: they are what "
        "notices a broken ground core (fault 48) and a lost reference (fault 46). A second lambda controller goes on "
        '`a1`, with its own check on `x4` (`"checks": "lambda_2"`), a wheel sensor of your own on `p1`: **never the '
        "brakes' (ABS)**, nor any that another computer reads.",
        "",
        "```json",
        logger_json(),
        "```",
        "",
        "Then the [bench proof](../../README.md#bench-proof): what it calls E-R4 and T5 is E1-R4 and T19 here, with "
        "J-JP1 on pins 1 and 2 (back to 2 and 3 afterwards, where the coil is wired). Then the first drive, as "
        "for a logger on perfboard. "
        "**Before and after every drive, key on, engine off: the controller's display against the log.** Where the "
        "core of T4 or T22 breaks on the way, lambda reads up to 0.2 too rich and looks plausible ([T4 open]"
        "(../../failures/board.md)): the lamp then shows fault 48 and the report says so, where logger.json holds "
        "that input's check. Without it only the check after the drive shows it, and a log without either proves "
        "nothing.",
        "",
        "**Try the alarm itself, once on the bench and once in the car** (firmware and logger.json on, key on): 3 V "
        "between the free ends of A0-R1 and A0-R4, the lamp as always; then A0-R4 off: fault 48 within 3 s (four long "
        "flashes, eight short). The same for A1 where it is used. Leg 7 of X-U1 to ground through 1 kohm: fault 46. In "
        "the car pull T4's core out of its plug. Each stays until the next start.",
        "",
    ]
    return "\n".join(out)
