"""Inputs that must read what is known of them: a reference voltage, or a wire that another input measures too."""


class Expected:
    """ranges: (column + 1, lowest counts, highest counts) of each channel with a known value.

    pairs: of each wire that two inputs measure, for both (column + 1, lowest, highest counts at which it measures,
    parts per count), then how far the first is above the second where both have 0 counts, and from where to where
    that may be. All in parts of a volt that a pair has of its own.
    """

    def __init__(self, ranges, pairs=()):
        self.ranges = ranges
        self.pairs = pairs
        self.off = self.apart = False
        self.told = None  # name of the fault that was found, until the next start

    def look(self, queue):
        """From the main loop, once a second: an input that is off now and was at the last look is told."""
        at = ((queue.head - 1) & queue.mask) * queue.stride
        cells = queue.cells
        before = self.off
        before_apart = self.apart
        self.off = self.apart = False
        for column, low, high in self.ranges:
            if not low <= cells[at + column] <= high:
                self.off = True
        for one, other, above, least, most in self.pairs:
            column, low, high, parts = one
            first = cells[at + column]
            if low <= first <= high:
                above += first * parts
                column, low, high, parts = other
                second = cells[at + column]
                if low <= second <= high and not least <= above - second * parts <= most:
                    self.apart = True
        if before and self.off:
            self.told = "reference_off"
        elif before_apart and self.apart and self.told is None:
            self.told = "wires_apart"
