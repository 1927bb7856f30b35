"""The logger: configuration, queue, files and handlers put together, and the loop that runs them."""

import gc

import memory
from acquire import button, expected, health, marks, rows
from panel import faults
from shared_math import pace, speed, ticks
from store import card, copier, recorder, writer

_TURN_HZ = 20  # with fewer rows a second the loop turns without them
_BESIDE_US = 4000  # while the card is waited for, the rest of the loop turns so often
_STOP_S = 2  # a long press waits so long at most for the row that tells of it
_RETRY_ROUNDS = 400  # idle rounds between attempts to open a card at the start


class Logger:
    """board: an object of boards/ (see boards/desk.py for what it must offer). plan: of plan.py. panel: panel.Panel."""

    def __init__(self, board, plan, panel):
        self.board = board
        self.plan = plan
        self.panel = panel
        self.lamp = panel.lamp
        self.button = button.Button()
        self.faults = faults.Faults(plan, self.lamp)
        self.beside = False
        self.turned = 0

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
        self.revival = None  # while the card takes nothing
        self.recorder.begin()
        self.faults.begin(self)
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
        while True:
            try:
                return self._open_once()
            except OSError as error:
                self.lamp.card = self.faults.of_card(error.errno)
                self.panel.stop(False)
            while not self._taken_anew():
                pass

    def _taken_anew(self):
        """Whether there is a card to be tried again, some time later."""
        board = self.board
        for _ in range(_RETRY_ROUNDS):
            self.panel.waiting()
            board.idle()
        try:
            board.remount()
        except OSError as error:
            self.lamp.card = self.faults.of_card(error.errno)
            self.panel.stop(False)
            return False
        return True

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

    def record(self):
        """The main loop: nothing here may be needed for a row to be taken in time, and nothing waits for the card."""
        board = self.board
        health_ = self.health
        sampler = self.sampler
        queue = sampler.queue
        rate_hz = self.plan.config["rate_hz"]
        enough = 1 if rate_hz >= _TURN_HZ else 0  # rows that a turn is worth
        if rate_hz > pace.SLOWER_FROM_HZ:
            enough = rate_hz // pace.SLOW_TURNS_HZ
        elif rate_hz > pace.MOST_TURNS_HZ:
            enough = (rate_hz + pace.MOST_TURNS_HZ - 1) // pace.MOST_TURNS_HZ
        self.look_row = 0
        self.beside = False
        self.tried = -1  # writes taken when the card was last thought to be back
        board.meanwhile = self.meanwhile
        while board.powered() and not self._stopped():
            board.feed()
            if not board.wait(queue, enough):
                continue
            woke = board.ticks_us()
            self.turn()
            self._card_work(woke)
            if self.panel.screen:
                self.panel.screen.turn()
            health_.worked((board.ticks_us() - woke) & ticks.MASK)

    def _stopped(self):
        """Whether a long press was made, and a row that tells of it is packed."""
        marks_ = self.marks
        if not marks_.stop_wanted:
            return False
        waited = self.sampler.row - marks_.stop_row
        return self.recorder.holds(marks_) or waited > _STOP_S * self.plan.config["rate_hz"]

    def turn(self):
        """What has to be done beside the card, however long that takes."""
        board = self.board
        sampler = self.sampler
        self.recorder.pack()
        sampler.look()
        self.button.look()
        board.loop()
        if sampler.row >= self.look_row:
            self.look_row = sampler.row + self.plan.config["rate_hz"]
            if self.expected.look(sampler.queue):
                board.trouble = "reference_off"
            self.faults.each_second(sampler)
        self.faults.turn(sampler.row, board.trouble)
        self.panel.turn()
        self.turned = board.ticks_us()

    def meanwhile(self):
        """Called by whoever waits for the card, or has many accesses to make."""
        if self.beside or (self.board.ticks_us() - self.turned) & ticks.MASK < _BESIDE_US:
            return
        self.beside = True
        self.board.feed()
        self.turn()
        self.beside = False

    def _card_work(self, now):
        """Write or copy a little where the card is ready; where it takes nothing any more, a step to get one that does."""
        recorder_ = self.recorder
        out = recorder_.writer
        if not out.dead:
            ready = self.board.card_ready()
            self.health.waits(not ready, now)
            recorder_.poll(ready)
            if out.dead:
                self.faults.card_fell(out.error)
            return
        if self.revival is None:
            from store import revival  # given back while recording, see memory.settle

            self.revival = revival.Revival(self.board, out, self._card, self.tried)
            return
        back = self.revival.step()
        if self.revival.error:
            self.faults.card_fell(self.revival.error)
        if back:
            place = self.revival.place
            if place is None:
                out.go_on()
            else:
                same = place.ring_id == out.ring_id and not place.made_new
                out.bind(place, same)
                recorder_.copier.bind(place, same)
                self.faults.ring_new = place.unusable
            self.tried = out.writes
            self.revival = None
            memory.forget_opening()

    def finish(self):
        """Stop sampling and write what is held."""
        self.board.stop_timer()
        self.sampler.stop()
        self.recorder.finish(self.board.feed)
        self.board.meanwhile = None
        if self.recorder.writer.dead:
            self.faults.card_fell(self.recorder.writer.error)
        self.panel.stop(not self.recorder.writer.dead)

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
