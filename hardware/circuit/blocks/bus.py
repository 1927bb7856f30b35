"""The car's bus: a controller on the converters' SPI and a transceiver that is silent until two jumpers are closed.

Pins and figures of the transceiver: TJA1051 data sheet, NXP, rev. 7 (2015) and 9 (2017); pins of the controller:
MCP2518FD data sheet DS20006027B, table 1-1, and MCP2515 data sheet DS20001801 (from memory).
"""

from hardware.circuit.model import Block, Part, away, chip, two

_SPLICE = "in the plug at the diagnostic socket"


def _block(name: str, title: str, controller: Part, crystal: str, load: str, more: tuple[Part, ...], note: str):
    """The block around that controller; the transceiver's side is the same for each."""
    reset = [(((-3, -6), (3, -6)),), (("3V3", (-6, -6), "left"),)] if more else [(), ()]
    return Block(
        name,
        title,
        (
            controller,
            chip(
                "U1",
                "can_phy",
                (17, -5, 21, 3),
                {
                    "TXD": ("D", (17, 0)),
                    "RXD": ("RX", (17, -2)),
                    "S": ("S", (17, -4)),
                    "VIO": ("3V3", (18, 3)),
                    "VCC": ("5V", (20, 3)),
                    "GND": ("0", (19, -5)),
                    "CANH": ("CANH", (21, 0)),
                    "CANL": ("CANL", (21, -2)),
                },
                "right",
                "silent while S is high: it hears, and cannot drive the bus",
            ),
            two("R1", "r", "10k", ("3V3", "D"), ((14, 3), (14, 0)), "right", "D is recessive while JP1 is open"),
            two("JP1", "jumper", "", ("TX", "D"), ((9.5, 0), (12, 0)), "above", 'open; closed for "ask" alone'),
            two("R2", "r", "10k", ("3V3", "S"), ((10.5, -4), (13.5, -4)), "above", "silent whatever else floats"),
            two("JP2", "jumper", "", ("S", "0"), ((15, -4), (15, -6.5)), "left", 'open; closed for "ask" alone'),
            two("R6", "r", "10k", ("3V3", "CS"), ((0, 3), (0, 0)), "right", "deselected while the board starts"),
            two("Y1", "crystal", crystal, ("OSC1", "OSC2"), ((4, -11), (7, -11)), "above", "within 1 cm of U2"),
            two("C3", "c_np0", load, ("OSC1", "0"), ((4, -11), (4, -13.5)), "left", "load of the crystal"),
            two("C4", "c_np0", load, ("OSC2", "0"), ((7, -11), (7, -13.5)), "right", "as C3"),
            two("C5", "c", "100n", ("3V3", "0"), ((29.6, 5), (29.6, 3)), "right", "at U2"),
            two("C1", "c", "100n", ("3V3", "0"), ((25, 5), (25, 3)), "right", "at VIO"),
            two("C2", "c", "100n", ("5V", "0"), ((27.3, 5), (27.3, 3)), "right", "at VCC"),
            two("D1", "z_can", "", ("CANH", "0"), ((23, -2.8), (23, -4.8)), "right", "spikes of CAN high"),
            two("D2", "z_can", "", ("CANL", "0"), ((25.5, -2.8), (25.5, -4.8)), "right", "spikes of CAN low"),
            two("R7", "r", "1k", ("BG", "0"), ((28.5, -4), (28.5, -6.5)), "left", "that wire may touch 12 V"),
            away(_SPLICE, two("R3", "r", "4.7k", ("H", "CANH"), ((34, 0), (31, 0)), "above",
                              "a fault here does not hold the bus; a link for \"ask\"")),
            away(_SPLICE, two("R4", "r", "4.7k", ("L", "CANL"), ((34, -2), (31, -2)), "above", "as R3")),
            away(_SPLICE, two("R5", "r", "1k", ("G", "BG"), ((34, -4), (31, -4)), "above", "ground for levels alone")),
            *more,
        ),
        (
            ((-4, 0), (3, 0)),
            *(((-4, y), (3, y)) for y in (-1, -2, -3, -4)),
            ((8, 0), (9.5, 0)),
            ((12, 0), (17, 0)),
            ((8, -2), (17, -2)),
            ((13.5, -4), (17, -4)),
            ((4, -9), (4, -11)),
            ((7, -9), (7, -11)),
            ((1.5, -8), (3, -8)),
            ((21, 0), (31, 0)),
            ((21, -2), (31, -2)),
            ((23, 0), (23, -2.8)),
            ((25.5, -2), (25.5, -2.8)),
            ((28.5, -4), (31, -4)),
            *(((34, y), (35, y)) for y in (0, -2, -4)),
            *reset[0],
        ),
        (
            ("CS", (-4, 0), "left", "CS of the bus"),
            ("SCK", (-4, -1), "left", "SCK"),
            ("MOSI", (-4, -2), "left", "MOSI"),
            ("MISO", (-4, -3), "left", "MISO"),
            ("INT", (-4, -4), "left", "INT"),
            ("CANH", (29.5, 0), "up", "terminal"),
            ("CANL", (29.5, -2), "up", "terminal"),
            ("BG", (29.8, -4), "up", "terminal"),
            ("H", (35, 0), "right", "pin 6, CAN high"),
            ("L", (35, -2), "right", "pin 14, CAN low"),
            ("G", (35, -4), "right", "pin 5 (or 4), ground"),
        ),
        grounds=((19, -5), (15, -6.5), (4, -13.5), (7, -13.5), (1.5, -8), (23, -4.8), (25.5, -4.8), (28.5, -6.5),
                 (25, 3), (27.3, 3), (29.6, 3)),
        rails=(
            ("3V3", (14, 3), "up"), ("3V3", (10.5, -4), "left"), ("3V3", (0, 3), "up"), ("3V3", (5.5, 3), "up"),
            ("3V3", (18, 3), "up"), ("5V", (20, 3), "up"), ("3V3", (25, 5), "up"), ("5V", (27.3, 5), "up"),
            ("3V3", (29.6, 5), "up"), *reset[1],
        ),
        frames=(((30.6, -5, 34.4, 1.4), "in the plug"),),
        note=note,
    )  # fmt: skip


def _controller(stock: str, into: str, out: str, more: dict, use: str) -> Part:
    """into, out: what the maker calls its SPI data pins."""
    return chip(
        "U2",
        stock,
        (3, -9, 8, 3),
        {
            "CS": ("CS", (3, 0)),
            "SCK": ("SCK", (3, -1)),
            into: ("MOSI", (3, -2)),
            out: ("MISO", (3, -3)),
            "INT": ("INT", (3, -4)),
            **more,
            "VSS": ("0", (3, -8)),
            "VDD": ("3V3", (5.5, 3)),
            "TXCAN": ("TX", (8, 0)),
            "RXCAN": ("RX", (8, -2)),
            "OSC1": ("OSC1", (4, -9)),
            "OSC2": ("OSC2", (7, -9)),
        },
        "right",
        use,
    )


CAN = _block(
    "can",
    "Car's bus: listens only, until two jumpers are closed",
    _controller("can_ctl", "SDI", "SDO", {}, "keeps 32 frames with the time of their arrival"),
    "20M",
    "15p",
    (),
    "Plug to terminals: below 1 m, CAN high and low twisted. No 120 ohm anywhere: a carrier's own comes off. "
    'logger.json: "bus": {"crystal_mhz": 20}.',
)
CAN_2515 = _block(
    "can_2515",
    "Car's bus with the older controller: two frames, no times",
    _controller("can_ctl_2515", "SI", "SO", {"RESET": ("RESET", (3, -6))}, "keeps two frames: some are lost"),
    "16M",
    "22p",
    (two("R8", "r", "10k", ("3V3", "RESET"), ((-6, -6), (-3, -6)), "above", "out of reset"),),
    'In place of the other: a DIP chip, where SO-14 is too small. logger.json: "bus": {"chip": "mcp2515", '
    '"crystal_mhz": 16}.',
)
