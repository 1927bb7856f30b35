"""The logger: configuration, queue, files and handlers put together, and the loop that runs them."""

import gc

import errnos
import memory
from acquire import button, expected, health, marks, rows
from shared_math import speed, ticks
from store import card, copier, recorder, writer

_LAMP_HZ = 20  # with fewer rows a second the loop turns without them: the lamp's flashes last a quarter of one
_RETRY_S = 2  # between attempts to get a dead card back
_RETRY_ROUNDS = 400  # idle rounds between attempts to open a card at the start
_EACH_ROW_HZ = 200  # up to here the loop turns for every row
_TURNS_HZ = 25  # and so often where rows come faster


class Logger:
    """board: an object of boards/ (see boards/desk.py for what it must offer). plan: of plan.py. panel: panel.Panel."""

    def __init__(self, board, plan, panel):
        self.board = board
        self.plan = plan
        self.panel = panel
        self.lamp = panel.lamp
        self.button = button.Button()

    def run(self):
        """Once started, record until the board's power goes; a long press finishes the card, a press goes on."""
        board = self.board
        while True:
            try:
                self.record()
                self.finish()
                self.wait_for_press()
            except MemoryError:  # whatever wanted it: begin again, with the whole heap
                self._drop()
            # A board that can't reset itself needs the room
            self.recorder = self.sampler = self.marks = self.health = None
            if not board.powered():
                board.end()
                return
            board.restart()
            self.start()

    def _drop(self):
        """Write what is held, if memory suffices for that."""
        gc.collect()
        try:
            self.finish()
        except MemoryError:
            pass

    def start(self):
        """Open the card, write the setup, start the timer. MemoryError if what the plan asks for does not fit."""
        board = self.board
        board.on_button(self.button)
        plan = self.plan
        table = plan.table
        rate_hz = plan.config["rate_hz"]
        period_us = 1000000 // rate_hz
        bits = [column["b"] for column in table]
        setup = self._setup_text(period_us)
        queue, waiting, pack = memory.arrays(bits, rate_hz)
        parts = self._sources(plan.config, table)
        self.marks = marks.Marks(self.button, rate_hz, plan.throttle, plan.crank())
        self.button.tail = self.button.head
        self.health = health.Health(plan.supply)
        self.expected = expected.Expected(plan.expected)
        self.sampler = rows.sampler(queue, period_us, parts, self.marks, self.lamp, board.ticks_us, self.health)
        out, copies = self._files(setup, waiting)
        self.recorder = recorder.Recorder(queue, pack, rate_hz, out, copies, self.sampler)
        self.recorder.begin()
        self.lamp.fault = plan.faults[0] if plan.faults else 0
        self.panel.begin(self)
        board.watch()  # only now: making the rings of a large card takes its time
        memory.settle()
        self.health.look_at_heap()
        take = self.sampler.take  # pyright: ignore[reportAttributeAccessIssue]
        self.sampler.start(board.start_timer(period_us, take))

    def _setup_text(self, period_us):
        from store import setup_text

        plan = self.plan
        return setup_text.build(self.board.name, self.board.utc(), period_us, plan.table, plan.faults, plan.text)

    def _files(self, setup, waiting):
        place = self.open_card()
        out = writer.DriveWriter(place, setup, waiting)
        if place.unusable:
            self.plan.faults.append(self.plan.number_of["ring_new"])
            out.tell(self._setup_text(1000000 // self.plan.config["rate_hz"]))
        return out, copier.PullCopier(out, place, self.plan.config["rate_hz"])

    def open_card(self):
        """Both rings, ready to go on; waits with a fault on the lamp while the card can't be used."""
        board = self.board
        while True:
            try:
                return self._open_once()
            except OSError as error:
                self.lamp.fault = self._fault_of(error)
                self.panel.stop(False)
            for _ in range(_RETRY_ROUNDS):
                self.panel.waiting()
                board.idle()
            board.remount()

    def _card(self):
        board = self.board
        return card.Card(board.medium(), board.drive_slots, board.pulls_slots, board.entropy)

    def _open_once(self):
        place = self._card()
        place.open()
        if not place.made_new:
            from store import complete

            complete.Completer(place).run()
        return place

    def _fault_of(self, error):
        numbers = self.plan.number_of
        if error.errno == errnos.ENOSPC:
            return numbers["card_full"]
        if error.errno == errnos.EROFS or error.errno == errnos.EACCES:
            return numbers["card_readonly"]
        if error.errno == errnos.EEXIST:
            return numbers["storage_foreign"]
        if error.errno == errnos.ENODEV:
            return numbers["card_missing"]
        return numbers["card_dead"]

    def record(self):
        """The main loop: nothing here may be needed for a row to be taken in time."""
        board = self.board
        health_ = self.health
        retry_row = look_row = 0
        sampler = self.sampler
        queue = sampler.queue
        rate_hz = self.plan.config["rate_hz"]
        enough = 1 if rate_hz >= _LAMP_HZ else 0  # rows that a turn is worth
        if rate_hz > _EACH_ROW_HZ:
            enough = rate_hz // _TURNS_HZ
        while board.powered() and not self.marks.stop_wanted:
            board.feed()
            if not board.wait(queue, enough):
                continue
            woke = board.ticks_us()
            self.recorder.poll(board.card_ready())
            sampler.look()
            self.button.look()
            if self.recorder.writer.dead and sampler.row >= retry_row:
                self.lamp.fault = self.plan.number_of["card_dead"]
                retry_row = sampler.row + _RETRY_S * rate_hz
                self.revive()
            board.loop()
            if sampler.row >= look_row:
                look_row = sampler.row + rate_hz
                if self.expected.look(queue):
                    board.trouble = "reference_off"
            if board.trouble and not self.lamp.fault:
                self.lamp.fault = self.plan.number_of[board.trouble]
            self.panel.turn()
            health_.worked((board.ticks_us() - woke) & ticks.MASK)

    def revive(self):
        """Try to get the card back, or to go on with another one; rows wait in the outbox meanwhile."""
        out = self.recorder.writer
        self.board.unwatch()  # another card's rings may have to be made
        try:
            self.board.remount()
            place = self._card()
            place.open()
        except OSError:
            return
        finally:
            self.board.watch()
        same = place.ring_id == out.ring_id and not place.made_new
        out.bind(place, same)
        self.recorder.copier.bind(place, same)
        self.lamp.fault = self.plan.faults[0] if self.plan.faults else 0
        if place.unusable:
            self.lamp.fault = self.plan.number_of["ring_new"]

    def finish(self):
        """Stop sampling and write what is held."""
        self.board.stop_timer()
        self.sampler.stop()
        self.recorder.finish(self.board.feed)
        self.panel.stop(True)

    def wait_for_press(self):
        """The card may be out: touch nothing until the button is pressed again."""
        board = self.board
        button_ = self.button
        while button_.pressed and board.powered():
            board.idle()
            board.feed()
        button_.tail = button_.head
        while board.powered() and button_.tail == button_.head:
            board.idle()
            board.feed()
            self.panel.waiting()

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
            if role == "adc":
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
