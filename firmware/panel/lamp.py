"""The lamp: one state, shown as a pattern of on and off that is told apart without colour."""

from shared_math import layout

_NONE = (250, b"\0")
# state -> milliseconds of a step, steps of the pattern
_PATTERNS = {
    layout.LAMP_OFF: _NONE,
    layout.LAMP_RECORDING: (250, b"\1\0\0\0\0\0\0\0"),
    layout.LAMP_MARKING: (250, b"\1"),
    layout.LAMP_LEAN: (250, b"\1\0"),
    layout.LAMP_CARD_OUT: (250, b"\1\1\1\1\0\0\0\0"),
    layout.LAMP_STARTING: (250, b"\1\0\1\0\0\0\0\0"),  # as in boards/light.py, which is there before this module
    layout.LAMP_ENDED: (250, b"\1\0\1\0\1\0\0\0"),
}


class Lamp:
    """`state` is a number of layout.LAMP_*, read by the row path. light: has the `pattern` that the pin shows.

    card: number of the fault for which the card takes nothing, or 0. reading: of one by which no lambda can be
    trusted, or 0. fault: of any other fault, or 0. taken: whether the session has written something yet.
    """

    def __init__(self, light):
        self.light = light
        self.state = layout.LAMP_STARTING
        self.card = 0
        self.reading = 0
        self.fault = 0
        self.taken = False

    def number(self):
        """The fault that the driver is to be told, or 0."""
        return self.card or self.reading or self.fault

    def show(self, marking=False, lean=False, ended=False):
        """While recording. Lean comes first; then a card that takes nothing, since no mark can be kept on it; then a
        lambda that can't be trusted, which no pull may be made by; then marks."""
        if lean:
            self.set(layout.LAMP_LEAN)
        elif self.card:
            self.set(layout.LAMP_FAULT + self.card)
        elif self.reading:
            self.set(layout.LAMP_FAULT + self.reading)
        elif marking:
            self.set(layout.LAMP_MARKING)
        elif ended:
            self.set(layout.LAMP_ENDED)
        elif self.fault:
            self.set(layout.LAMP_FAULT + self.fault)
        else:
            self.set(layout.LAMP_RECORDING if self.taken else layout.LAMP_STARTING)

    def set(self, state):
        """Show this state from now on. Allocates where a fault is new."""
        if state != self.state:
            self.state = state
            self.light.pattern = pattern_of(state)


def pattern_of(state):
    """(milliseconds of a step, steps): of a fault its number: 600 ms for each ten, 200 ms for each one, a pause of 2
    s."""
    if state < layout.LAMP_FAULT:
        return _PATTERNS[state]
    number = state - layout.LAMP_FAULT
    return 200, b"\1\1\1\0\0" * (number // 10) + b"\1\0\0" * (number % 10) + bytes(10)
