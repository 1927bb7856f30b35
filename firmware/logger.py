"""The logger: configuration, queue, files and handlers put together, and the loop that runs them."""

import errnos
import memory
from acquire import button, health, marks, rows
from panel import lamp, panel
from shared_math import channels, layout, speed, ticks
from store import card, complete, copier, packer, recorder, setup_text, writer

_QUEUE_S = 0.51  # rows the queue holds at least: the longest stall a card may take
_QUEUE_LEAST = 32
_OPEN_BLOCK_BYTES = 12288  # the open block's rows at most: with many columns a quiet block closes early
_CLOSED_PCT = 12  # throttle below this is closed
_HEAP_S = 5  # between looks at the free heap: counting it walks the whole heap
_RETRY_S = 2  # between attempts to get a dead card back
_RETRY_ROUNDS = 400  # idle rounds between attempts to open a card at the start


class Logger:
    """board: an object of boards/ (see boards/desk.py for what it must offer). given: what settings.read gave."""

    def __init__(self, board, given):
        self.board = board
        self.given = given
        self.lamp = lamp.Lamp()
        self.button = button.Button()
        self.panel = panel.Panel(board, self.lamp, given)

    def run(self):
        """Record from power-on until the board's power goes; a long press finishes the card, a press goes on."""
        board = self.board
        board.on_button(self.button)
        while True:
            self.start()
            self.record()
            self.finish()
            self.wait_for_press()
            if not board.powered():
                board.end()
                return
            board.restart()

    def start(self):
        """Open the card, write the setup, start the timer."""
        board = self.board
        settings, text, faults = self.given[:3]
        rate_hz = settings["rate_hz"]
        period_us = 1000000 // rate_hz
        board.configure(settings)
        table = channels.columns(settings, board.converter)
        bits = [column["b"] for column in table]
        memory.release()
        queue = self._queue(len(table), rate_hz)
        pack = packer.make(bits, min(rate_hz, _OPEN_BLOCK_BYTES // (4 * len(bits))))
        parts = self._sources(settings, table)
        throttle = self._throttle(settings, table)
        self.marks = marks.Marks(self.button, rate_hz, throttle, self._first(table, "count"))
        self.button.tail = self.button.head
        self.health = health.Health(self._supply(settings, table))
        self.sampler = rows.Sampler(queue, period_us, parts, self.marks, self.lamp, board.ticks_us, self.health)
        place = self.open_card()
        setup = setup_text.build(board.name, board.utc(), period_us, table, faults, text)
        out = writer.DriveWriter(place, setup)
        copies = copier.PullCopier(out, place, rate_hz)
        self.recorder = recorder.Recorder(queue, pack, rate_hz, out, copies, self.sampler)
        self.recorder.begin()
        self.lamp.fault = faults[0] if faults else 0
        self.panel.begin(settings, table, self, throttle)
        self.sampler.start(board.start_timer(period_us, self.sampler.take))

    def _queue(self, columns, rate_hz):
        """The row queue: half a second of rows, or as much of it as memory allows."""
        capacity = _QUEUE_LEAST
        while capacity < rate_hz * _QUEUE_S:
            capacity *= 2
        while True:
            try:
                return rows.RowQueue(columns, capacity)
            except MemoryError:
                if capacity <= _QUEUE_LEAST:
                    raise
                capacity //= 2

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
            complete.Completer(place).run()
        return place

    def _fault_of(self, error):
        numbers = self.given[3]
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
        retry_row = heap_row = 0
        while board.powered() and not self.marks.stop_wanted:
            board.idle()
            woke = board.ticks_us()
            self.recorder.poll()
            self.button.look()
            if self.sampler.row >= heap_row:
                heap_row = self.sampler.row + _HEAP_S * self.given[0]["rate_hz"]
                health_.look_at_heap()
            if self.recorder.writer.dead and self.sampler.row >= retry_row:
                self.lamp.fault = self.given[3]["card_dead"]
                retry_row = self.sampler.row + _RETRY_S * self.given[0]["rate_hz"]
                self.revive()
            self.panel.turn()
            health_.worked((board.ticks_us() - woke) & ticks.MASK)

    def revive(self):
        """Try to get the card back, or to go on with another one; rows wait in the outbox meanwhile."""
        out = self.recorder.writer
        try:
            self.board.remount()
            place = self._card()
            place.open()
        except OSError:
            return
        same = place.ring_id == out.ring_id and not place.made_new
        out.bind(place, same)
        self.recorder.copier.bind(place, same)
        self.lamp.fault = self.given[2][0] if self.given[2] else 0

    def finish(self):
        """Stop sampling and write what is held."""
        self.board.stop_timer()
        self.sampler.on = False
        self.recorder.finish()
        self.panel.stop(True)

    def wait_for_press(self):
        """The card may be out: touch nothing until the button is pressed again."""
        board = self.board
        button_ = self.button
        while button_.pressed and board.powered():
            board.idle()
        button_.tail = button_.head
        while board.powered() and button_.tail == button_.head:
            board.idle()
            self.panel.waiting()

    def _sources(self, settings, table):
        """What fills which column: (column, 0, function) or (column, 1, Tach); subscribes to the pulse inputs."""
        board = self.board
        parts = []
        for at in range(len(table)):
            role = table[at]["r"]
            channel = None
            for one in settings["channels"]:
                if one["name"] == table[at]["n"]:
                    channel = one
            if channel is None:
                continue
            if role == "adc":
                parts.append((at, 0, board.reader(channel)))
            elif role == "digital":
                parts.append((at, 0, board.level(channel)))
            elif role == "count":
                parts.append((at, 1, board.tach(channel, speed.glitch_limit_us(channel))))
        return parts

    def _first(self, table, role):
        """1 + the first column with this role, or 0."""
        for at in range(len(table)):
            if table[at]["r"] == role:
                return at + 1
        return 0

    def _supply(self, settings, table):
        """(1 + column, counts of a dip, counts from which it is over) of the supply's channel, or None."""
        channel = channels.supply_of(settings)
        if channel is None:
            return None
        for at in range(len(table)):
            if table[at]["n"] == channel["name"]:
                (v0, v1), (low, high) = channel["volts"], channel["values"]
                counts = []
                for supply_v in (layout.DIP_V, layout.SUPPLY_BACK_V):
                    volts = v0 + (supply_v - low) * (v1 - v0) / (high - low)
                    counts.append(int((volts - table[at]["o"]) / table[at]["s"]))
                return at + 1, counts[0], counts[1]

    def _throttle(self, settings, table):
        """(1 + column, counts) below which the throttle counts as closed, or None without such a channel."""
        for channel in settings["channels"]:
            if channel["name"] == "throttle" and channel["kind"] == "linear":
                for at in range(len(table)):
                    if table[at]["n"] == "throttle":
                        (v0, v1), (low, high) = channel["volts"], channel["values"]
                        volts = v0 + (_CLOSED_PCT - low) * (v1 - v0) / (high - low)
                        if (v1 - v0) * (high - low) <= 0:
                            return None
                        return at + 1, int((volts - table[at]["o"]) / table[at]["s"])
        return None
