"""The desk board's slow card: a long write must not need memory that a board would not need."""

import gc

from boards.desk import DeskBoard


class Writing:
    """A desk board during one write of half a second that runs no interrupts."""

    _write_soft = DeskBoard._write_soft  # pyright: ignore[reportAssignmentType]

    def __init__(self):
        self.now = self.timer_at = 0
        self.period_us = 1000
        self.event_us = 1 << 60
        self.calls = 0
        self.handler = self.count

    def count(self, _timer):
        self.calls += 1

    def _write_ends(self):
        return 500000


def test_a_long_write_keeps_as_few_interrupts_as_a_port_does():
    writing = Writing()
    gc.collect()
    gc.disable()
    before = gc.mem_alloc()  # pyright: ignore[reportAttributeAccessIssue]
    writing._write_soft()
    took = gc.mem_alloc() - before  # pyright: ignore[reportAttributeAccessIssue]
    gc.enable()
    assert writing.calls == 8 and writing.timer_at == 501000
    assert took < 2048, took
