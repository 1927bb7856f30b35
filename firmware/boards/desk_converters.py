"""The desk board's external converters: their range, sign, noise, and held values where they are slow."""

from acquire import held
from shared_math import converters

_QUIET = {"mcp3208": 2, "mcp3304": 2, "ads1115": 5}  # halvings of the noise of the board's own converter


class DeskConverters:
    """fitted: letter -> part. board: the desk board."""

    def __init__(self, fitted, board):
        self.fitted = fitted
        self.board = board
        self.slow = {}  # channel's name -> (function that measures, held.Held)

    def converter(self, name, reference_v):
        """(bits, volts from the lowest to the highest count, skew in microseconds) of an input."""
        return converters.scale(self.fitted[name[0]], reference_v) + (0,)

    def reader(self, channel):
        """A function without arguments that gives the channel's counts: measured now, or the last that was held."""
        part = self.fitted[channel["input"][0]]
        bits = converters.scale(part, 0)[0]
        read = self.board.sampler(channel, bits, _QUIET[part], 0x8000 if converters.signed(part) else 0)
        if not converters.slow(part):
            return read
        value = held.Held(1 << (bits - 1), self.board.ticks_us)
        self.slow[channel["name"]] = read, value
        return value.read

    def age(self, channel):
        """A function without arguments: milliseconds since the value held for a channel was measured."""
        return self.slow[channel["name"]][1].age

    def loop(self):
        """Once a turn of the main loop: what slow converters measure now is held."""
        for read, value in self.slow.values():
            value.put(read(), self.board.ticks_us())
