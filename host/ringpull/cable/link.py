"""Requests to the logger and its answers, over whatever bytes the cable brings: shared_math/CABLE.md."""

from __future__ import annotations

import json
import os
import time
from binascii import crc32
from typing import TYPE_CHECKING, Any

from ringpull.cable import ports
from ringpull.errors import CablePulled, CableSilent, LoggerRefused
from shared_math import cable

if TYPE_CHECKING:
    import serial

ANSWER_S = 1.0  # the longest that a logger is waited for: it answers from its main loop, between other work
STOP_S = 15.0  # a slow card has to take what is held
TRIES = 4
PIECE_S = 0.05
PROMPT = b">>>"
MOST_NOISE, MOST_SAID = 400, 60  # bytes, letters

REFUSALS = {
    "unknown": ("the logger does not know this request", "its firmware is older", "bring it the newer firmware"),
    "words": ("the logger does not understand this request", "firmware and PC are of two versions", "update both"),
    "no_card": ("the logger's card takes nothing now", "it is out, or does not answer", "look at it, then try again"),
    "unreadable": ("a sector of the logger's card can't be read", "the card is worn", "use another card from now on"),
    "stopped": (
        "the logger has stopped: it does not record, and its card may be out",
        "its button was held for a long press",
        "put the card in and press the button once: it goes on",
    ),
    "bench": (
        "the logger records nothing now: it waits at the bench",
        "ringpull calibrate or selftest runs, or was cut off",
        "let it end; else press the logger's button: it records again, by itself after 5 minutes",
    ),
    "no_bus": (
        "the logger is not set up to ask the car's computer",
        'its logger.json has no channel of kind obd, or no "bus": {"ask": true}',
        "add such a channel, with ringpull setup or a text editor, then bring the logger the new logger.json",
    ),
    "no_file": ("the logger has no such file", "it was started without a logger.json", "ringpull install --config"),
    "no_output": ("this board has no such output", "it is in use, or another board", "use a source of your own"),
    "not_there": ("the board has no such part", "none is wired", "nothing, if that is as it should be"),
    "no_clock": ("this board has no clock that can be set", "it was made without", "date the drive with ringpull note"),
}

Answer = tuple[list[str], bytes]


class Link:
    """A logger that records, on a port. Close it, or use it in a `with`."""

    def __init__(self, port: serial.Serial) -> None:
        self.port = port
        # An answer that an earlier program did not wait for may still come
        self.number = int.from_bytes(os.urandom(2), "little")
        self.asked = ""
        self.held = bytearray()
        self.noise = bytearray()  # the last bytes that were of no answer

    def __enter__(self) -> Link:
        return self

    def __exit__(self, *_: object) -> None:
        self.close()

    def close(self) -> None:
        """Let go of the port."""
        self.port.close()

    def ask(self, *words: str) -> Answer:
        """(words, payload) of the answer. Asked again where nothing whole comes. Raises CableSilent, CablePulled,
        LoggerRefused."""
        for _ in range(TRIES):
            self.send(*words)
            answer = self.answer()
            if answer is not None:
                return answer
        raise self.silent()

    def send(self, *words: str) -> None:
        """Send a request; `answer` takes what comes. Raises CablePulled."""
        self.number = (self.number + 1) & 0xFFFF
        self.asked = words[0]
        try:
            self.port.write(cable.line(self.number, words))
        except OSError as error:  # of pyserial too
            raise self.pulled(error) from None

    def answer(self, wait_s: float | None = None) -> Answer | None:
        """(words, payload) of the next answer to the newest request; None where none came whole in `wait_s`, or
        ANSWER_S."""
        until = time.monotonic() + (ANSWER_S if wait_s is None else wait_s)
        while True:
            at = self.held.find(cable.START)
            self._drop(at if at >= 0 else len(self.held))
            if len(self.held) >= cable.PACKET:
                head = cable.read_head(self.held[: cable.PACKET])
                if head is None:
                    self._drop(1)  # something else that began like one
                    continue
                number, words, length, crc = head
                whole = cable.PACKET + cable.filled(length)
                if len(self.held) >= whole:
                    payload = bytes(self.held[cable.PACKET : cable.PACKET + length])
                    if crc32(payload) != crc:  # something else came in between: another answer may begin inside
                        self._drop(1)
                        continue
                    del self.held[:whole]
                    if number != self.number or words[0] not in (self.asked, cable.REFUSED):
                        continue
                    if words[0] == cable.REFUSED:
                        raise self.refused(words)
                    return words, payload
            if time.monotonic() >= until:
                return None
            try:
                self.held += self.port.read(max(1, self.port.in_waiting))
            except (OSError, TypeError) as error:  # TypeError: pyserial's for a port that is closed meanwhile
                raise self.pulled(error) from None

    def _drop(self, count: int) -> None:
        """So many bytes are of no answer."""
        self.noise = (self.noise + self.held[:count])[-MOST_NOISE:]
        del self.held[:count]

    def state(self) -> dict[str, Any]:
        """What the logger says of itself: CABLE.md, "state"."""
        return json.loads(self.ask(cable.STATE)[1])

    def setup_text(self, parts: int) -> bytes:
        """The setup text of the session that is being recorded."""
        return b"".join(self.ask(cable.SETUP, str(part))[1] for part in range(parts))

    def set_clock(self) -> bool:
        """Set the board's clock to now; whether it has one."""
        now = time.gmtime()
        try:
            self.ask(cable.CLOCK, *(str(part) for part in (*now[:3], now.tm_wday, *now[3:6])))
        except LoggerRefused:
            return False
        return True

    def stop(self) -> None:
        """End the recording and leave the board at its prompt. Raises CableSilent, CablePulled."""
        self.send(cable.STOP)
        if self.answer(STOP_S) is None:
            raise self.silent()

    def silent(self) -> CableSilent:
        """The error where nothing answers."""
        if self.noise.rstrip().endswith(PROMPT):
            return CableSilent(
                f"the board on {self.port.port} is at MicroPython's prompt: no logger runs on it",
                "the logger was ended over USB, or is not on the board yet",
                "reset the board, or unplug it for a moment; where that does not help: ringpull install",
            )
        said = bytes(self.noise).decode("ascii", "replace").strip()
        if said:
            last = "".join(letter if letter.isprintable() else "?" for letter in said.splitlines()[-1][-MOST_SAID:])
            return CableSilent(
                f'what answers on {self.port.port} is no logger; it says "{last}"',
                "another program runs on the board, or the cable hurts what it carries",
                "ringpull install brings the logger onto it; where it is there already, try another cable",
            )
        return CableSilent(
            f"nothing on {self.port.port} answers as a logger that records",
            "its firmware is older than this program, another program runs on it, or it is starting",
            "wait until the lamp says that it records; where it does already, give it this firmware: ringpull install",
        )

    def pulled(self, error: BaseException) -> CablePulled:
        """The error where the port went away."""
        return CablePulled(
            f"{self.port.port} went away ({error})",
            "the cable was pulled, or the board was reset",
            "plug it in and give the command again; what was fetched so far is kept",
        )

    def refused(self, words: list[str]) -> LoggerRefused:
        """The error for a request that was refused."""
        why = words[1] if len(words) > 1 else "unknown"
        return LoggerRefused(*REFUSALS.get(why, REFUSALS["unknown"]))


def connect(named: str | None) -> Link:
    """The logger on this port, or on the only one. Raises NoPort, PortRefused, CableSilent, CablePulled."""
    path = ports.find(named)
    link = Link(ports.open_port(path, PIECE_S))
    try:
        speaks = link.state().get("cable")
        if speaks != cable.VERSION:
            raise LoggerRefused(
                f"the logger speaks version {speaks} of the cable's lines, this program version {cable.VERSION}",
                f"{'the logger' if str(speaks) < str(cable.VERSION) else 'this program'} is the older of the two",
                "bring the logger this program's firmware: ringpull install"
                if str(speaks) < str(cable.VERSION)
                else "update this program",
            )
    except BaseException:
        link.close()
        raise
    return link
