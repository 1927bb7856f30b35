"""What the boards' pins bear, and what is assumed of the board's converter. All from memory of the makers' data
sheets."""

from dataclasses import dataclass

from shared_math import front_end


@dataclass(frozen=True)
class Converter:
    """A board's own converter. Volts at its pin: error_v half-width of a reading, bend_v what of it no straight line
    takes away; reference: half-width of its reference, as a share; pin_v: from where to where it measures."""

    error_v: float
    bend_v: float
    reference: float
    pin_v: tuple[float, float]


# Volts at an analog pin with the board powered. RP2040: -0.5 V to 0.5 V above its 3.3 V; ESP32: -0.3 V to 0.3 V above.
# The lower figure for ESP32 counts where the current into the pin is not limited: R3 lets through 0.2 mA at -0.5 V.
PIN_V = (-0.5, 3.6)
PIN_OFF_MA = 1.0  # into a pin of an unpowered board, through its own protection diodes
GATE_V = (-0.5, 3.8)  # input of a 74HC gate at 3.3 V
RAIL_BACK_MA = 15.0  # what may flow back into the 3.3 V rail: less than the board alone always draws
BOARD_V = 5.5  # most at the board's supply pin
BOARD_LEAST_V = {"rp2": 1.8, "esp32": 4.3}  # its own regulator still gives 3.3 V
BOARD_MA = 100.0  # most that board, card and lamp draw on average

_COUNT_V = front_end.REFERENCE_V / 4096
# RP2040: the counts that the firmware states in drivers/rp2_chip.py. ESP32: calibrated in the factory to 60 mV between
# 0.15 and 2.45 V, bent by 12 counts; below that it reads nothing
CONVERTERS = {
    "rp2": Converter(
        15 * _COUNT_V,
        5 * _COUNT_V,
        front_end.REFERENCE_TOLERANCE,
        (0.0, front_end.REFERENCE_V * (1 - front_end.REFERENCE_TOLERANCE)),
    ),
    "esp32": Converter(0.060, 0.010, 0.0, (0.15, 2.45)),
}
LEAKAGE_A = 0.5e-6  # into or out of the analog pin, hot
CLAMP_LEAKAGE_A = 0.1e-6  # of a pair of clamp transistors, hot
OFFSET_V_PER_K = 5e-6
TEMPERATURES_DEGC = (
    front_end.TEMPERATURES_DEGC[0],
    front_end.CALIBRATED_AT_DEGC,
    front_end.TEMPERATURES_DEGC[1],
)
