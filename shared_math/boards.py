"""The facts about each board that checks, questions and advice need. Pins are in firmware/boards/pin_table.py.

A board that is not listed here can still be used: its configuration is checked like that of the generic board.
"""

TITLES = {"rp2": "RP2040", "rp2350": "RP2350", "esp32": "ESP32", "generic": "any other"}
# Boards that time edges in hardware and take rows by a hard timer
STAMPING = ("rp2", "rp2350")
# Each board's own inputs, as in its wiring table
INPUTS = dict.fromkeys(("rp2", "rp2350", "esp32"), ("a0", "a1", "a2", "a3", "p0", "p1", "d0"))
# The input without a pin, which measures a third of the board's own supply
OWN_SUPPLY = dict.fromkeys(STAMPING, "a3")
# Range in volts of a board's own converter at its pin (maker's figure for the widest range, from memory)
LEAST_V = {"esp32": 0.15}

INTERRUPT_PERIOD_US = 500  # 2000 edges a second: as many as pin interrupts can handle beside everything else
SHORTEST_PERIOD_US = 100  # 10,000 edges a second: more than any pin interrupt can handle
STAMPED_PERIOD_US = 50  # if edges are timed in hardware; 15,000 rpm at 60 pulses a turn is 66
MOST_STAMPS = 1008  # edge times that are kept between two rows

# Microseconds of the RP2040's time at 125 MHz, computed from shares of time measured with the whole compiled firmware
# on the emulator rp2040js 1.4.1 (MicroPython 1.28.0); tests/host/commands/test_load.py has the shares. Started from
# sources, the board compiles the same code itself, but for the interrupt of the car's bus. The questions to the car's
# computer: rp2040py, tests/emulated/RESULTS.md. spread: misses of the flash cache, which the emulator does not model
# ("some 30 % more" in tests/emulated/RESULTS.md). screen_share: 0.015 measured for drawing, and five pictures a second
# of 1 kB on a bus of 400 kHz, which the processor waits for.
COSTS = {
    "rp2": {
        "turn_us": 1341,
        "row_us": 314,  # with four inputs of its own and a tach
        "input_us": 0,
        "edge_us": 95,  # that interrupts
        "converter_us": 46,  # with what its column costs
        "look_us": 2090,
        "screen_share": 0.13,
        "question_us": 5790,  # to the car's computer, with what its values' columns cost in rows
        "value_us": 952,  # of each value in an answer
        "spread": 1.3,
    },
    # The same chip with only pins, soft timer and interrupts
    "generic": {
        "turn_us": 1265,
        "row_us": 173,
        "input_us": 46,  # with a tach's share
        "edge_us": 95,
        "converter_us": 71,
        "look_us": 2090,  # and the screen as above
        "screen_share": 0.13,
        "question_us": 5790,  # as above, not measured on these boards
        "value_us": 952,
        "spread": 1.3,
    },
}
# Board -> the board whose costs are used for want of its own. The RP2350 runs the RP2040's firmware faster;
# the ESP32, at 160 MHz or more, the generic board's
COSTS_OF = {"rp2": "rp2", "rp2350": "rp2", "esp32": "generic"}
