"""The car's bus, listening only. In no build until the firmware reads it."""

from hardware.circuit.model import Block, away, chip, two

CAN = Block(
    "can",
    "Car's bus: listens only (in no build until the firmware reads it)",
    (
        chip(
            "U1",
            "can_phy",
            (3, -5, 7, 3),
            {
                "TXD": ("D", (3, 0)),
                "RXD": ("RX", (3, -2)),
                "S": ("S", (3, -4)),
                "VIO": ("3V3", (4, 3)),
                "VCC": ("5V", (6, 3)),
                "GND": ("0", (5, -5)),
                "CANH": ("CANH", (7, 0)),
                "CANL": ("CANL", (7, -2)),
            },
            "right",
            "silent while S is high",
        ),
        two("R1", "r", "10k", ("3V3", "D"), ((0, 3), (0, 0)), "right", "D is high, recessive, whatever the board does"),
        two("JP1", "jumper", "", ("TX", "D"), ((-3.5, 0), (-0.5, 0)), "above", "open: the firmware may not send"),
        two("R2", "r", "10k", ("3V3", "S"), ((-4, -4), (-1, -4)), "above", "silent mode for good"),
        two("C1", "c", "100n", ("3V3", "0"), ((12, 3.8), (12, 1.8)), "right", "at VIO"),
        two("C2", "c", "100n", ("5V", "0"), ((15, 3.8), (15, 1.8)), "right", "at VCC"),
        two("D1", "z_can", "", ("CANH", "0"), ((9, -2.8), (9, -4.8)), "right", "spikes of CAN high"),
        two("D2", "z_can", "", ("CANL", "0"), ((11.5, -2.8), (11.5, -4.8)), "right", "spikes of CAN low"),
        away(
            "at the car's bus, within 5 cm of the splice",
            two("R3", "r", "4.7k", ("H", "CANH"), ((20, 0), (17, 0)), "above", "a fault here does not hold the bus"),
        ),
        away(
            "at the car's bus, within 5 cm of the splice",
            two("R4", "r", "4.7k", ("L", "CANL"), ((20, -2), (17, -2)), "above", "as R3"),
        ),
    ),
    (
        ((-4, 0), (-3.5, 0)),
        ((-0.5, 0), (3, 0)),
        ((-4, -2), (3, -2)),
        ((-1, -4), (3, -4)),
        ((7, 0), (17, 0)),
        ((7, -2), (17, -2)),
        ((9, 0), (9, -2.8)),
        ((11.5, -2), (11.5, -2.8)),
        ((20, 0), (21, 0)),
        ((20, -2), (21, -2)),
    ),
    (
        ("TX", (-4, 0), "left", "TX"),
        ("RX", (-4, -2), "left", "RX"),
        ("CANH", (14.5, 0), "up", "terminal"),
        ("CANL", (14.5, -2), "down", "terminal"),
        ("H", (21, 0), "right", "CAN high"),
        ("L", (21, -2), "right", "CAN low"),
    ),
    grounds=((5, -5), (9, -4.8), (11.5, -4.8), (12, 1.8), (15, 1.8)),
    rails=(
        ("3V3", (0, 3), "up"),
        ("3V3", (-4, -4), "left"),
        ("3V3", (4, 3), "up"),
        ("5V", (6, 3), "up"),
        ("3V3", (12, 3.8), "up"),
        ("5V", (15, 3.8), "up"),
    ),
    frames=(((16.6, -3, 20.4, 1.2), "at the splice"),),
    note="The wires between splice and terminal stay below 1 m, twisted. The carrier's own 120 ohm comes off.",
)
