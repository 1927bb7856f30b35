"""From the car's 12 V to the board's 5 V; with a hold-up reservoir in the full build; 5 V for sensors.

The regulators' output capacitors are ceramic with 0.47 ohm in series: an aluminium electrolytic's own resistance passes
what the regulator bears when it freezes.
"""

from hardware.circuit.model import Block, away, chip, transistor, two

SUPPLY = Block(
    "supply",
    "Supply from switched and fused 12 V",
    (
        away(
            "in the wire, within 15 cm of the tap",
            two("F1", "fuse_1a", "", ("FEED", "12V"), ((0, 0), (3, 0)), "above", "protects the wire from there on"),
        ),
        away(
            "at the ground wire's lug",
            two("F2", "ptc_750ma", "", ("LUG", "0"), ((0, -3), (3, -3)), "above", "that wire may touch 12 V; sleeved"),
        ),
        two("D1", "d_1n5408", "", ("12V", "VD"), ((4, 0), (7, 0)), "above", "reverse polarity and negative pulses"),
        two(
            "R1",
            "r_power",
            "1",
            ("VD", "VP"),
            ((7, 0), (10, 0)),
            "above",
            "limits the inrush",
        ),
        two("C1", "c_film_hv", "1u", ("VP", "0"), ((10, 0), (10, -4)), "right", "swallows short pulses"),
        two("D2", "z_27", "", ("0", "DZ"), ((13, -6), (13, -4)), "right", "above about 30 V the logger is cut off"),
        two("R2", "r", "22k", ("DZ", "PB"), ((13, -4), (13, -2)), "right", "base current of Q2"),
        two("R3", "r", "10k", ("VP", "PB"), ((13, 0), (13, -2)), "left", "keeps Q2 off below about 30 V"),
        transistor("Q2", "pnp_300v", ("VP", "PB", "G"), (16, -2), "right", "turns Q1 off on overvoltage"),
        two("R4", "r", "47k", ("G", "0"), ((16, -3), (16, -6)), "right", "turns Q1 on"),
        two("D3", "z_12", "", ("G", "VP"), ((19, -3), (19, 0)), "right", "protects the gate of Q1"),
        chip(
            "Q1",
            "pmos_200v",
            (20.5, -0.8, 23.5, 0.8),
            {"s": ("VP", (20.5, 0)), "d": ("VS", (23.5, 0)), "g": ("G", (22, -3))},
            "above",
            "lets the car's volts through up to about 30 V, blocks 200 V",
        ),
        two("C2", "c_elko", "470u", ("VS", "0"), ((25, 0), (25, -4)), "right", "reservoir"),
        two("C4", "c", "470n", ("VS", "0"), ((28, 0), (28, -4)), "right", "within 1 cm of U1's input pin"),
        chip(
            "U1",
            "reg_5v",
            (30.5, -1.2, 34.5, 1.2),
            {"in": ("VS", (30.5, 0)), "out": ("5V", (34.5, 0)), "gnd": ("0", (32.5, -1.2))},
            "above",
            "5 V, with a clip-on heat sink",
        ),
        two("R5", "r", "0.47", ("5V", "SR"), ((36, 0), (36, -3)), "right", "with C3, C5: U1 is unstable without it"),
        two("C3", "c_big", "22u", ("SR", "0"), ((36, -3), (36, -6)), "left", "within 2 cm of U1"),
        two("C5", "c_big", "22u", ("SR", "0"), ((38, -3), (38, -6)), "right", "as C3"),
        two(
            "D5",
            "z_tvs6v8",
            "",
            ("0", "5V"),
            ((41.5, -4), (41.5, 0)),
            "right",
            "if U1 fails it takes what it can: the board may die, the car does not notice",
        ),
        two(
            "D4",
            "d_1n5819",
            "",
            ("5V", "VBOARD"),
            ((43, 0), (46, 0)),
            "above",
            "USB may be plugged in at the same time without feeding the 5 V",
        ),
    ),
    (
        ((3, 0), (4, 0)),
        ((3, -3), (4, -3)),
        ((10, 0), (20.5, 0)),
        ((13, -2), (15, -2)),
        ((16, -1), (16, 0)),
        ((16, -3), (22, -3)),
        ((22, -3), (22, -0.8)),
        ((23.5, 0), (30.5, 0)),
        ((34.5, 0), (43, 0)),
        ((36, -3), (38, -3)),
        ((46, 0), (47, 0)),
    ),
    (("FEED", (0, 0), "left", "12 V"), ("LUG", (0, -3), "left", "ground"), ("VBOARD", (47, 0), "right", "board")),
    grounds=((4, -3), (10, -4), (13, -6), (16, -6), (25, -4), (28, -4), (32.5, -1.2), (36, -6), (38, -6), (41.5, -4)),
    rails=(("12V", (3.5, 0), "up"), ("VP", (11.5, 0), "up"), ("VS", (26.5, 0), "up"), ("5V", (39.5, 0), "up")),
    frames=(((0.2, -0.8, 3.2, 1.4), "in the wire"), ((0.2, -3.8, 3.2, -1.6), "at the lug")),
    note="VBOARD goes to VSYS of an RP2040 board, to the 5 V pin of an ESP32 board. Its 3.3 V pin feeds everything "
    "called 3V3.",
)

HOLD_UP = Block(
    "hold_up",
    "Hold-up reservoir and power-fail signal (full build)",
    (
        two("F1", "ptc_100ma", "", ("VS", "H"), ((0, 0), (4, 0)), "above", "charges C1 gently, and trips if C1 shorts"),
        two("D1", "d_1n5819", "", ("H", "VS"), ((4, 2), (0, 2)), "above", "lets it out at once"),
        two("C1", "c_elko_big", "4700u", ("H", "0"), ((4, 0), (4, -3)), "right", "0.3 s of life at 100 mA"),
        two("D2", "d_1n4148", "", ("0", "S"), ((14.5, -4), (14.5, -1)), "right", "negative pulses pass Q1 by"),
        two("R2", "r", "47k", ("12V", "S"), ((9, 2), (9, -1)), "right", "senses the feed before the reservoir"),
        two("R3", "r", "10k", ("S", "0"), ((9, -1), (9, -4)), "left", "with R2: fails below 3.7 V"),
        transistor("Q1", "npn_small", ("PF", "S", "0"), (18, -1), "right", "open when the feed fails"),
        two("R4", "r", "10k", ("3V3", "PF"), ((18, 3), (18, 0)), "right", "pull-up"),
    ),
    (((0, 0), (0, 2)), ((4, 0), (4, 2)), ((9, -1), (17, -1)), ((18, 0), (21, 0)), ((0, 2), (-1, 2))),
    (("PF", (21, 0), "right", "high: feed gone"),),
    grounds=((4, -3), (9, -4), (14.5, -4), (18, -2)),
    rails=(("VS", (-1, 2), "left"), ("12V", (9, 2), "up"), ("3V3", (18, 3), "up")),
    note="Optional: what is on the card does not rely on it. The firmware does not read the power-fail signal yet.",
)

SENSOR_SUPPLY = Block(
    "sensor_supply",
    "5 V for sensors (full build)",
    (
        chip(
            "U1",
            "reg_5v",
            (3.5, -1.2, 7.5, 1.2),
            {"in": ("VS", (3.5, 0)), "out": ("S5", (7.5, 0)), "gnd": ("0", (5.5, -1.2))},
            "above",
            "one of its own, so that a shorted sensor wire does not stop the logger",
        ),
        two("C2", "c", "470n", ("VS", "0"), ((1.5, 0), (1.5, -4)), "right", "within 1 cm of U1's input pin"),
        two("R1", "r", "0.47", ("S5", "SR"), ((9, 0), (9, -3)), "right", "with C1, C3: U1 is unstable without it"),
        two("C1", "c_big", "22u", ("SR", "0"), ((9, -3), (9, -6)), "left", "within 2 cm of U1"),
        two("C3", "c_big", "22u", ("SR", "0"), ((11, -3), (11, -6)), "right", "as C1"),
        two("D1", "z_tvs6v8", "", ("0", "S5"), ((14, -3), (14, 0)), "right", "below 8 V when a wire touches 12 V"),
        two(
            "F1", "ptc_100ma", "", ("S5", "OUT"), ((16.5, 0), (19.5, 0)), "above", "limits a short in either direction"
        ),
        two(
            "R2",
            "r_fusible",
            "1",
            ("GOUT", "0"),
            ((19.5, -3), (16.5, -3)),
            "above",
            "opens when the sensors' ground wire touches 12 V; 10 mV at 10 mA",
        ),
    ),
    (((0, 0), (3.5, 0)), ((7.5, 0), (16.5, 0)), ((9, -3), (11, -3)), ((16.5, -3), (16.5, -3.5))),
    (("OUT", (19.5, 0), "right", "5 V to sensors, 30 mA"), ("GOUT", (19.5, -3), "right", "sensors' ground")),
    grounds=((1.5, -4), (5.5, -1.2), (9, -6), (11, -6), (14, -3), (16.5, -3.5)),
    rails=(("VS", (0, 0), "left"),),
    note="For sensors without a supply of their own: 30 mA, for F1 holds 40 mA where it is hot (85 °C). A sensor that "
    "the engine computer feeds stays with the engine computer.",
)
