"""The desk board with somebody at its bench: known signals at its inputs, a loop-back wire, and resets."""

import json
import sys

from boards import desk
from shared_math.compat import const
from store import fatfile

_FOREVER = const(1 << 60)
_RESET = const(64)  # exit code: the PC starts it anew


class Seen:
    """A lamp whose patterns stand in a file, one a line."""

    def __init__(self, path):
        self.path = path
        self.shown = None

    @property
    def pattern(self):
        """(milliseconds of a step, steps)."""
        return self.shown

    @pattern.setter
    def pattern(self, pattern):
        self.shown = pattern
        with open(self.path, "a") as f:
            f.write("%d %s\n" % (pattern[0], "".join([str(step) for step in pattern[1]])))


class BenchDesk(desk.DeskBoard):
    """The job's `source`, or None, is a file that changes meanwhile: channel -> 65536ths of its converter's range. Its
    `loop` tells whether a wire leads from the frequency output to the first pulse input; `held`, whether the button is
    held at the first start and let go after so many microseconds. While there is a file with the source's name and
    ".press" behind it, the button is pressed. `lamp`: a file for what the lamp shows."""

    proves = True
    loop_us = 0  # between two edges of the loop-back wire; 0: never used

    def __init__(self):
        self.at_source = {}
        super().__init__()
        if self.job.get("lamp"):
            self.light = Seen(self.job["lamp"])

    def on_button(self, button):
        super().on_button(button)
        if self.job.get("held"):
            button.level = lambda: self.now < self.job["held"]
        elif self.job.get("source"):
            button.level = lambda: fatfile.exists(self.job["source"] + ".press")

    def sampler(self, channel, bits, quiet, zero):
        if not self.job.get("source"):
            return super().sampler(channel, bits, quiet, zero)
        shift, top, name = 16 - bits, (1 << bits) - 1, channel["name"]
        return lambda: self._convert(self.at_source.get(name, 0), shift, top, quiet)

    def start_timer(self, period_us, handler):
        if self.job.get("source"):
            with open(self.job["source"]) as f:
                self.at_source = json.load(f)
        return super().start_timer(period_us, handler)

    def output(self, what, value):
        """See boards/generic.py."""
        if what != "hz" or not self.job.get("loop"):
            return False
        self.loop_us = 1000000 // value if value else _FOREVER
        self.event_input = 0
        self.event_us = self.now + self.loop_us
        return True

    def _next_event(self):
        if self.loop_us:
            self.event_us += self.loop_us
        else:
            super()._next_event()

    def reset(self):
        """Begin again as after power-on."""
        sys.exit(_RESET)
