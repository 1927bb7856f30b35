"""Thermistor and Pt1000: a resistor from the converter's own reference to the sensor, which goes to ground."""

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
                ("3V3", "IN"),
                ((1, 4), (1, 0)),
                "right",
                "feeds the sensor; its value goes into logger.json",
            ),
            two("R2", "r", "10k", ("IN", "N"), ((2, 0), (5, 0)), "above", "takes every overvoltage"),
            two("C1", "c_film", "470n", ("N", "0"), ((6, 0), (6, -3)), "right", "filter"),
            transistor("Q1", "pnp_small", ("N", "VCH", "0"), (10.5, -1), "right", "clamp"),
            transistor("Q2", "npn_small", ("3V3", "VCL", "N"), (10.5, 1), "right", "clamp"),
            two("R3", "r", "1k", ("N", "PIN"), ((13, 0), (16, 0)), "above", "limits what is left for the pin"),
            two("C2", "c", "10n", ("PIN", "0"), ((16, 0), (16, -3)), "right", "right at the converter's pin"),
        ),
        (((0, 0), (2, 0)), ((5, 0), (13, 0)), ((16, 0), (18.5, 0))),
        (("IN", (0, 0), "left", "sensor"), ("PIN", (18.5, 0), "right", "to converter")),
        grounds=((6, -3), (10.5, -2), (16, -3)),
        rails=(("3V3", (1, 4), "up"), ("VCH", (9.5, -1), "left"), ("VCL", (9.5, 1), "left"), ("3V3", (10.5, 2), "up")),
        note=note,
    )


THERMISTOR = _block(
    "thermistor",
    "Thermistor input",
    "r",
    "2.2k",
    "logger.json: kind thermistor, pullup_ohm 2200, supply_v 3.3, divider {top_ohm 0, bottom_ohm 1}. True up to 2.9 V at the pin.",
)
PT1000 = _block(
    "pt1000",
    "Pt1000 input",
    "r_precise",
    "2.2k",
    "logger.json: kind rtd, r0_ohm 1000, pullup_ohm 2200, supply_v 3.3, divider {top_ohm 0, bottom_ohm 1}.",
)
