"""At the bench: the recording has ended, and a PC asks for means of readings, files, outputs and tests of the parts;
see shared_math/CABLE.md. Loaded when it is asked for; the reset that ends it gives the memory back.
"""

import gc
import json
import sys

from shared_math import cable, cable_bench, ticks
from shared_math.compat import const

_SILENT_US = const(300000000)  # nobody has asked anything for so long: record again
LAMP = (250, b"\1\1\1\1\1\1\1\0")


class Bench:
    """logger: logger.Logger, whose recording has ended and whose sampler and talk are there."""

    def __init__(self, logger):
        self.logger = logger
        self.board = logger.board
        self.talk = logger.talk
        self.over = False
        self.heard = logger.board.ticks_us()
        self.files = None

    def serve(self):
        """Answer requests."""
        board = self.board
        board.light.pattern = LAMP
        talk = self.talk
        talk.bench = self
        while board.powered() and not self.over:
            board.feed()
            talk.turn()
            if self.logger.button.pressed or (board.ticks_us() - self.heard) & ticks.MASK > _SILENT_US:
                self.over = True
            if not talk.busy():
                board.idle()
        talk.flush()

    def answer(self, words):
        """To one request. ValueError, IndexError where its words don't fit."""
        self.heard = self.board.ticks_us()
        verb = words[0]
        if verb == cable_bench.MEAN:
            self._say(words[:2], self.mean(words[1], int(words[2])))
        elif verb in (cable_bench.TEXT, cable_bench.KEEP, cable_bench.READ):
            self._file(verb, words)
        elif verb == cable_bench.CONVERTER:
            bits, volts, _, *errors = self.board.converter(self._channel(words[1])["input"])
            self._say(words[:2], {"bits": bits, "volts": volts, "errors": errors[0] if errors else None})
        elif verb == cable_bench.DRIVE:
            if self.board.output(words[1], int(words[2])):
                self.talk.put(tuple(words[:3]), 0)
            else:
                self.talk.refuse("no_output")
        elif verb == cable_bench.PROVE:
            self._prove(words)
        elif verb == cable.CODES or verb == cable_bench.CLEAR:
            from cable import codes

            (codes.ask if verb == cable.CODES else codes.clear)(self.logger, self.talk)
        elif verb == cable_bench.RECORD or verb == cable.BENCH:
            self.over = verb == cable_bench.RECORD
            self.talk.put((verb,), 0)
        else:
            self.talk.refuse("bench" if verb in cable.ASKED else "unknown")

    def _say(self, words, told):
        text = json.dumps(told).encode()
        self.talk.block[: len(text)] = text
        self.talk.put(tuple(words), len(text))

    def _channel(self, name):
        for channel in self.logger.plan.config["channels"]:
            if channel["name"] == name:
                return channel
        raise ValueError

    def mean(self, name, rows):
        """What `rows` rows say of a channel, taken as they are while recording: see CABLE.md, "mean"."""
        from cable import means

        try:
            return means.Rows(self.logger, name).take(rows)
        finally:
            forget("means")

    def _file(self, verb, words):
        if self.files is None:
            from cable import files

            self.files = files.Files(self.board, self.talk)
        getattr(self.files, verb)(words)

    def _prove(self, words):
        from cable import proof

        try:
            told = proof.prove(self, words[1], int(words[2]))
        finally:
            forget("proof")
        if told is None:
            self.talk.refuse("not_there")
        else:
            self._say(words[:2], told)


def forget(name):
    """Give back the memory of a module that one request needed."""
    sys.modules.pop("cable." + name, None)
    package = sys.modules["cable"]
    if hasattr(package, name):
        delattr(package, name)
    gc.collect()
