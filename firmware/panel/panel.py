"""Lamp, lean warning, buzzer and screen: what is shown, decided a few times a second in the main loop. The card plays
no part."""

from panel import lamp
from shared_math import layout, pace

_LAMP_HZ = 40  # looks at what the lamp is to tell


class Panel:
    """board: lamp, buzzer and screen are reached through it. plan: of plan.py."""

    def __init__(self, board, plan):
        self.board = board
        self.lamp = lamp.Lamp(board.light)
        self.live = plan.live
        self.watch = plan.watch
        self.warns = plan.warns
        self.buzzes = self.warns and plan.config["lean_warning"]["buzzer"]
        self.rate_hz = plan.config["rate_hz"]
        self.every = max(1, self.rate_hz // pace.LOOKS_HZ)
        if self.rate_hz > pace.SLOWER_FROM_HZ:  # at every turn: at every second one it would be too seldom
            self.every = self.rate_hz // (2 * pace.SLOW_TURNS_HZ)
        self.lamp_every = self.rate_hz // _LAMP_HZ
        self.lean = False
        self.screen = None
        if plan.frame is not None:
            from panel import screen

            self.screen = screen.Screen(plan.frame, plan.words, self)

    def begin(self, logger):
        """Recording begins: the parts of `logger` that are shown."""
        self.sampler = logger.sampler
        self.queue = logger.sampler.queue
        self.marks = logger.marks
        self.number = -1  # of the row looked at last
        self.conditions_row = 0
        self.lamp_row = 0
        self.marked = False
        if self.live:
            self.live.begin()
        if self.screen:
            self.screen.begin(logger)
        self.lamp.show()

    def turn(self):
        """Once a turn of the main loop while recording; most turns only count rows. The screen has a turn of its
        own."""
        row = self.sampler.row
        if row - self.number > self.every:
            self._look()
        if row - self.lamp_row >= self.lamp_every or self.marks.open != self.marked:
            self.lamp_row = row
            self.marked = self.marks.open
            self.lamp.show(self.marked, self.lean, self.marks.tells_end(row))

    def _look(self):
        """At the newest row. Nothing is allocated but once a second for a target with conditions."""
        queue = self.queue
        at = ((queue.head - 1) & queue.mask) * queue.stride
        number = queue.cells[at]
        since = number - self.number
        if since <= 0 or queue.head == 0:
            return  # no new row: the queue is full, or none was taken yet
        self.number = number
        if self.live:
            self._judge(queue.cells, at, number, since)
        if self.screen:
            self.screen.look()

    def _judge(self, cells, at, number, since):
        live = self.live
        if live.conditions and number >= self.conditions_row:
            self.conditions_row = number + self.rate_hz
            live.want = live.conditions.want(cells, at, live.speeds)
        live.step(cells, at, since)
        watch = self.watch
        if watch:
            ms = since * 1000 // self.rate_hz if since < 1000000 else 1000000
            load = live.target_load()
            on = watch.step(ms, live.rpm, load, live.wanted, live.opening, live.lambdas, live.rails, live.pressure)
            if self.warns and on != self.lean:
                self.lean = on
                self.lamp_row = number - self.lamp_every  # the lamp tells it in this turn
                if self.buzzes:
                    self.board.buzzer(on)

    def waiting(self):
        """Once a turn while nothing is recorded: no card, or the card may be taken out."""
        if self.screen:
            self.screen.turn()

    def stop(self, card_out):
        """Recording is over or can't begin: no warning stays on."""
        if self.lean:
            self.lean = False
            if self.buzzes:
                self.board.buzzer(False)
        if card_out:
            self.lamp.set(layout.LAMP_CARD_OUT)
        else:
            self.lamp.show()
        if self.screen:
            self.screen.stopped(card_out)
        self.waiting()
