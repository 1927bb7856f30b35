"""ringpull codes: what the car's computers say of themselves, from a card or over the cable; and clearing."""

from __future__ import annotations

import argparse
import json
from pathlib import Path
from typing import TYPE_CHECKING

from ringpull.cli.options import add_ring, tell_origin

if TYPE_CHECKING:
    from ringpull.ring.values.codes import UnitCodes

HELP = "trouble codes, readiness and freeze frame, from a card or over USB; clearing, with its cautions"
EXAMPLE = "ringpull codes card"

TYPED = "CLEAR"
CAUTION = (
    "Clearing takes away, in every computer that answers:",
    "  - all confirmed and pending codes, and the freeze frame: how the engine ran when the fault came",
    "  - readiness: an inspection will refuse the car until days of driving have set it again",
    "  - in many cars the trims that it has learnt; it may run otherwise for a while",
    "What stays: permanent codes, until the car itself finds the fault gone. The fault itself stays too.",
    "Emissions tampering is against the law in many places.",
)


def add_arguments(parser: argparse.ArgumentParser) -> None:
    parser.add_argument("source", metavar="SRC", help="card folder, ring file, or the logger's port")
    add_ring(parser)
    parser.add_argument("--clear", action="store_true", help="clear the codes over the cable; says first what goes")
    parser.add_argument(
        "--keep",
        type=Path,
        default=Path("."),
        metavar="DIR",
        help="where --clear saves all of it first (default: here)",
    )
    parser.add_argument("--json", action="store_true", help="print them as JSON")


def run(args: argparse.Namespace) -> int:
    return _of_card(args) if _is_card(args.source) else _of_port(args)


def _is_card(source: str) -> bool:
    """Whether a folder or file is meant, there or not, rather than a port."""
    path = Path(source)
    if path.exists():
        return not path.is_char_device()
    return path.suffix == ".rpl" or (len(path.parts) > 1 and path.parts[:2] != ("/", "dev"))


def _of_card(args: argparse.Namespace) -> int:
    import ringpull
    from ringpull.errors import BadUsage, NoCodes
    from ringpull.ring.values.codes import as_json

    if args.clear:
        step = "for instance: ringpull codes COM5 --clear"
        raise BadUsage("a card can't clear codes", "--clear needs the logger's port", step)
    drive = ringpull.read(Path(args.source), ring=args.ring)
    tell_origin(drive)
    asked = [(session, session.codes) for session in drive.sessions if session.codes]
    if args.json:
        print(json.dumps({"sessions": [{"id": one.id, "units": [as_json(u) for u in units]} for one, units in asked]}))
        return 0
    if not asked:
        raise NoCodes(
            f"no session of {args.source} holds trouble codes",
            'logger.json has no channel of kind obd and no "bus": {"ask": true}, or no computer answered; copies of '
            "pulls (pulls.rpl) hold no codes, drive.rpl does",
            "ringpull info tells how the bus was; each session asks once, at its start, if it may",
        )
    for session, units in asked:
        print(f"session {session.id}")
        _show(units)
    return 0


def _show(units: list[UnitCodes]) -> None:
    from ringpull.wording.codes import lines

    for unit in units:
        for line in lines(unit):
            print("  " + line)


def _of_port(args: argparse.Namespace) -> int:
    from ringpull.cable import codes as over_cable
    from ringpull.cable import link as links
    from ringpull.ring.values.codes import as_json

    with links.connect(args.source) as link:
        if args.clear:
            return _clear(args, link)
        told = over_cable.now(link)
    if args.json:
        units = [as_json(unit) for unit in told.units]
        print(json.dumps({"units": units, "whole": told.whole, "frames": told.frames}))
        return 0
    _show(told.units)
    if not told.units:
        print(told.sentence())
    if any(told.frames.values()):
        print("of what came: " + ", ".join(f"{count} {what}" for what, count in told.frames.items() if count))
    if told.units and not told.whole:
        print("note: it is still being asked; give the command again in a few seconds")
    return 0


def _clear(args: argparse.Namespace, link) -> int:
    from ringpull.cable import codes as over_cable
    from ringpull.cable.bench import Bench

    with Bench(link) as bench:
        before = over_cable.anew(bench)
        _show(before.units)
        if not before.units:
            print(before.sentence())
            return 3
        path = over_cable.save(before, args.keep)
        print(f"saved: {path}")
        print("\n".join(CAUTION))
        try:
            typed = input(f"Engine off, ignition on. Type {TYPED} to clear: ")
        except EOFError:
            typed = ""
        if typed.strip() != TYPED:
            print("nothing was cleared")
            return 0
        after = over_cable.clear(bench)
    print("the car's computers say that the codes are cleared; asked again:")
    _show(after.units)
    return 0
