"""A tap on a sensor that the engine computer reads: it may not notice, whatever happens to the wires or the logger.

Same scale as the plain input: 1 to 1.68 Mohm is 10 to 16.8. What the wires touch is limited by their resistors, and
the op-amp's own diodes bear it: 0.1 mA at 150 V.
"""

from hardware.circuit.model import Block, away, chip, two

_PLACE = "at the splice, within 5 cm"

SENSOR_TAP = Block(
    "sensor_tap",
    "Tap on a sensor of the engine computer, 0 to 5 V, high-ohm, differential",
    (
        away(
            _PLACE, two("R1", "r", "180k", ("IN", "P1"), ((-2, 0), (1, 0)), "above", "with R2, R3: the gain; sleeved")
        ),
        two("R2", "r", "1.5M", ("P1", "P"), ((3, 0), (6, 0)), "above", "in series with R1"),
        two("R3", "r", "1M", ("P", "AGND"), ((7, 0), (7, 3)), "right", "lower arm"),
        two("C1", "c_film", "1.8n", ("P", "AGND"), ((10, 0), (10, 3)), "right", "anti-alias filter"),
        away(_PLACE, two("R4", "r", "180k", ("SENSE", "M1"), ((-2, -4), (1, -4)), "above", "as R1; sleeved")),
        two("R5", "r", "1.5M", ("M1", "M"), ((3, -4), (6, -4)), "above", "as R2"),
        chip(
            "U1",
            "opamp_rr",
            (13, -4.8, 17, 0.8),
            {"3": ("P", (13, 0)), "2": ("M", (13, -4)), "1": ("OUT", (17, -2))},
            "above",
            "pin 8 to 3V3, pin 4 to ground, 100 nF between them",
        ),
        two("R6", "r", "1M", ("M", "OUT"), ((11, -7), (18.5, -7)), "above", "feedback, as R3"),
        two("C2", "c_film", "1.8n", ("M", "OUT"), ((11, -9), (18.5, -9)), "above", "as C1"),
        two("R7", "r", "1k", ("OUT", "PIN"), ((18.5, -2), (21.5, -2)), "above", "limits what is left for the pin"),
        two("C3", "c", "100n", ("PIN", "AGND"), ((21.5, -2), (21.5, -5)), "right", "right at the converter's pin"),
    ),
    (
        ((1, 0), (3, 0)),
        ((1, -4), (3, -4)),
        ((6, 0), (13, 0)),
        ((6, -4), (13, -4)),
        ((11, -4), (11, -9)),
        ((17, -2), (18.5, -2)),
        ((18.5, -2), (18.5, -9)),
        ((21.5, -2), (23.5, -2)),
        ((7, 3), (7, 3.5)),
        ((10, 3), (10, 3.5)),
        ((7, 3.5), (12, 3.5)),
        ((12, 3.5), (12, 3.2)),
    ),
    (
        ("IN", (-2, 0), "left", "sensor's signal"),
        ("SENSE", (-2, -4), "left", "sensor's ground"),
        ("P1", (2, 0), "down", "terminal"),
        ("M1", (2, -4), "down", "terminal"),
        ("PIN", (23.5, -2), "right", "to converter"),
    ),
    analog_grounds=((12, 3.2), (21.5, -5)),
    frames=(((-1.8, -5.2, 1.3, 1.4), "at the splice, sleeved"),),
    note="Never on an electronic throttle or pedal. A sensor of your own on a plain input is better still.",
)
