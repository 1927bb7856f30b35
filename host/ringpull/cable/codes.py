"""Trouble codes over the cable: what the session's question brought, asked anew at the bench, cleared."""

from __future__ import annotations

import json
import time
from dataclasses import dataclass, field
from pathlib import Path

from ringpull.cable.bench import Bench
from ringpull.cable.link import Link
from ringpull.errors import CarRefused
from ringpull.ring.values import codes
from shared_math import bus_words, cable, cable_bench
from shared_math.obd import refusals, transport

ASK_S = 70.0  # a computer may announce its answer for later

DONE, TURNS, UNKNOWN, SILENT = 0x44, -1, -2, 0


FRAMES = {
    transport.STRANGE: "strange",
    transport.ORPHANED: "orphaned",
    transport.DOUBLED: "doubled",
    transport.LOST: "lost",
    transport.LONG: "too long",
    transport.LATE: "late",
}


@dataclass
class Told:
    """units: what each computer answered. whole: whether all was asked. state: of the bus. frames: how many of those
    that came since the session began were not as they should be, by what was wrong."""

    units: list[codes.UnitCodes]
    whole: bool
    state: int
    frames: dict[str, int] = field(default_factory=dict)

    def sentence(self) -> str:
        """Why there is nothing."""
        what, step = bus_words.sentence(self.state)
        return what + (f": {step}" if step else "")


def now(link: Link) -> Told:
    """What was answered since the logger's session began."""
    return _read(*link.ask(cable.CODES))


def anew(bench: Bench) -> Told:
    """At the bench: asked now."""
    return _read(*_asked(bench, cable.CODES))


def _read(words: list[str], payload: bytes) -> Told:
    counts = words[3].split(",") if len(words) > 3 else []
    frames = {FRAMES[n]: int(count) for n, count in enumerate(counts) if n in FRAMES}
    return Told(codes.read(payload), words[2] == "1", int(words[1]), frames)


def _asked(bench: Bench, verb: str) -> tuple[list[str], bytes]:
    bench.link.send(verb)
    answer = bench.link.answer(ASK_S)
    if answer is None:
        raise bench.link.silent()
    return answer


def save(told: Told, folder: Path) -> Path:
    """All that was told, in a file of its own with the date in its name."""
    folder.mkdir(parents=True, exist_ok=True)
    path = folder / time.strftime("codes-%Y%m%d-%H%M%S.json", time.gmtime())
    with open(path, "x", encoding="utf-8") as file:
        json.dump({"utc": time.strftime("%Y-%m-%dT%H:%M:%SZ", time.gmtime()), "units": _kept(told)}, file, indent=1)
    return path


def _kept(told: Told) -> list[dict]:
    return [codes.as_json(unit) for unit in told.units]


def clear(bench: Bench) -> Told:
    """At the bench: clear, and ask again. Raises CarRefused with the reason where nothing was cleared."""
    words, payload = _asked(bench, cable_bench.CLEAR)
    result, state = int(words[1]), int(words[2])
    if result == DONE:
        return Told(codes.read(payload), True, state)
    if result == TURNS:
        raise CarRefused(
            "the codes were not cleared: the engine turns, or the car rolls",
            "the tach, or a computer, tells of a speed",
            "stop both, then ignition on",
        )
    if result == UNKNOWN:
        raise CarRefused(
            "the codes were not cleared: nothing tells that the engine stands",
            "no computer gave engine or road speed",
            "turn the ignition on, then try again",
        )
    if result == SILENT:
        what, step = bus_words.sentence(state)
        raise CarRefused("the codes were not cleared: no computer answered", what, step or "turn the ignition on")
    raise CarRefused(
        f"the codes were not cleared: the car's computer refused ({result:02X})",
        refusals.refusal(result),
        "engine off, ignition on; where it asks for security access, only the maker's own tester can",
    )
