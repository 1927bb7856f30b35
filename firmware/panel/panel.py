"""Lamp, lean warning, buzzer and screen: what is shown, decided a few times a second in the main loop."""

from panel import lamp

_LOOKS_HZ = 10


class Panel:
    """board: lamp, buzzer and screen are reached through it. plan: of plan.py."""

    def __init__(self, board, plan):
        self.board = board
        self.lamp = lamp.Lamp()
        self.live = plan.live
        self.watch = plan.watch
        self.warns = plan.warns
        self.buzzes = self.warns and plan.config["lean_warning"]["buzzer"]
        self.rate_hz = plan.config["rate_hz"]
        self.every = max(1, self.rate_hz // _LOOKS_HZ)
        self.lean = False
        self.sounding = False
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
        if self.screen:
            self.screen.begin(logger)
        self.lamp.show(True, False, False)

    def turn(self):
        """Once a turn of the main loop while recording."""
        if self.live and self.sampler.row - self.number > self.every:
            self._look()
        self.lamp.show(True, self.marks.open, False, self.lean)
        self.board.show_lamp(self.lamp)
        if self.buzzes and self.lean != self.sounding:
            self.sounding = self.lean
            self.board.buzzer(self.lean)
        if self.screen:
            self.screen.turn()

    def _look(self):
        """At the newest row. Nothing is allocated but once a second for a target with conditions."""
        queue = self.queue
        at = ((queue.head - 1) & queue.mask) * queue.stride
        number = queue.cells[at]
        since = number - self.number
        if since <= 0 or queue.head == 0:
            return  # no new row: the queue is full, or none was taken yet
        self.number = number
        live = self.live
        if live.conditions and number >= self.conditions_row:
            self.conditions_row = number + self.rate_hz
            live.want = live.conditions.want(queue.cells, at, live.speeds)
        live.step(queue.cells, at, since)
        watch = self.watch
        if watch:
            ms = since * 1000 // self.rate_hz if since < 1000000 else 1000000
            load, closed = live.target_load(), live.throttle_closed
            on = watch.step(ms, live.rpm, load, live.wanted, closed, live.lambdas, live.rails)
            self.lean = on and self.warns
        if self.screen:
            self.screen.look()

    def waiting(self):
        """Once a turn while nothing is recorded: no card, or the card may be taken out."""
        self.board.show_lamp(self.lamp)
        if self.screen:
            self.screen.turn()

    def stop(self, card_out):
        """Recording is over or can't begin: no warning stays on."""
        self.lean = False
        if self.sounding:
            self.sounding = False
            self.board.buzzer(False)
        self.lamp.show(False, False, card_out)
        if self.screen:
            self.screen.stopped(card_out)
        self.waiting()
