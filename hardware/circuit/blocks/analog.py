"""Analog inputs with a divider: 0-5 V signals, and the battery's volts. One circuit, two values of R1."""

from hardware.circuit.model import Block, transistor, two


def _block(name: str, title: str, top: str, note: str) -> Block:
    return Block(
        name,
        title,
        (
            two("R1", "r", top, ("IN", "N"), ((0, 0), (3, 0)), "above", "divider, upper; takes every overvoltage"),
            two("R2", "r", "10k", ("N", "AGND"), ((3, 0), (3, -3)), "right", "divider, lower"),
            two("C1", "c_film", "470n", ("N", "AGND"), ((6, 0), (6, -3)), "right", "anti-alias filter"),
            transistor(
                "Q1", "pnp_small", ("N", "VCH", "0"), (10.5, -1), "right", "clamp: carries what is too high to ground"
            ),
            transistor("Q2", "npn_small", ("3V3", "VCL", "N"), (10.5, 1), "right", "clamp: lifts what is below ground"),
            two("R3", "r", "1k", ("N", "PIN"), ((13, 0), (16, 0)), "above", "limits what is left for the pin"),
            two(
                "C2",
                "c",
                "10n",
                ("PIN", "AGND"),
                ((16, 0), (16, -3)),
                "right",
                "charge for the converter; right at its pin",
            ),
        ),
        (((3, 0), (13, 0)), ((16, 0), (18.5, 0))),
        (("IN", (0, 0), "left", "signal"), ("PIN", (18.5, 0), "right", "to converter")),
        grounds=((10.5, -2),),
        analog_grounds=((3, -3), (6, -3), (16, -3)),
        rails=(("VCH", (9.5, -1), "left"), ("VCL", (9.5, 1), "left"), ("3V3", (10.5, 2), "up")),
        note=note,
    )


ANALOG_5V = _block(
    "analog_5v",
    "Analog input, 0 to 5 V",
    "6.8k",
    "For a sensor of your own. 5.0 V at the terminal are 2.976 V at the converter. Filter: 4.05 kohm x 470 nF = 1.9 "
    "ms.",
)
ANALOG_BATTERY = _block(
    "analog_battery",
    "Analog input for the battery, 0 to 18 V",
    "47k",
    "18 V at the terminal are 3.16 V at the converter. True to 17 V when hot. Filter: 8.25 kohm x 470 nF = 3.9 ms.",
)
