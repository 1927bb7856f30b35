"""Lamp, lean warning, buzzer and screen: what is shown, decided a few times a second in the main loop."""

from shared_math import lean_watch

_LOOKS_HZ = 10


class Panel:
    """board: lamp, buzzer and screen are reached through it. given: what settings.read gave."""

    def __init__(self, board, lamp, given):
        settings = given[0]
        self.board = board
        self.lamp = lamp
        self.live = self.watch = self.screen = None
        self.lean = False
        self.sounding = False
        self.warns = settings["lean_warning"] is not False
        self.buzzes = self.warns and settings["lean_warning"]["buzzer"]
        self.live_module = None
        frame = board.screen() if given[4] is not None else None
        if self.warns or frame is not None:
            from panel import live

            self.live_module = live
        if frame is not None:
            from panel import screen

            self.screen = screen.Screen(frame, given[4], self)

    def begin(self, settings, table, logger, throttle):
        """Recording begins: the parts of `logger` that are shown."""
        self.sampler = logger.sampler
        self.queue = logger.sampler.queue
        self.marks = logger.marks
        rate_hz = settings["rate_hz"]
        self.every = max(1, rate_hz // _LOOKS_HZ)
        self.rate_hz = rate_hz
        self.number = -1  # of the row looked at last
        self.conditions_row = 0
        if self.live_module:
            self.live = self.live_module.Live(settings, table, throttle)
            self.watch = self._watch(settings)
        if self.screen:
            self.screen.begin(logger)
        self.lamp.show(True, False, False)

    def _watch(self, settings):
        """The lean watch, or None where something that it needs is not there."""
        live = self.live
        if lean_watch.lacking(settings):
            return None
        warm = [len(sensor[2].names) > 0 for sensor in live.sensors]
        given = settings["lean_warning"] or {"margin": lean_watch.MARGIN, "after_s": lean_watch.AFTER_S}
        return lean_watch.LeanWatch(len(warm), given["margin"], given["after_s"], live.unit == "kPa", warm)

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
        live.step(queue.cells, at, since)
        if live.conditions and number >= self.conditions_row:
            self.conditions_row = number + self.rate_hz
            live.look_at_conditions(queue.cells, at)
        watch = self.watch
        if watch:
            ms = since * 1000 // self.rate_hz if since < 1000000 else 1000000
            load = live.load if live.want is not None and live.want.load is not None else None
            on = watch.step(ms, live.rpm, load, live.wanted, live.throttle_closed, live.lambdas, live.rails)
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
