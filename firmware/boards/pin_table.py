"""The pins of each board, for the minimum build of hardware/README.md. Change them to what was soldered.

`"spi": None` is a board without a card: it records on its own flash, and logger.json lies in its folder /ring.
An external converter uses `cs` on `converter_spi`, or `address` on the screen's I2C, as its kind needs (logger.json
says which is fitted); `reference_v` is the voltage at a converter's reference pin, unless logger.json gives another.
A bus controller uses `cs` on `converter_spi`, and its pin `int` signals frames.
"""

# Also of the RP2350's module, whose pins are the same
RP2 = {
    "analog": {"a0": 26, "a1": 27, "a2": 28, "a3": 29},  # a3 has no pad: a third of VSYS, the board's own supply
    "reference_v": 3.3,  # at ADC_VREF
    "supply_pwm": 23,  # high: the board's regulator keeps its switching rate; None where the board has no such pin
    "pulse": {"p0": 15, "p1": 6},
    "digital": {"d0": 14},
    "bench": {"hz": 2, "mv": 3},  # outputs for the loop-back of hardware/README.md
    "button": 13,
    "lamp": 12,
    "buzzer": 7,
    "screen": {"id": 0, "sda": 4, "scl": 5},
    "spi": {"id": 0, "sck": 18, "mosi": 19, "miso": 16, "cs": 17},
    "converter_spi": {"id": 1, "sck": 10, "mosi": 11, "miso": 8},
    "converters": {
        "x": {"cs": 9, "address": 0x48, "reference_v": 3.3},
        "y": {"cs": 1, "address": 0x49, "reference_v": 3.3},
    },
    "bus": {"cs": 22, "int": 21},
}

ESP32 = {
    "analog": {"a0": 36, "a1": 39, "a2": 34, "a3": 35},
    "reference_v": 3.3,
    "pulse": {"p0": 27, "p1": 15},
    "digital": {"d0": 26},
    "bench": {"hz": 13, "mv": 14},  # outputs for the loop-back of hardware/README.md
    "button": 25,
    "lamp": 33,
    "buzzer": 4,
    "screen": {"id": 0, "sda": 21, "scl": 22},
    "spi": {"id": 2, "sck": 18, "mosi": 23, "miso": 19, "cs": 5},
    "sd_host": None,  # {"slot": 1, "width": 1} for a socket on the chip's own SD host, in place of `spi`
    "converter_spi": {"id": 1, "sck": 14, "mosi": 13, "miso": 2},
    "converters": {
        "x": {"cs": 12, "address": 0x48, "reference_v": 3.3},
        "y": {"cs": 0, "address": 0x49, "reference_v": 3.3},
    },
    "bus": {"cs": 32, "int": 17},
}


def for_port(platform):
    """The pins of the port that sys.platform names."""
    return ESP32 if platform == "esp32" else RP2
