"""The two voltages against which all analog inputs clamp. Built once."""

from hardware.circuit.model import Block, two

CLAMP = Block(
    "clamp",
    "Clamp voltages (once for all inputs)",
    (
        two("R1", "r", "470", ("3V3", "VCH"), ((0, 0), (0, -3)), "right", "with R2: base of the upper clamps"),
        two("R2", "r", "2.2k", ("VCH", "0"), ((0, -3), (0, -6)), "right", "with R1"),
        two("C1", "c", "1u", ("VCH", "0"), ((3, -3), (3, -6)), "right", "holds it during a pulse"),
        two("R3", "r", "2.7k", ("3V3", "VCL"), ((8, 0), (8, -3)), "right", "with R4: base of the lower clamps"),
        two("R4", "r", "390", ("VCL", "0"), ((8, -3), (8, -6)), "right", "with R3"),
        two("C2", "c", "1u", ("VCL", "0"), ((11, -3), (11, -6)), "right", "holds it during a pulse"),
    ),
    (((0, -3), (5, -3)), ((8, -3), (13, -3)), ((0, 0), (8, 0))),
    (),
    grounds=((0, -6), (3, -6), (8, -6), (11, -6)),
    rails=(("3V3", (0, 0), "up"), ("VCH", (5, -3), "right"), ("VCL", (13, -3), "right")),
    note="VCH is 2.72 V, VCL 0.42 V. A clamp to the 3.3 V rail itself would lift that rail and the pin with it.",
)
