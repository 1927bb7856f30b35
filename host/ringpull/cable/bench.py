"""A logger whose recording was ended for a while: readings, files, outputs, tests of its parts (CABLE.md, "At the
bench"). It records again when this is closed, whatever happened."""

from __future__ import annotations

import base64
import json
import time
from binascii import crc32
from contextlib import suppress
from typing import Any

from ringpull.cable import link as links
from ringpull.cable import ports
from ringpull.device.two_points import BATCHES, Converter
from ringpull.errors import BadConfig, LoggerRefused, RingpullError
from ringpull.files import configuration
from ringpull.files.configuration import Configuration
from shared_math import cable, cable_bench
from shared_math import config as shared_config

RECORDS_S = 30.0
MORE_S = 5.0  # a request's answer, beyond what it takes itself
LEFT_OUT_S = 0.3


class Bench:
    """config: in force on the logger. text: of its logger.json, None where it has none."""

    def __init__(self, link: links.Link) -> None:
        """Ends the recording. Raises what the link raises."""
        self.link = link
        self.path: str = link.port.port or ""
        link.send(cable.BENCH)
        try:
            if link.answer(links.STOP_S) is None:
                raise link.silent()
        except LoggerRefused:
            raise LoggerRefused(
                "the logger's firmware knows no bench",
                "it is older than this program",
                "bring it the newer one: ringpull install",
            ) from None
        try:
            self.text = self.file(cable_bench.CONFIG_FILE)
            self.config = self._settings()
        except BaseException:
            self.record()
            raise

    def _settings(self) -> Configuration:
        if self.text is None:
            return configuration.of(shared_config.defaults(shared_config.DEFAULT))
        try:
            settings = shared_config.load(self.text)
            problems = shared_config.check(settings)
        except ValueError as error:
            raise BadConfig(
                f"the logger's logger.json can't be read: {error}",
                "it was damaged, or edited",
                "bring it a new one: ringpull setup, then copy it onto the card",
            ) from None
        if problems:
            raise BadConfig(*shared_config.explain(problems[0]))
        return configuration.of(shared_config.defaults(settings))

    def __enter__(self) -> Bench:
        return self

    def __exit__(self, *_: object) -> None:
        self.record()

    def record(self) -> None:
        """Let it record again; where the cable is out it does so by itself."""
        with suppress(RingpullError):
            self.link.ask(cable_bench.RECORD)

    def converter(self, name: str) -> Converter:
        """Of an analog channel."""
        return Converter.told(json.loads(self.link.ask(cable_bench.CONVERTER, name)[1]))

    def mean(self, name: str, seconds: float) -> dict[str, Any]:
        """What rows of so many seconds say of a channel (CABLE.md, "mean")."""
        rows = max(2, min(cable_bench.MOST_ROWS, round(seconds * self.config.rate_hz)))
        return self._long((cable_bench.MEAN, name, str(rows)), rows / self.config.rate_hz + LEFT_OUT_S)

    def batches(self, name: str, seconds: float) -> list[dict[str, Any]]:
        """`mean` several times, so that a voltage that moves is seen."""
        return [self.mean(name, seconds / BATCHES) for _ in range(BATCHES)]

    def prove(self, part: str, much: int, takes_s: float = 0.0) -> dict[str, Any] | None:
        """A test of a part (CABLE.md); None where the board has none."""
        try:
            return self._long((cable_bench.PROVE, part, str(much)), takes_s)
        except LoggerRefused as error:
            if error.what == links.REFUSALS["not_there"][0]:
                return None
            raise

    def drive(self, what: str, value: int) -> bool:
        """Put a signal on the output for a loop-back wire; whether there is one."""
        try:
            self.link.ask(cable_bench.DRIVE, what, str(value))
        except LoggerRefused:
            return False
        return True

    def _long(self, words: tuple[str, ...], takes_s: float) -> dict[str, Any]:
        for _ in range(links.TRIES):
            self.link.send(*words)
            answer = self.link.answer(takes_s + MORE_S)
            if answer is not None:
                return json.loads(answer[1])
        raise self.link.silent()

    def file(self, which: str) -> bytes | None:
        """All of a file, None where there is none."""
        out = b""
        while True:
            try:
                words, piece = self.link.ask(cable_bench.READ, which, str(len(out)))
            except LoggerRefused as error:
                if error.what == links.REFUSALS["no_file"][0]:
                    return None
                raise
            out += piece
            if len(out) >= int(words[1]) or not piece:
                return out

    def keep(self, which: str, data: bytes) -> None:
        """Put a new text in place of logger.json, or behind the history: whole or not at all."""
        for at in range(0, len(data), cable_bench.PIECE):
            piece = base64.b64encode(data[at : at + cable_bench.PIECE]).decode()
            self.link.ask(cable_bench.TEXT, str(at), piece)
        self.link.ask(cable_bench.KEEP, which, str(len(data)), f"{crc32(data):08x}")


def records_again(path: str) -> bool:
    """Whether the logger records, some time after it left the bench; its clock is set then."""
    until = time.monotonic() + RECORDS_S
    while time.monotonic() < until:
        try:
            with links.Link(ports.open_port(path, links.PIECE_S)) as link:
                link.state()
                link.set_clock()
                return True
        except RingpullError:  # its port is not back yet, or it starts
            time.sleep(0.2)
    return False
