"""What lets the logger notice that its readings can't be right: a ground core that broke, a reference that moved."""

from hardware.circuit.model import Block, two

WIRE_CHECK = Block(
    "wire_check",
    "Check of a lambda controller's ground core",
    (two("R1", "r", "1k", ("P", "PIN"), ((0, 0), (4, 0)), "above", "limits what is left for the pin"),),
    (((-1, 0), (0, 0)), ((4, 0), (5, 0))),
    (("P", (-1, 0), "left", "P of A0"), ("PIN", (5, 0), "right", "to converter")),
    note="The signal wire against the logger's own ground; watches T4's side. The wire reads what the grounds differ "
    "by above lambda: 0.25 V and more where T4 is broken.",
)

RAIL_CHECK = Block(
    "rail_check",
    "Check of the reference: half of 3V3",
    (
        two("R1", "r_precise", "10k", ("3V3", "PIN"), ((0, 3), (0, 0)), "left", "upper half"),
        two("R2", "r_precise", "10k", ("PIN", "AGND"), ((0, 0), (0, -3)), "left", "lower half"),
        two("C1", "c", "100n", ("PIN", "AGND"), ((3, 0), (3, -3)), "right", "charge for the converter"),
    ),
    (((0, 0), (5, 0)),),
    (("PIN", (5, 0), "right", "to converter"),),
    analog_grounds=((0, -3), (3, -3)),
    rails=(("3V3", (0, 3), "up"),),
    note='logger.json: "expect": [3.13, 3.47]. Reads about 3.0 V where the 3.0 V reference is lost.',
)
