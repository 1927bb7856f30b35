"""Thermistor and Pt1000: a resistor from the converter's own reference to the sensor, which goes to ground.

The reference is a shunt that holds the RP2040 board's converter supply as well, so a reading is a ratio: what the
reference is off by cancels. The board's own 3V3 would not do: its converter stands some 30 mV below it.
"""

from hardware.circuit.model import Block, transistor, two


def _block(name: str, title: str, stock: str, pullup: str, note: str) -> Block:
    return Block(
        name,
        title,
        (
            two(
                "R1",
                stock,
                pullup,
                ("REF", "IN"),
                ((1, 4), (1, 0)),
                "right",
                "feeds the sensor; its value goes into logger.json",
            ),
            two("R2", "r", "10k", ("IN", "N"), ((2, 0), (5, 0)), "above", "takes every overvoltage"),
            two("C1", "c_film", "470n", ("N", "AGND"), ((6, 0), (6, -3)), "right", "filter"),
            transistor("Q1", "pnp_small", ("N", "VCH", "0"), (10.5, -1), "right", "clamp"),
            transistor("Q2", "npn_small", ("3V3", "VCL", "N"), (10.5, 1), "right", "clamp"),
            two("R3", "r", "1k", ("N", "PIN"), ((13, 0), (16, 0)), "above", "limits what is left for the pin"),
            two("C2", "c", "10n", ("PIN", "AGND"), ((16, 0), (16, -3)), "right", "right at the converter's pin"),
        ),
        (((0, 0), (2, 0)), ((5, 0), (13, 0)), ((16, 0), (18.5, 0))),
        (("IN", (0, 0), "left", "sensor"), ("PIN", (18.5, 0), "right", "to converter")),
        grounds=((10.5, -2),),
        analog_grounds=((6, -3), (16, -3)),
        rails=(("REF", (1, 4), "up"), ("VCH", (9.5, -1), "left"), ("VCL", (9.5, 1), "left"), ("3V3", (10.5, 2), "up")),
        note=note,
    )


THERMISTOR = _block(
    "thermistor",
    "Thermistor input",
    "r",
    "2.2k",
    "logger.json: kind thermistor, pullup_ohm 2200, supply_v 3.0, divider {top_ohm 0, bottom_ohm 1}. Needs the "
    "reference.",
)
PT1000 = _block(
    "pt1000",
    "Pt1000 input",
    "r_precise",
    "2.2k",
    "logger.json: kind rtd, r0_ohm 1000, pullup_ohm 2200, supply_v 3.0, divider {top_ohm 0, bottom_ohm 1}. Needs the "
    "reference.",
)

REFERENCE = Block(
    "reference",
    "Reference 3.0 V (once for all thermistors and Pt1000)",
    (
        two("R1", "r", "100", ("3V3", "REF"), ((0, 0), (3, 0)), "above", "3 to 5 mA, beside the board's own 200 ohm"),
        two("D1", "ref_3v", "", ("0", "REF"), ((5, -3), (5, 0)), "right", "3.0 V, whatever the 3V3 is"),
        two("C1", "c", "1u", ("REF", "AGND"), ((8, 0), (8, -3)), "right", "at the board's reference pin"),
    ),
    (((3, 0), (12, 0)),),
    (("REF", (12, 0), "right", "to ADC_VREF of an RP2040 board"),),
    grounds=((5, -3),),
    analog_grounds=((8, -3),),
    rails=(("3V3", (0, 0), "left"), ("REF", (10.5, 0), "up")),
    note='logger.json: "reference_v": 3.0. ESP32: REF also feeds the external converter\'s reference pin.',
)
