"""The logger: configuration, queue, files and handlers put together, and the loop that runs them."""

# What session.Start gives the logger is None before it:
# pyright: reportAttributeAccessIssue=false

import gc

import errnos
import memory
from acquire import button
from panel import faults
from shared_math import layout, pace, ticks
from shared_math.compat import const

_TURN_HZ = 20  # with fewer rows a second the loop turns without them
_BESIDE_US = 4000  # while the card is waited for, the rest of the loop turns so often
_LAST_ROW = const(0x3F000000)  # of a session: 61 days at 200 Hz, 12 at 1000. A greater number is a heap object
_SHORT = (MemoryError, RuntimeError)  # of heap, of stack
_HELD_US = const(10000000)
_STOP_S = 2  # a long press waits so long at most for the row that tells of it


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
        self.leaving = False  # the PC wants the board's prompt
        self.stopped = False  # the card may be out
        self.talk = None  # what answers the PC, once it has asked
        self.bus = None  # bus.car.Car, where logger.json has channels of the car's bus

    def run(self):
        """Once started, record until the board's power goes; a long press finishes the card, a press goes on."""
        board = self.board
        while True:
            try:
                self.record()
                self.finish()
                if not self.leaving and not self.ran_out():
                    self.wait_for_press()
                if self.leaving:
                    self._leave()
            except _SHORT:  # whatever wanted it: begin again, with all of it
                self._drop()
            # A board that can't reset itself needs the room
            self.recorder = self.sampler = self.marks = self.health = self.talk = None
            if not board.powered():
                board.end()
                return
            board.restart()
            self.start()

    def _leave(self):
        """All is written, and the PC wants the board's prompt, or its inputs and its card for a while."""
        self.talk.leave()
        if not self.talk.to_bench:
            raise KeyboardInterrupt
        self.give_back()
        try:
            from cable import bench

            bench.Bench(self).serve()
        except _SHORT:  # nothing may keep the logger from recording
            pass
        if self.board.powered():
            self.released()  # held on at a start it would ask for a test
            self.board.reset()

    def give_back(self):
        """The room of what records: all is written."""
        self.recorder = self.faults.recorder = self.revival = None
        self.board.meanwhile = None
        gc.collect()

    def _drop(self):
        """Write what is held, if memory suffices for that."""
        gc.collect()
        try:
            self.finish()
        except _SHORT:
            pass

    def start(self):
        """Open the card, write the setup, start the timer. MemoryError if what the plan asks for does not fit."""
        self._open()
        if self.button.level() and self.board.proves:  # at power-on
            self.lamp.set(layout.LAMP_STARTING)
            if self.released():
                from cable import alone

                alone.run(self)
        if self.button.level():  # stuck
            self.button.is_held(self.board.ticks_us())
        memory.settle()
        self.health.look_at_heap()
        period_us = 1000000 // self.plan.config["rate_hz"]
        take = self.sampler.take  # pyright: ignore[reportAttributeAccessIssue]
        self.sampler.start(self.board.start_timer(period_us, take))

    def _open(self):
        from start import session  # given back while recording, see memory.settle

        session.Start(self).begin()

    def card(self):
        """The board's card, not yet opened."""
        from store import card  # given back while recording, see memory.settle

        board = self.board
        return card.Card(board.medium(), board.drive_slots, board.pulls_slots, board.entropy)

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
            if self.talk and self.talk.busy():  # whatever else is due comes with the rows
                board.wait(queue, 0)
                if queue.waiting() < enough:
                    self._answer_on()
                    continue
            elif not board.wait(queue, enough):
                continue
            woke = board.ticks_us()
            self.turn()
            self._card_work(woke)
            self._answer_on()
            if self.panel.screen:
                self.panel.screen.turn()
            health_.worked((board.ticks_us() - woke) & ticks.MASK)

    def _stopped(self):
        """Whether the PC asked for it, a long press was made and a row that tells of it is packed, or rows end."""
        if self.leaving or self.ran_out():
            return True
        marks_ = self.marks
        if not marks_.stop_wanted:
            return False
        waited = self.sampler.row - marks_.stop_row
        return self.recorder.holds(marks_) or waited > _STOP_S * self.plan.config["rate_hz"]

    def ran_out(self):
        """Whether the session has used up its row numbers, so that another one is to begin."""
        return self.sampler.row >= _LAST_ROW

    def turn(self):
        """What has to be done beside the card, however long that takes."""
        board = self.board
        sampler = self.sampler
        self.recorder.pack()
        sampler.look()
        self.button.look()
        board.loop()
        if self.bus and not self.beside:  # what comes while a card is opened waits
            self.bus.turn()
        if sampler.row >= self.look_row:
            self.look_row = sampler.row + self.plan.config["rate_hz"]
            self.expected.look(sampler.queue)
            self.faults.each_second(sampler)
            self._look_at_button()
        self.faults.turn(sampler.row, board.trouble, self.expected.told)
        self.panel.turn()
        self._hear()
        self.turned = board.ticks_us()

    def _look_at_button(self):
        """A button that nobody lets go of is stuck, until somebody does."""
        board = self.board
        if not self.button.pressed:
            if board.trouble == "button_stuck":
                board.trouble = None
        elif (board.ticks_us() - self.button.since) & ticks.MASK >= _HELD_US and not board.trouble:
            board.trouble = "button_stuck"

    def _hear(self):
        """Answer whoever is on the cable, from their first word on, if memory suffices for that."""
        if self.talk:
            self.talk.turn()
        elif self.board.called():
            try:
                from cable import talk

                self.talk = talk.Talk(self, self.board.console())
            except MemoryError:
                gc.collect()

    def _answer_on(self):
        """Go on with an answer, from the card too: nothing else waits for it now."""
        if self.talk and self.talk.busy() and not self.beside:
            self.talk.read()

    def meanwhile(self):
        """Called by whoever waits for the card, or has many accesses to make."""
        if self.beside or (self.board.ticks_us() - self.turned) & ticks.MASK < _BESIDE_US:
            return
        self.beside = True
        self.board.feed()
        self.turn()
        self.beside = False

    def _card_work(self, now):
        """Write or copy a little where the card is ready; where it takes nothing any more, a step to get one that
        does."""
        recorder_ = self.recorder
        out = recorder_.writer
        if not out.dead:
            ready = self.board.card_ready()
            self.health.waits(not ready, now)
            recorder_.poll(ready)
            if self.bus and self.bus.codes_due() and self.board.card_ready():
                self.bus.store(out, recorder_.span)
            if out.dead:
                self.faults.card_fell(out.error)
            return
        if self.revival is None:
            from store import revival  # given back while recording, see memory.settle

            self.revival = revival.Revival(self.board, out, self.tried)
            return
        if self.revival.opens:  # here and not deeper: see there
            back = False
            try:
                place = self.card()
                place.open()
                self.revival.place = place
                back = True
            except MemoryError:
                gc.collect()
                self.revival.failed_with(errnos.EIO)
            except OSError as error:
                self.revival.failed_with(error.errno)
        else:
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
        if self.bus:
            self.bus.end()
        self.sampler.stop()
        self.recorder.finish(self.board.feed)
        self.board.meanwhile = None
        if self.recorder.writer.dead:
            self.faults.card_fell(self.recorder.writer.error)
        self.panel.stop(not self.recorder.writer.dead)

    def wait_for_press(self):
        """The card may be out: touch nothing until the button is pressed again, or the PC wants the prompt.

        A button that is never let go is stuck, and nobody made that long press: the recording goes on.
        """
        board = self.board
        button_ = self.button
        self.stopped = True
        if not self.released():
            self.stopped = False
            return
        button_.tail = button_.head
        while board.powered() and button_.tail == button_.head and not self.leaving:
            board.idle()
            board.feed()
            self.panel.waiting()
            self._hear()
        self.stopped = False
        self.released()  # held on at a start it would ask for a test

    def released(self):
        """Wait until nobody presses the button, but not for ever: it may be stuck. Whether it was let go."""
        board = self.board
        began = -1
        while self.button.level() and board.powered():
            now = board.ticks_us()
            if began < 0:
                began = now
            if (now - began) & ticks.MASK > _HELD_US:
                return False
            board.idle()
            board.feed()
        return True
