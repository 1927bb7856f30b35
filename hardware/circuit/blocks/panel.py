"""What hands and eyes need, and the card: button, lamp, buzzer, screen, card."""

from hardware.circuit.model import Block, away, chip, transistor, two

BUTTON_LAMP = Block(
    "button_lamp",
    "Button and lamp",
    (
        away(
            "on the dash",
            two("S1", "button", "", ("W", "WR"), ((-4, 0), (-4, -3)), "left", "or in the passenger's hand, two wires"),
        ),
        two("R6", "r", "1k", ("WR", "0"), ((-2, -3), (1, -3)), "above", "that wire may touch 12 V too"),
        two("R2", "r", "4.7k", ("W", "B"), ((0, 0), (3, 0)), "above", "that wire may touch 12 V"),
        two("R1", "r", "47k", ("3V3", "B"), ((3, 3), (3, 0)), "right", "pull-up"),
        two("C1", "c", "100n", ("B", "0"), ((5, 0), (5, -3)), "right", "swallows spikes"),
        two("D2", "d_bat85", "", ("B", "3V3"), ((8, 0), (8, 3)), "right", "clamp"),
        two("D3", "d_bat85", "", ("0", "B"), ((8, -3), (8, 0)), "right", "clamp"),
        two(
            "D4", "d_1n4007", "", ("5V", "L5"), ((19, 6), (19, 4)), "right", "a lamp wire on 12 V does not feed the 5 V"
        ),
        two(
            "R3", "r", "220", ("L5", "LA"), ((19, 4), (19, 2)), "right", "a lamp wire on ground does not short the 5 V"
        ),
        away(
            "on the dash",
            two("D1", "led", "", ("LA", "LK"), ((16, 2), (16, 0)), "left", "lamp where the driver sees it, 2 mA"),
        ),
        two("R4", "r", "1k", ("LK", "LC"), ((19, 0), (19, -2)), "right", "a lamp wire on 12 V does not burn Q1"),
        transistor("Q1", "npn_small", ("LC", "LB", "0"), (19, -3), "right", "switches the lamp"),
        two("R5", "r", "2.2k", ("LAMP", "LB"), ((15, -3), (18, -3)), "above", "base current"),
    ),
    (
        ((3, 0), (10, 0)),
        ((-4, 0), (0, 0)),
        ((-4, -3), (-2, -3)),
        ((1, -3), (1, -3.3)),
        ((16, 2), (19, 2)),
        ((16, 0), (19, 0)),
    ),
    (
        ("W", (-2.3, 0), "up", "terminal"),
        ("WR", (-2.3, -3), "down", "terminal"),
        ("LA", (17.6, 2), "up", "terminal"),
        ("LK", (17.6, 0), "down", "terminal"),
        ("B", (10, 0), "right", "to button pin"),
        ("LAMP", (15, -3), "left", "lamp pin"),
    ),
    grounds=((1, -3.3), (5, -3), (8, -3), (19, -4)),
    rails=(("3V3", (3, 3), "up"), ("3V3", (8, 3), "up"), ("5V", (19, 6), "up")),
    frames=(((-6.2, -3.6, -3.2, 0.8), "on the dash"), ((14, -0.8, 17, 2.8), "on the dash")),
    note="The button pulls its pin to ground. Both wires of button and lamp may touch ground, 12 V or 24 V.",
)

BUZZER = Block(
    "buzzer",
    "Buzzer (full build): sounds with the lean warning",
    (
        two("S1", "switch", "", ("ON", "S"), ((0, 0), (3, 0)), "above", "silence"),
        two("R1", "r", "2.2k", ("S", "BB"), ((3, 0), (6, 0)), "above", "base current"),
        transistor("Q1", "npn_small", ("K", "BB", "0"), (8, 0), "right", "drives the buzzer"),
        chip(
            "LS1",
            "buzzer",
            (6.5, 2.5, 9.5, 4.5),
            {"+": ("5V", (8, 4.5)), "-": ("K", (8, 2.5))},
            "right",
            "with its own oscillator",
        ),
        two("D1", "d_1n4148", "", ("K", "5V"), ((12.5, 2), (12.5, 5)), "right", "takes its switching spike"),
    ),
    (((6, 0), (7, 0)), ((8, 1), (8, 2.5)), ((8, 2), (12.5, 2)), ((8, 4.5), (8, 5)), ((8, 5), (12.5, 5))),
    (("ON", (0, 0), "left", "buzzer pin"),),
    grounds=((8, -1),),
    rails=(("5V", (8, 5), "up"),),
)

CARD = Block(
    "card",
    "Card",
    (
        two("R1", "r", "33", ("SCK", "CSCK"), ((0, 0), (4, 0)), "above", "at the board: damps the clock's edges"),
        two(
            "R2",
            "r",
            "10k",
            ("3V3", "CS"),
            ((6, 5), (6, 2)),
            "left",
            "keeps the card deselected while the board starts",
        ),
        two("R3", "r", "10k", ("3V3", "MISO"), ((8, 5), (8, 2)), "right", "keeps the line defined without a card"),
        chip(
            "X1",
            "card_socket",
            (12, -9, 16, 3.5),
            {
                "3V3": ("3V3", (12, 2)),
                "SCK": ("CSCK", (12, 0)),
                "CS": ("CS", (12, -2)),
                "MOSI": ("MOSI", (12, -4)),
                "MISO": ("MISO", (12, -6)),
                "GND": ("0", (12, -8)),
            },
            "above",
            "wires to it at most 10 cm long",
        ),
        two(
            "C1",
            "c_elko",
            "10u",
            ("3V3", "0"),
            ((20, 2), (20, -4)),
            "right",
            "at the socket: a card writing takes 100 mA",
        ),
        two("C2", "c", "100n", ("3V3", "0"), ((18, 2), (18, -4)), "left", "at the socket"),
    ),
    (
        ((6, 2), (6, -2)),
        ((8, 2), (8, -6)),
        ((4, 0), (12, 0)),
        ((0, -2), (12, -2)),
        ((0, -4), (12, -4)),
        ((0, -6), (12, -6)),
        ((10, 2), (12, 2)),
        ((10, 2), (10, 5)),
        ((6, 5), (20, 5)),
        ((20, 5), (20, 2)),
        ((18, 5), (18, 2)),
        ((10.5, -8), (12, -8)),
    ),
    (
        ("SCK", (0, 0), "left", "SCK"),
        ("CS", (0, -2), "left", "CS"),
        ("MOSI", (0, -4), "left", "MOSI"),
        ("MISO", (0, -6), "left", "MISO"),
    ),
    grounds=((10.5, -8), (18, -4), (20, -4)),
    rails=(("3V3", (6, 5), "up"),),
)

SCREEN = Block(
    "screen",
    "Screen (full build)",
    (
        two(
            "R1", "r", "4.7k", ("3V3", "SDA"), ((2, 4), (2, 0)), "left", "pull-up; leave out if the screen has its own"
        ),
        two(
            "R2",
            "r",
            "4.7k",
            ("3V3", "SCL"),
            ((4, 4), (4, -2)),
            "right",
            "pull-up; leave out if the screen has its own",
        ),
        chip(
            "X1",
            "screen",
            (8, -5, 12, 3),
            {"VCC": ("3V3", (8, 2)), "SDA": ("SDA", (8, 0)), "SCL": ("SCL", (8, -2)), "GND": ("0", (8, -4))},
            "above",
            "wires to it at most 30 cm long",
        ),
    ),
    (
        ((0, 0), (8, 0)),
        ((0, -2), (8, -2)),
        ((2, 4), (6.5, 4)),
        ((6.5, 4), (6.5, 2)),
        ((6.5, 2), (8, 2)),
        ((6.5, -4), (8, -4)),
    ),
    (("SDA", (0, 0), "left", "SDA"), ("SCL", (0, -2), "left", "SCL")),
    grounds=((6.5, -4),),
    rails=(("3V3", (2, 4), "up"),),
)
