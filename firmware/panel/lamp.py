"""The lamp: one state, shown as a pattern of on and off that is told apart without colour."""

from shared_math import layout

# state -> eighths of a 2 s cycle that are lit, first bit first
_PATTERNS = {
    layout.LAMP_OFF: 0b00000000,
    layout.LAMP_RECORDING: 0b00000001,
    layout.LAMP_MARKING: 0b11111111,
    layout.LAMP_LEAN: 0b01010101,
    layout.LAMP_CARD_OUT: 0b00001111,
}


class Lamp:
    """`state` is a number of layout.LAMP_*, read by the row path; `lit(ms)` is what the pin shows."""

    def __init__(self):
        self.state = layout.LAMP_OFF
        self.fault = 0

    def show(self, recording, marking, card_out, lean=False):
        """Set the state. Lean comes before all that goes on while driving; a marked pull before a fault."""
        if card_out:
            self.state = layout.LAMP_CARD_OUT
        elif lean:
            self.state = layout.LAMP_LEAN
        elif marking:
            self.state = layout.LAMP_MARKING
        elif self.fault:
            self.state = layout.LAMP_FAULT + self.fault
        elif recording:
            self.state = layout.LAMP_RECORDING
        else:
            self.state = layout.LAMP_OFF

    def lit(self, ms):
        """Whether the lamp is on at `ms` milliseconds. A fault blinks its number: tens long, ones short, then a pause."""
        if self.state >= layout.LAMP_FAULT:
            return _fault_lit(self.state - layout.LAMP_FAULT, ms)
        return _PATTERNS[self.state] >> ((ms // 250) & 7) & 1 == 1


def _fault_lit(number, ms):
    """600 ms on for each ten, 200 ms on for each one, 400 ms off between, 2 s pause."""
    tens = number // 10
    ones = number % 10
    total = tens * 1000 + ones * 600 + 2000
    at = ms % total
    if at < tens * 1000:
        return at % 1000 < 600
    at -= tens * 1000
    return at < ones * 600 and at % 600 < 200
