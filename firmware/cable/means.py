"""Means of rows at the bench: taken by the logger's own row path and kept nowhere."""

from shared_math import cable_bench, layout, ticks

_COUNT_MASK = (1 << layout.COUNT_BITS) - 1
_AGE_MAX = (1 << layout.AGE_BITS) - 1


class Rows:
    """Rows of one column. logger: logger.Logger, which does not record."""

    def __init__(self, logger, name):
        self.logger = logger
        names = [column["n"] for column in logger.plan.table]
        self.at = names.index(name) + 1
        self.role = logger.plan.table[self.at - 1]["r"]
        self.period_us = 1000000 // logger.plan.config["rate_hz"]

    def take(self, rows):
        """A dictionary: see CABLE.md. ValueError where so many can't be taken."""
        if not 2 <= rows <= cable_bench.MOST_ROWS:
            raise ValueError
        logger = self.logger
        board = logger.board
        sampler = logger.sampler
        queue = sampler.queue
        self.seen = 0
        self.first = None
        skip = logger.plan.config["rate_hz"] // 5 + 1  # what was held or averaged before
        queue.tail = queue.head
        sampler.start(board.start_timer(self.period_us, sampler.take))
        try:
            while self.seen < rows and board.powered():
                board.feed()
                board.wait(queue, 1)
                board.loop()
                while queue.tail != queue.head and self.seen < rows:
                    if skip:
                        skip -= 1
                    else:
                        self._see(queue.cells, (queue.tail & queue.mask) * queue.stride)
                    queue.tail = (queue.tail + 1) & ticks.MASK
        finally:
            board.stop_timer()
            sampler.stop()
            queue.tail = queue.head
        return self._told()

    def _see(self, cells, at):
        value = cells[at + self.at]
        if self.role == "count":
            self._edge(cells[at], value, cells[at + self.at + 1], cells[at + self.at + 2])
        if self.seen == 0:
            self.base = self.least = self.most = self.ones = self.always = value
            self.sum = self.squares = 0
        off = value - self.base
        self.sum += off
        self.squares += off * off
        self.least = min(self.least, value)
        self.most = max(self.most, value)
        self.ones |= value
        self.always &= value
        self.seen += 1

    def _edge(self, row, count, age, refused):
        if self.seen == 0:
            self.refused = refused
        self.refused_last = refused
        if age >= _AGE_MAX:
            return
        edge_us = row * self.period_us - age
        if self.first is None:
            self.first = self.last = (count, edge_us)
        elif count != self.last[0]:
            self.last = (count, edge_us)

    def _told(self):
        told = {"rows": self.seen}
        if not self.seen:
            return told
        if self.role != "count":
            for key in ("base", "sum", "squares", "least", "most", "ones", "always"):
                told[key] = getattr(self, key)
            return told
        told["edges"] = told["us"] = 0
        told["refused"] = (self.refused_last - self.refused) & ((1 << layout.REJECTED_BITS) - 1)
        if self.first is not None:
            told["edges"] = (self.last[0] - self.first[0]) & _COUNT_MASK
            told["us"] = self.last[1] - self.first[1]
        return told
