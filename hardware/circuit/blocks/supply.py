"""From the car's 12 V to the board's 5 V; with a hold-up reservoir in the full build; 5 V for sensors."""

from hardware.circuit.model import Block, chip, transistor, two

SUPPLY = Block(
    "supply",
    "Supply from switched and fused 12 V",
    (
        two(
            "F1",
            "fuse_1a",
            "",
            ("FEED", "12V"),
            ((0, 0), (3, 0)),
            "above",
            "in the wire, within 15 cm of where it is tapped",
        ),
        two("D1", "d_1n4007", "", ("12V", "VD"), ((4, 0), (7, 0)), "above", "reverse polarity and negative pulses"),
        two(
            "R1",
            "r_power",
            "1",
            ("VD", "VP"),
            ((7, 0), (10, 0)),
            "above",
            "inrush; gives way first if something shorts",
        ),
        two("C1", "c_film_hv", "1u", ("VP", "0"), ((10, 0), (10, -4)), "right", "swallows short pulses"),
        two("D2", "z_27", "", ("0", "DZ"), ((13, -6), (13, -4)), "right", "above 28 V the logger is cut off"),
        two("R2", "r", "22k", ("DZ", "PB"), ((13, -4), (13, -2)), "right", "base current of Q2"),
        two("R3", "r", "10k", ("VP", "PB"), ((13, 0), (13, -2)), "left", "keeps Q2 off below 28 V"),
        transistor("Q2", "pnp_300v", ("VP", "PB", "G"), (16, -2), "right", "turns Q1 off on overvoltage"),
        two("R4", "r", "47k", ("G", "0"), ((16, -3), (16, -6)), "right", "turns Q1 on"),
        two("D3", "z_12", "", ("G", "VP"), ((19, -3), (19, 0)), "right", "protects the gate of Q1"),
        chip(
            "Q1",
            "pmos_200v",
            (20.5, -0.8, 23.5, 0.8),
            {"s": ("VP", (20.5, 0)), "d": ("VS", (23.5, 0)), "g": ("G", (22, -3))},
            "above",
            "lets the car's volts through up to 28 V, blocks 200 V",
        ),
        two("C2", "c_elko", "470u", ("VS", "0"), ((25, 0), (25, -4)), "right", "reservoir"),
        chip(
            "U1",
            "reg_5v",
            (27.5, -1.2, 31.5, 1.2),
            {"in": ("VS", (27.5, 0)), "out": ("5V", (31.5, 0)), "gnd": ("0", (29.5, -1.2))},
            "above",
            "5 V, with a clip-on heat sink",
        ),
        two(
            "C3", "c_elko", "47u", ("5V", "0"), ((33, 0), (33, -4)), "right", "close to U1, which needs it to be stable"
        ),
        two(
            "D4",
            "d_1n5819",
            "",
            ("5V", "VBOARD"),
            ((34, 0), (37, 0)),
            "above",
            "so that USB may be plugged in at the same time",
        ),
    ),
    (
        ((3, 0), (4, 0)),
        ((10, 0), (20.5, 0)),
        ((13, -2), (15, -2)),
        ((16, -1), (16, 0)),
        ((16, -3), (22, -3)),
        ((22, -3), (22, -0.8)),
        ((23.5, 0), (27.5, 0)),
        ((31.5, 0), (34, 0)),
        ((37, 0), (38, 0)),
    ),
    (("FEED", (0, 0), "left", "12 V"), ("VBOARD", (38, 0), "right", "board")),
    grounds=((10, -4), (13, -6), (16, -6), (25, -4), (29.5, -1.2), (33, -4)),
    rails=(("12V", (3.5, 0), "up"), ("VP", (11.5, 0), "up"), ("VS", (26, 0), "up"), ("5V", (32.25, 0), "up")),
    note="VBOARD goes to VSYS of an RP2040 board, to the 5 V pin of an ESP32 board. Its 3.3 V pin feeds everything called 3V3.",
)

HOLD_UP = Block(
    "hold_up",
    "Hold-up reservoir and power-fail signal (full build)",
    (
        two("R1", "r_power", "10", ("VS", "H"), ((0, 0), (4, 0)), "above", "charges the reservoir gently"),
        two("D1", "d_1n4007", "", ("H", "VS"), ((4, 2), (0, 2)), "above", "lets it out at once"),
        two("C1", "c_elko_big", "4700u", ("H", "0"), ((4, 0), (4, -3)), "right", "0.3 s of life at 100 mA"),
        two("R2", "r", "47k", ("12V", "S"), ((9, 2), (9, -1)), "right", "senses the feed before the reservoir"),
        two("R3", "r", "10k", ("S", "0"), ((9, -1), (9, -4)), "left", "with R2: fails below 3.7 V"),
        transistor("Q1", "npn_small", ("PF", "S", "0"), (12, -1), "right", "open when the feed fails"),
        two("R4", "r", "10k", ("3V3", "PF"), ((12, 3), (12, 0)), "right", "pull-up"),
    ),
    (((0, 0), (0, 2)), ((4, 0), (4, 2)), ((9, -1), (11, -1)), ((12, 0), (15, 0)), ((0, 2), (-1, 2))),
    (("PF", (15, 0), "right", "high: feed gone"),),
    grounds=((4, -3), (9, -4), (12, -2)),
    rails=(("VS", (-1, 2), "left"), ("12V", (9, 2), "up"), ("3V3", (12, 3), "up")),
    note="Optional: what is on the card does not rely on it. The firmware does not read the power-fail signal yet.",
)

SENSOR_SUPPLY = Block(
    "sensor_supply",
    "5 V for sensors (full build)",
    (
        chip(
            "U1",
            "reg_5v",
            (1, -1.2, 5, 1.2),
            {"in": ("VS", (1, 0)), "out": ("S5", (5, 0)), "gnd": ("0", (3, -1.2))},
            "above",
            "one of its own, so that a shorted sensor wire does not stop the logger",
        ),
        two(
            "C1", "c_elko", "100u", ("S5", "0"), ((7, 0), (7, -3)), "right", "close to U1, which needs it to be stable"
        ),
        two("D1", "z_tvs6v8", "", ("0", "S5"), ((10, -3), (10, 0)), "right", "holds the line when a wire touches 12 V"),
        two(
            "F1", "ptc_100ma", "", ("S5", "OUT"), ((11.5, 0), (14.5, 0)), "above", "limits a short in either direction"
        ),
    ),
    (((0, 0), (1, 0)), ((5, 0), (11.5, 0))),
    (("OUT", (14.5, 0), "right", "5 V to sensors, 50 mA"),),
    grounds=((3, -1.2), (7, -3), (10, -3)),
    rails=(("VS", (0, 0), "left"),),
    note="For sensors without a supply of their own. A sensor that the engine computer feeds stays with the engine computer.",
)
