"""0-5 V input that measures against the controller's own signal ground, wherever that stands.

R1 and R4 sit in the controller's plug: whatever the cable touches, at most 2 mA reach the controller, and its heater's
current finds no way through the cable.
"""

from hardware.circuit.model import Block, away, chip, transistor, two

DIFFERENTIAL = Block(
    "differential",
    "Analog input, 0 to 5 V, differential: a lambda controller's output",
    (
        away(
            "at the controller, within 5 cm of its plug",
            two("R1", "r_precise", "6.8k", ("IN", "P1"), ((-2, 0), (1, 0)), "above", "with R2: the gain; sleeved"),
        ),
        two("R2", "r_precise", "10k", ("P1", "P"), ((3, 0), (6, 0)), "above", "takes every overvoltage"),
        two("R3", "r_precise", "10k", ("P", "AGND"), ((6, 0), (6, 3)), "right", "lower arm"),
        two("C1", "c_film", "180n", ("P", "AGND"), ((9, 0), (9, 3)), "right", "anti-alias filter"),
        transistor("Q1", "pnp_small", ("P", "VCH", "0"), (13.5, -1), "right", "clamp"),
        transistor("Q2", "npn_small", ("3V3", "VCL", "P"), (13.5, 1), "right", "clamp"),
        away(
            "at the controller, within 5 cm of its plug",
            two("R4", "r_precise", "6.8k", ("SENSE", "M1"), ((-2, -6), (1, -6)), "above", "as R1; sleeved"),
        ),
        two("R5", "r_precise", "10k", ("M1", "M"), ((3, -6), (6, -6)), "above", "as R2"),
        transistor("Q3", "pnp_small", ("M", "VCH", "0"), (9.5, -7), "right", "clamp"),
        transistor("Q4", "npn_small", ("3V3", "VCL", "M"), (9.5, -5), "right", "clamp"),
        chip(
            "U1",
            "opamp_rr",
            (16, -6.8, 20, 0.8),
            {"3": ("P", (16, 0)), "2": ("M", (16, -6)), "1": ("OUT", (20, -3))},
            "above",
            "pin 8 to 3V3, pin 4 to ground, 100 nF between them",
        ),
        two("R6", "r_precise", "10k", ("M", "OUT"), ((14, -9.5), (21.5, -9.5)), "above", "feedback, as R3"),
        two("C2", "c_film", "180n", ("M", "OUT"), ((14, -11.5), (21.5, -11.5)), "above", "as C1"),
        two("R7", "r", "1k", ("OUT", "PIN"), ((21.5, -3), (24.5, -3)), "above", "limits what is left for the pin"),
        two("C3", "c", "100n", ("PIN", "AGND"), ((24.5, -3), (24.5, -6)), "right", "right at the converter's pin"),
    ),
    (
        ((1, 0), (3, 0)),
        ((1, -6), (3, -6)),
        ((6, 0), (16, 0)),
        ((6, -6), (16, -6)),
        ((14, -6), (14, -11.5)),
        ((20, -3), (21.5, -3)),
        ((21.5, -3), (21.5, -11.5)),
        ((24.5, -3), (26.5, -3)),
        ((6, 3), (6, 3.5)),
        ((9, 3), (9, 3.5)),
        ((6, 3.5), (11, 3.5)),
        ((11, 3.5), (11, 3.2)),
    ),
    (
        ("IN", (-2, 0), "left", "signal"),
        ("SENSE", (-2, -6), "left", "signal ground"),
        ("P1", (2, 0), "down", "terminal"),
        ("M1", (2, -6), "down", "terminal"),
        ("PIN", (26.5, -3), "right", "to converter"),
    ),
    grounds=((13.5, -2), (9.5, -8)),
    analog_grounds=((11, 3.2), (24.5, -6)),
    frames=(((-1.8, -7.2, 1.3, 1.4), "in the controller's plug, sleeved"),),
    rails=(
        ("VCH", (12.5, -1), "left"),
        ("VCL", (12.5, 1), "left"),
        ("3V3", (13.5, 2), "up"),
        ("VCH", (8.5, -7), "left"),
        ("VCL", (8.5, -5), "left"),
        ("3V3", (9.5, -4), "up"),
    ),
    note="Same scale as the plain input: 5.0 V between signal and signal ground are 2.976 V at the converter.",
)
