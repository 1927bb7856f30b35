"""Answers what a PC asks while the logger records: see shared_math/CABLE.md. Nothing here waits, for card or cable."""

import json
import struct
import time

from cable import console
from shared_math import cable, layout

_LEAVE_MS = 500
_STEP_US = 2000  # sending and reading in one turn of the main loop


class Talk:
    """logger: logger.Logger, recording. streams: (source, sink) of the console."""

    def __init__(self, logger, streams):
        self.logger = logger
        self.console = console.Console(*streams)
        self.room = memoryview(bytearray(cable.PACKET + cable.MOST_PAYLOAD))
        count = len(self.room) // cable.PACKET
        self.packets = [self.room[n * cable.PACKET : (n + 1) * cable.PACKET] for n in range(count)]
        self.block = self.room[cable.PACKET :]
        self.sent = self.count = 0  # packets of the answer
        self.number = 0  # of the request that is being answered
        self.store = None  # of the blocks that are still asked for
        self.slot = self.left = 0
        self.to_bench = False  # the recording is to end for the bench, not for the prompt
        self.bench = None  # answers in place of what is here, once nothing is recorded

    def busy(self):
        """Whether an answer is on its way."""
        return self.sent < self.count or self.left > 0

    def turn(self):
        """Take a request, or send what the other side takes."""
        if self.sent < self.count:
            self.send(time.ticks_us())
            return
        line = self.console.request()
        told = line and cable.read_line(line)
        if told:
            self._answer(told[0], told[1])

    def read(self):
        """Read and send blocks that are asked for. Call it where nothing else waits for the card."""
        began = time.ticks_us()
        board = self.logger.board
        recorder_ = self.logger.recorder
        while time.ticks_diff(time.ticks_us(), began) < _STEP_US:
            if self.sent < self.count:
                if not self.send(began):
                    return
            elif not self.left or recorder_.due or recorder_.writer.dead or not board.card_ready():
                return
            else:
                self._read_block()

    def leave(self):
        """All is written: say so. Nothing records any more, so this may wait a moment for who reads."""
        self.put((cable.BENCH if self.to_bench else cable.STOP,), 0)
        self.flush()

    def flush(self):
        """Send the rest of an answer to who still reads."""
        began = time.ticks_ms()
        while self.sent < self.count and time.ticks_diff(time.ticks_ms(), began) < _LEAVE_MS:
            self.send(time.ticks_us())

    def send(self, began):
        """Whether all is sent."""
        while self.sent < self.count:
            if time.ticks_diff(time.ticks_us(), began) >= _STEP_US or not self.console.takes():
                return False
            self.console.sink.write(self.packets[self.sent])
            self.sent += 1
        return True

    def put(self, words, length):
        """Begin to send an answer whose payload of `length` bytes lies in `block`."""
        self.packets[0][:] = cable.head(self.number, words, self.block[:length])
        self.sent = 0
        self.count = 1 + cable.filled(length) // cable.PACKET

    def refuse(self, why):
        self.left = 0
        self.put((cable.REFUSED, why), 0)

    def _answer(self, number, words):
        self.number = number
        self.left = 0  # whatever was asked before
        verb = words[0] if words else ""
        try:
            if self.bench:
                self.bench.answer(words)
            elif self.logger.stopped and verb not in (cable.STOP, cable.BENCH):
                self.refuse("stopped")
            elif verb == cable.STATE:
                self._state()
            elif verb == cable.SETUP:
                self._setup(int(words[1]))
            elif verb == cable.NOW:
                self._now()
            elif verb == cable.BLOCKS:
                self._blocks(words[1], int(words[2]), int(words[3]))
            elif verb == cable.CLOCK:
                board = self.logger.board
                if board.set_utc(*[int(word) for word in words[1:8]]):
                    self.logger.recorder.set_clock(board.utc)
                    self.put((verb,), 0)
                else:
                    self.refuse("no_clock")
            elif verb == cable.CODES:
                from cable import codes

                codes.tell(self.logger, self)
            elif verb == cable.STOP or verb == cable.BENCH:
                self.to_bench = verb == cable.BENCH
                self.logger.leaving = True  # `leave` answers
            else:
                self.refuse("unknown")
        except (ValueError, IndexError, TypeError):
            self.refuse("words")

    def _state(self):
        logger = self.logger
        out = logger.recorder.writer
        copier = logger.recorder.copier
        told = {
            "cable": cable.VERSION,
            "ring": "".join("%02x" % byte for byte in out.ring_id),
            "session": out.session,
            "parts": out.setup_parts,
            "drive": (out.file.slots, out.slot, out.sequence),
            "pulls": (copier.file.slots, copier.slot, copier.began),
            "copying": copier.active,
            "mark": logger.marks.mark,
            "row": logger.sampler.row,
            "waiting": out.outbox.held,
            "card": not out.dead,
        }
        text = json.dumps(told).encode()
        self.block[: len(text)] = text
        self.put((cable.STATE,), len(text))

    def _setup(self, part):
        setup = self.logger.recorder.writer.setup
        start = part * layout.PAYLOAD
        if not 0 <= start < len(setup):
            raise ValueError
        piece = setup[start : start + layout.PAYLOAD]
        self.block[: len(piece)] = piece
        self.put((cable.SETUP, str(part)), len(piece))

    def _now(self):
        logger = self.logger
        queue = logger.sampler.queue
        at = ((queue.head - 1) & queue.mask) * queue.stride
        width = min(queue.stride, cable.MOST_PAYLOAD // 4)
        if logger.sampler.row:
            for n in range(width):
                struct.pack_into("<i", self.block, 4 * n, queue.cells[at + n])
        else:
            width = 0
        lost = logger.sampler.lost + logger.recorder.writer.outbox.dropped
        self.put((cable.NOW, str(lost), str(logger.lamp.number())), 4 * width)

    def _blocks(self, which, slot, count):
        writer = self.logger.recorder.writer
        store = writer.file if which == cable.DRIVE_FILE else self.logger.recorder.copier.file
        if which not in (cable.DRIVE_FILE, cable.PULLS_FILE) or count < 1 or not 0 <= slot <= store.slots - count:
            raise ValueError
        if writer.dead:
            self.refuse("no_card")
            return
        self.store, self.slot, self.left = store, slot, count

    def _read_block(self):
        try:
            self.store.read(self.slot, self.block)  # pyright: ignore[reportOptionalMemberAccess]
        except OSError:
            self.refuse("unreadable")
            return
        self.put((cable.BLOCKS, str(self.slot)), layout.SLOT)
        self.slot += 1
        self.left -= 1
