"""Which fault the lamp has to tell, and whether it may say that it records: by what the card took, not by what was
tried."""

import errnos
from shared_math.compat import const

_SILENT_S = const(3)  # nothing was written for so long: a block is due every second
_BUSY_SECONDS = const(2)  # seconds in a row that lose rows: the board is too slow for what is asked of it


class Faults:
    """plan: of plan.py. lamp: panel.lamp.Lamp, whose `card`, `fault` and `taken` are kept here."""

    def __init__(self, plan, lamp):
        self.plan = plan
        self.lamp = lamp

    def begin(self, logger):
        """Recording begins."""
        self.recorder = logger.recorder
        self.marks = logger.marks
        self.silent_rows = _SILENT_S * logger.plan.config["rate_hz"]
        self.writes = 0
        self.written_row = 0
        self.lost = 0
        self.lost_seconds = 0
        self.overloaded = False
        self.open = False
        self.pull_lost = self.kept_lost = 0
        self.gap = False  # rows of the last pull are missing
        self.ring_new = False  # the card that came back had rings that could not be used
        self.lamp.taken = False
        if self.recorder.writer.dead:
            self.card_fell(self.recorder.writer.error)
        self.turn(0, None)

    def of_card(self, error):
        """Number of the fault for an errno of the card."""
        numbers = self.plan.number_of
        if error == errnos.ENOSPC:
            return numbers["card_full"]
        if error == errnos.EROFS or error == errnos.EACCES:
            return numbers["card_readonly"]
        if error == errnos.EEXIST:
            return numbers["storage_foreign"]
        if error == errnos.EMEDIUMTYPE:
            return numbers["card_format"]
        if error == errnos.ENODEV:
            return numbers["card_missing"]
        return numbers["card_dead"]

    def card_fell(self, error):
        """While recording the card did not take a write, or could not be opened again: a card that is out is one that
        stopped answering."""
        number = self.of_card(error)
        self.lamp.card = self.plan.number_of["card_dead"] if error == errnos.ENODEV else number

    def each_second(self, sampler):
        """Whether the board falls behind for seconds on end."""
        self.lost_seconds = self.lost_seconds + 1 if sampler.lost != self.lost else 0
        self.lost = sampler.lost
        self.overloaded = self.lost_seconds >= _BUSY_SECONDS

    def turn(self, row, trouble, untrue=None):
        """Once a turn of the main loop. trouble: name of a fault of the inputs, or None. untrue: of one by which no
        lambda can be trusted, or None."""
        lamp = self.lamp
        writer = self.recorder.writer
        if writer.writes != self.writes:
            self.writes = writer.writes
            self.written_row = row
            lamp.taken = True
            if not writer.dead:
                lamp.card = 0
        elif row - self.written_row >= self.silent_rows and not lamp.card:
            lamp.card = self.plan.number_of["card_dead"]
        self._pull()
        lamp.reading = self.plan.number_of[untrue] if untrue else 0
        if self.plan.faults:
            lamp.fault = self.plan.faults[0]
        elif self.ring_new:
            lamp.fault = self.plan.number_of["ring_new"]
        elif trouble:
            lamp.fault = self.plan.number_of[trouble]
        elif self.recorder.copier.unkept:
            lamp.fault = self.plan.number_of["pull_not_copied"]
        else:
            lamp.fault = self.plan.number_of["rows_lost"] if self.gap or self.overloaded else 0

    def _pull(self):
        lost = self.recorder.sampler.lost
        kept_lost = self.recorder.writer.outbox.kept_dropped
        if self.marks.open:
            if not self.open:
                self.open = True
                self.gap = False
                self.pull_lost = lost
                self.kept_lost = kept_lost
            return
        if self.open:
            self.open = False
            self.gap = lost != self.pull_lost and self.marks.real == self.marks.id
        if kept_lost != self.kept_lost:  # also of rows that waited for the card when the pull ended
            self.kept_lost = kept_lost
            self.gap = True
