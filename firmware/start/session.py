"""A session begins: columns filled from the board's inputs, the card opened, the setup written. Once it runs, the
memory of this is given back.
"""

import memory
from acquire import expected, health, marks, rows
from shared_math import speed
from store import copier, recorder, setup_text, writer

_RETRY_ROUNDS = 400  # idle rounds between attempts to open a card


class Start:
    """logger: logger.Logger, which gets what recording needs."""

    def __init__(self, logger):
        self.logger = logger
        self.board = logger.board
        self.plan = logger.plan

    def begin(self):
        """All but the timer. MemoryError if what the plan asks for does not fit."""
        logger = self.logger
        board = self.board
        board.on_button(logger.button)
        plan = self.plan
        table = plan.table
        rate_hz = plan.config["rate_hz"]
        period_us = 1000000 // rate_hz
        bits = [column["b"] for column in table]
        setup = self._setup_text(period_us)
        queue, waiting, pack = memory.arrays(bits, rate_hz)
        if plan.bus:
            logger.bus = plan.bus.start(board)
        parts = self._sources(plan.config, table)
        logger.marks = marks.Marks(logger.button, rate_hz, plan.throttle, plan.crank())
        logger.button.tail = logger.button.head
        logger.health = health.Health(plan.supply)
        logger.expected = expected.Expected(plan.expected, plan.pairs)
        logger.sampler = rows.sampler(queue, period_us, parts, logger.marks, logger.lamp, board.ticks_us, logger.health)
        out, copies = self._files(setup, waiting)
        logger.recorder = recorder.Recorder(queue, pack, rate_hz, out, copies, logger.sampler)
        logger.revival = None  # while the card takes nothing
        logger.recorder.begin()
        logger.faults.begin(logger)
        logger.panel.begin(logger)
        board.watch()  # only now: making the rings of a large card takes its time

    def _setup_text(self, period_us):
        plan = self.plan
        return setup_text.build(self.board.name, self.board.utc(), period_us, plan.table, plan.faults, plan.text)

    def _files(self, setup, waiting):
        place = self._open_card()
        out = writer.DriveWriter(place, setup, waiting)
        if place.unusable:
            self.plan.faults.append(self.plan.number_of["ring_new"])
            out.tell(self._setup_text(1000000 // self.plan.config["rate_hz"]))
        copies = copier.PullCopier(out, place, self.plan.config["rate_hz"])
        copies.unkept = place.unkept
        return out, copies

    def _open_card(self):
        """Both rings, ready to go on; waits with a fault on the lamp while the card can't be used."""
        while True:
            try:
                return self._open_once()
            except OSError as error:
                self.logger.lamp.card = self.logger.faults.of_card(error.errno)
                self.logger.panel.stop(False)
            while not self._taken_anew():
                pass
            if not self.board.powered():
                self.board.end()
                raise SystemExit

    def _taken_anew(self):
        """Whether there is a card to be tried again, some time later."""
        board = self.board
        for _ in range(_RETRY_ROUNDS):
            self.logger.panel.waiting()
            board.idle()
        try:
            board.remount()
        except OSError as error:
            self.logger.lamp.card = self.logger.faults.of_card(error.errno)
            self.logger.panel.stop(False)
            return False
        return True

    def _open_once(self):
        place = self.logger.card()
        place.open()
        if not place.made_new:
            from store import complete

            complete.Completer(place).run()
        return place

    def _sources(self, settings, table):
        """What fills which column: (column, 0, function) or (column, 1, Tach); subscribes to the pulse inputs."""
        board = self.board
        parts = []
        for at in range(len(table)):
            role = table[at]["r"]
            channel = None
            for one in settings["channels"]:
                if one["name"] == table[at]["n"].split(".")[0]:
                    channel = one
            if channel is None:
                continue
            if role == "bus":
                if table[at - 1]["r"] != role:  # one fills them all
                    parts.append((at, 1, self.plan.bus.columns))
            elif channel["kind"] in ("obd", "can"):
                continue
            elif role == "adc":
                parts.append((at, 0, board.reader(channel)))
            elif role == "held":
                parts.append((at, 0, board.age(channel)))
            elif role == "digital":
                parts.append((at, 0, board.level(channel)))
            elif role == "count" and channel["kind"] == "pulse_width":
                parts.append((at, 1, board.pulse(channel, speed.glitch_limit_us(channel))))
            elif role == "count":
                parts.append((at, 1, board.tach(channel, speed.glitch_limit_us(channel))))
        return board.together(parts)
