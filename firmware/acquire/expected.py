"""Inputs with a known value, such as a reference voltage: if one is off, no measurement can be trusted."""


class Expected:
    """ranges: (column + 1, lowest counts, highest counts) of each such channel."""

    def __init__(self, ranges):
        self.ranges = ranges
        self.off = False

    def look(self, queue):
        """From the main loop, once a second: whether an input is out of its range now and was at the last look."""
        at = ((queue.head - 1) & queue.mask) * queue.stride
        before = self.off
        self.off = False
        for column, low, high in self.ranges:
            if not low <= queue.cells[at + column] <= high:
                self.off = True
        return before and self.off
