"""Engine speed: from a logic line, from a coil's primary, and from a coil's primary through an opto-coupler.

The first resistor sits where the wire begins: a wire that chafes through then carries milliamperes, and neither coil,
injector nor engine computer notices.
"""

from hardware.circuit.model import Block, away, chip, two


def _schmitt(inputs: str, x: float, y: float, first: str, second: str):
    """Two of the six inverters in a row: rising stays rising."""
    return (
        chip(
            "U1A",
            "schmitt_hc14",
            (x, y - 1, x + 2.5, y + 1),
            {first: (inputs, (x, y)), second: ("Y", (x + 2.5, y))},
            "above",
            "first inverter, with hysteresis",
        ),
        chip(
            "U1B",
            "schmitt_hc14",
            (x + 4, y - 1, x + 6.5, y + 1),
            {"3": ("Y", (x + 4, y)), "4": ("PIN", (x + 6.5, y))},
            "above",
            "second inverter: rising stays rising",
        ),
    )


TACH_LOGIC = Block(
    "tach_logic",
    "Engine speed from a logic line, 5 to 12 V",
    (
        two("JP1", "jumper", "", ("5V", "PU"), ((0, 5), (0, 3.5)), "right", "closed for an open-collector output only"),
        two(
            "D3", "d_1n4007", "", ("PU", "PD"), ((0, 3.5), (0, 2)), "right", "so that a 12 V line does not feed the 5 V"
        ),
        two("R3", "r", "22k", ("PD", "L"), ((0, 2), (0, 0)), "right", "pull-up, so weak that R4 leaves a clear low"),
        away(
            "at the engine computer or injector, within 5 cm",
            two("R4", "r", "1k", ("IN", "L"), ((-6, 0), (-3, 0)), "above", "limits what a chafed wire draws; sleeved"),
        ),
        two("R1", "r", "22k", ("L", "N"), ((1, 0), (4, 0)), "above", "takes every overvoltage; lifts no 3V3"),
        two("R2", "r", "100k", ("N", "0"), ((4, 0), (4, -3)), "right", "keeps an open input low"),
        two("C1", "c", "470p", ("N", "0"), ((7, 0), (7, -3)), "right", "swallows spikes below 1 us, of 5 V below 4 us"),
        two("D1", "d_bat85", "", ("N", "3V3"), ((10, 0), (10, 3)), "right", "clamp"),
        two("D2", "d_bat85", "", ("0", "N"), ((10, -3), (10, 0)), "right", "clamp"),
        *_schmitt("N", 13, 0, "1", "2"),
    ),
    (((-3, 0), (1, 0)), ((4, 0), (13, 0)), ((15.5, 0), (17, 0)), ((19.5, 0), (21, 0))),
    (
        ("IN", (-6, 0), "left", "tach line"),
        ("L", (-1.5, 0), "down", "terminal"),
        ("PIN", (21, 0), "right", "to pin p0"),
    ),
    grounds=((4, -3), (7, -3), (10, -3)),
    rails=(("5V", (0, 5), "up"), ("3V3", (10, 3), "up")),
    frames=(((-5.8, -1, -2.7, 1.4), "where the wire begins"),),
    note="74HC14 on 3V3: pin 14 to 3V3, pin 7 to ground, 100 nF between them, unused inputs to ground.",
)

TACH_COIL = Block(
    "tach_coil",
    "Engine speed from a coil's primary (400 V)",
    (
        away(
            "at the coil, within 5 cm",
            two("R1", "r", "150k", ("IN", "M"), ((-3, 0), (0, 0)), "above", "shares 400 V with R2; sleeved, 600 V"),
        ),
        two("R2", "r", "150k", ("M", "N"), ((3, 0), (6, 0)), "above", "clear of everything else by 5 mm"),
        two("R3", "r", "8.2k", ("N", "0"), ((6, 0), (6, -3)), "right", "with R1, R2: trips at about 75 V of flyback"),
        two("C1", "c", "1n", ("N", "0"), ((9, 0), (9, -3)), "right", "swallows coupled spikes"),
        two("D1", "d_bat85", "", ("N", "3V3"), ((12, 0), (12, 3)), "right", "clamp"),
        two("D2", "d_bat85", "", ("0", "N"), ((12, -3), (12, 0)), "right", "clamp"),
        *_schmitt("N", 15, 0, "1", "2"),
    ),
    (((0, 0), (3, 0)), ((6, 0), (15, 0)), ((17.5, 0), (19, 0)), ((21.5, 0), (23, 0))),
    (
        ("IN", (-3, 0), "left", "coil, switched end"),
        ("M", (1.5, 0), "down", "terminal"),
        ("PIN", (23, 0), "right", "to pin p0"),
    ),
    grounds=((6, -3), (9, -3), (12, -3)),
    rails=(("3V3", (12, 3), "up"),),
    frames=(((-2.8, -1, 0.3, 1.4), "at the coil, within 5 cm, sleeved"),),
    note="Not isolated: 200 V as far as R2. Prefer the opto-coupler. A coil with its driver inside has a logic line.",
)

TACH_OPTO = Block(
    "tach_opto",
    "Engine speed from a coil's primary through an opto-coupler",
    (
        away(
            "at the coil, within 5 cm",
            two("R1", "r", "15k", ("IN", "M"), ((-3, 0), (0, 0)), "above", "shares 400 V with R2; sleeved, 600 V"),
        ),
        away(
            "at the coil, within 5 cm",
            two("R2", "r", "15k", ("M", "Z"), ((0, 0), (3, 0)), "above", "the wire behind it carries 11 mA at most"),
        ),
        away(
            "at the engine block's lug",
            two("R4", "r", "1k", ("GIN", "K"), ((-3, -2), (0, -2)), "above", "this wire may touch 12 V; sleeved"),
        ),
        two("D1", "z_62", "", ("A", "Z"), ((9, 0), (6, 0)), "above", "only flyback passes, not 12 V and its ringing"),
        two("D2", "d_1n4148", "", ("K", "A"), ((10, -2), (10, 0)), "left", "protects the LED from the other sign"),
        chip(
            "U2",
            "opto",
            (12, -2.6, 16, 0.6),
            {"1": ("A", (12, 0)), "2": ("K", (12, -2)), "4": ("N", (16, 0)), "3": ("0", (16, -2))},
            "above",
            "isolates: 5 mm between its two sides",
        ),
        two("R3", "r", "10k", ("3V3", "N"), ((18, 3), (18, 0)), "right", "pull-up"),
        two("C1", "c", "1n", ("N", "0"), ((19.5, 0), (19.5, -3)), "right", "swallows spikes"),
        chip(
            "U1A",
            "schmitt_hc14",
            (22, -1, 24.5, 1),
            {"1": ("N", (22, 0)), "2": ("PIN", (24.5, 0))},
            "above",
            "falling at the collector is rising at the pin",
        ),
    ),
    (
        ((3, 0), (6, 0)),
        ((9, 0), (12, 0)),
        ((0, -2), (12, -2)),
        ((16, 0), (22, 0)),
        ((16, -2), (16.8, -2)),
        ((24.5, 0), (26, 0)),
    ),
    (
        ("IN", (-3, 0), "left", "coil, switched end"),
        ("GIN", (-3, -2), "left", "engine block"),
        ("Z", (4.6, 0), "up", "terminal"),
        ("K", (4.6, -2), "down", "terminal"),
        ("PIN", (26, 0), "right", "to pin p0"),
    ),
    grounds=((16.8, -2), (19.5, -3)),
    rails=(("3V3", (18, 3), "up"),),
    frames=(((-2.8, -3, 3.3, 1.4), "R1, R2 at the coil, R4 at the lug: within 5 cm, sleeved"),),
    note="The coil's side has its own ground wire to the engine block; nothing else of the logger touches it.",
)

TACH_SELECT = Block(
    "tach_select",
    "Engine speed: which source",
    (
        chip(
            "JP1",
            "jumper3",
            (3, -3, 7, 1),
            {"1": ("LINE", (3, 0)), "2": ("PIN", (7, -1)), "3": ("COIL", (3, -2))},
            "above",
            "1-2: tach line; 2-3: coil",
        ),
    ),
    (((1, 0), (3, 0)), ((1, -2), (3, -2)), ((7, -1), (9, -1))),
    (
        ("LINE", (1, 0), "left", "tach line"),
        ("COIL", (1, -2), "left", "opto-coupler"),
        ("PIN", (9, -1), "right", "to pin p0"),
    ),
    note="On the board to order. One jumper on three pins: two outputs never drive one pin.",
)
