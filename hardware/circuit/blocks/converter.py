"""An external converter for inputs that the board's own pins are too few for. Pins are called by their numbers."""

from hardware.circuit.model import Block, chip, two

# x3, x5, x7: ground between the checks, so that a bridge of solder never joins two of them
_GROUNDED = {str(pin): ("AGND", (4.0, 1.0 - pin)) for pin in (4, 6, 8)}

CONVERTER = Block(
    "converter",
    "External converter x: eight inputs, 12 bits",
    (
        two("C3", "c", "220n", ("X0", "AGND"), ((-5, 0), (-5, -3)), "left", "charge for the converter; right at pin 1"),
        two("C4", "c", "220n", ("X1", "AGND"), ((-1, -1), (-1, -4)), "left", "as C3, right at pin 2"),
        chip(
            "U1",
            "adc_spi",
            (4, -8.5, 9, 1.5),
            {
                "1": ("X0", (4, 0)),
                "2": ("X1", (4, -1)),
                "3": ("X2", (4, -2)),
                "5": ("X4", (4, -4)),
                "7": ("X6", (4, -6)),
                **_GROUNDED,
                "16": ("3V3", (9, 0)),
                "15": ("REF", (9, -1)),
                "14": ("AGND", (9, -2)),
                "13": ("SCK", (9, -3)),
                "12": ("MISO", (9, -4)),
                "11": ("MOSI", (9, -5)),
                "10": ("CS", (9, -6)),
                "9": ("0", (9, -7)),
            },
            "above",
            "reads what the board's own three inputs have no room for",
        ),
        two("R1", "r", "10k", ("3V3", "CS"), ((19, 1), (19, -2)), "right", "deselected while the board starts"),
        two("C1", "c", "100n", ("3V3", "0"), ((12, 3), (15, 3)), "above", "at pins 16 and 9"),
        two("C2", "c", "100n", ("REF", "AGND"), ((13.5, -1), (16.5, -1)), "above", "at pins 15 and 14"),
    ),
    (
        ((-6, 0), (4, 0)),
        ((-2, -1), (4, -1)),
        *(((1.5, y), (4, y)) for y in (-2, -4, -6)),
        *(((2, 1 - pin), (4, 1 - pin)) for pin in (4, 6, 8)),
        ((9, 0), (10.5, 0)),
        ((9, -1), (13.5, -1)),
        ((19, -2), (19, -6)),
        ((9, -2), (10, -2)),
        *(((9, y), (20, y)) for y in (-3, -4, -5, -6)),
        ((9, -7), (10.5, -7)),
        ((11, 3), (12, 3)),
    ),
    (
        ("X0", (-6, 0), "left", "input x0"),
        ("X1", (-2, -1), "left", "input x1"),
        ("X2", (1.5, -2), "left", "input x2"),
        ("X4", (1.5, -4), "left", "input x4"),
        ("X6", (1.5, -6), "left", "input x6"),
        ("SCK", (20, -3), "right", "SCK"),
        ("MISO", (20, -4), "right", "MISO"),
        ("MOSI", (20, -5), "right", "MOSI"),
        ("CS", (20, -6), "right", "CS"),
    ),
    grounds=((10.5, -7), (15, 3)),
    rails=(("3V3", (10.5, 0), "right"), ("3V3", (11, 3), "left"), ("REF", (13.5, -1), "up"), ("3V3", (19, 1), "up")),
    analog_grounds=((-5, -3), (-1, -4), (2, -3), (2, -5), (2, -7), (10, -2), (16.5, -1)),
    note='On the board to order. logger.json: "converters": {"x": "mcp3208"}, "reference_v": 3.0.',
)
