"""Which pin of which board a block's port goes to, with the place on the board where one solders it.

The numbers after "GP" or "IO" are firmware/boards/pin_table.py's; a test holds the two together.
"""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True)
class Board:
    """name; stock key; pins: signal -> (number in pin_table.py or None, what is printed beside the pad, note)."""

    name: str
    title: str
    stock: str
    pins: dict[str, tuple[int | None, str, str]]


RP2 = Board(
    "rp2",
    "RP2040 board with 40 pins",
    "board_rp2",
    {
        "VBOARD": (None, "VSYS, pin 39", "from D4 of the supply"),
        "3V3": (None, "3V3(OUT), pin 36", "feeds everything called 3V3"),
        "GND": (None, "GND, pins 3, 8, 13, 18, 23, 28, 38", "one star point at the supply's C2"),
        "AGND": (None, "AGND, pin 33", "everything on the node AGND, and nothing else"),
        "REF": (None, "ADC_VREF, pin 35", "the reference, where that block is fitted"),
        "a0": (26, "GP26, pin 31", "analog"),
        "a1": (27, "GP27, pin 32", "analog"),
        "a2": (28, "GP28, pin 34", "analog"),
        "p0": (15, "GP15, pin 20", "engine speed"),
        "p1": (6, "GP6, pin 9", "second pulse input: wheel or driveshaft"),
        "d0": (14, "GP14, pin 19", "digital input, free"),
        "button": (13, "GP13, pin 17", "button"),
        "lamp": (12, "GP12, pin 16", "lamp"),
        "buzzer": (7, "GP7, pin 10", "buzzer"),
        "sck": (18, "GP18, pin 24", "card"),
        "mosi": (19, "GP19, pin 25", "card"),
        "miso": (16, "GP16, pin 21", "card"),
        "cs": (17, "GP17, pin 22", "card"),
        "sda": (4, "GP4, pin 6", "screen"),
        "scl": (5, "GP5, pin 7", "screen"),
        "x_sck": (10, "GP10, pin 14", "bus, converters"),
        "x_mosi": (11, "GP11, pin 15", "bus, converters"),
        "x_miso": (8, "GP8, pin 11", "bus, converters"),
        "x_cs": (9, "GP9, pin 12", "converter x"),
        "bus_cs": (22, "GP22, pin 29", "bus"),
        "bus_int": (21, "GP21, pin 27", "bus"),
        "power_fail": (None, "GP20, pin 26", "for later firmware"),
    },
)

ESP32 = Board(
    "esp32",
    "ESP32 board with 38 pins",
    "board_esp32",
    {
        "VBOARD": (None, "5V (VIN)", "from D4 of the supply"),
        "3V3": (None, "3V3", "feeds everything called 3V3"),
        "GND": (None, "GND", "one star point at the supply's C2"),
        "AGND": (None, "star point, by a wire of its own", "everything on the node AGND, and nothing else"),
        "a0": (36, "IO36 (VP)", "analog"),
        "a1": (39, "IO39 (VN)", "analog"),
        "a2": (34, "IO34", "analog"),
        "a3": (35, "IO35", "analog"),
        "p0": (27, "IO27", "engine speed"),
        "p1": (15, "IO15", "second pulse input: wheel or driveshaft"),
        "d0": (26, "IO26", "digital input, free"),
        "button": (25, "IO25", "button"),
        "lamp": (33, "IO33", "lamp"),
        "buzzer": (4, "IO4", "buzzer"),
        "sck": (18, "IO18", "card"),
        "mosi": (23, "IO23", "card"),
        "miso": (19, "IO19", "card"),
        "cs": (5, "IO5", "card"),
        "sda": (21, "IO21", "screen"),
        "scl": (22, "IO22", "screen"),
        "x_sck": (14, "IO14", "bus, converters"),
        "x_mosi": (13, "IO13", "bus, converters"),
        "x_miso": (2, "IO2", "bus, converters"),
        "x_cs": (12, "IO12", "converter x"),
        "bus_cs": (32, "IO32", "bus"),
        "bus_int": (17, "IO17", "bus"),
        "power_fail": (None, "IO16", "for later firmware"),
    },
)

ALL = (RP2, ESP32)
