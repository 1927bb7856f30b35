"""ringpull compare: did the change work."""

from __future__ import annotations

import argparse
from pathlib import Path

HELP = "compare two drives, or two sets of pulls, by engine speed: did the change work"
EXAMPLE = "ringpull compare before_card after_card"


def add_arguments(parser: argparse.ArgumentParser) -> None:
    parser.add_argument("before", type=Path, metavar="BEFORE", help="ring file or card folder of the first drive")
    parser.add_argument("after", type=Path, metavar="AFTER", help="ring file or card folder of the second drive")
    parser.add_argument("--before-pulls", metavar="N,N", help="only these pulls of the first drive")
    parser.add_argument("--after-pulls", metavar="N,N", help="only these pulls of the second drive")
    parser.add_argument("--json", action="store_true", help="print the comparison as JSON")


def run(args: argparse.Namespace) -> int:
    import json
    from dataclasses import asdict

    import ringpull
    from ringpull.analysis import compare, sets
    from ringpull.commands.fuelmap import plain
    from ringpull.notes import read_notes

    sides = []
    for source, chosen in ((args.before, args.before_pulls), (args.after, args.after_pulls)):
        sides.append(sets.judged_sessions(ringpull.read(source), numbers(chosen)))
    speeds = sets.shared_speeds(sides[0][0] + sides[1][0], sides[0][1] + sides[1][1])
    found = [sets.pull_passes(judged, spans, speeds) for judged, spans in sides]
    result = compare.compare(found[0], found[1], speeds)
    notes = {"before": read_notes(args.before), "after": read_notes(args.after)}
    if args.json:
        bins = [{k: plain(v) for k, v in asdict(b).items()} for b in result.bins]
        overall = [plain(v) for v in result.overall]
        out = {"verdict": result.verdict, "overall": overall, "bins": bins, "words": result.words, "notes": notes}
        print(json.dumps(out, indent=1))
    else:
        show(result, notes)
    return 0


def numbers(chosen: str | None) -> set[int] | None:
    """Pull numbers from "1,3"; None for all."""
    from ringpull.errors import BadUsage

    if chosen is None:
        return None
    try:
        return {int(part) for part in chosen.split(",")}
    except ValueError:
        raise BadUsage(
            f"{chosen!r} is no list of pulls", "something other than numbers and commas", "write 1,3"
        ) from None


def show(result, notes: dict[str, dict[str, str]]) -> None:
    """Bins, verdict and the notes of both sides."""
    import math

    from rich.console import Console
    from rich.table import Table

    def number(value: float, form: str) -> str:
        return format(value, form) if math.isfinite(value) else "-"

    table = Table(box=None, pad_edge=False, header_style="bold")
    for title in ("rpm", "pulls", "before", "after", "difference", "95 %", "against the rest", ""):
        table.add_column(title, justify="right", no_wrap=True)
    for b in result.bins:
        table.add_row(
            f"{b.rpm:.0f}",
            f"{b.pulls[0]}/{b.pulls[1]}",
            number(b.before, ".3f"),
            number(b.after, ".3f"),
            number(b.difference, "+.3f"),
            f"{number(b.low, '+.3f')} {number(b.high, '+.3f')}",
            number(b.relative, "+.3f"),
            b.verdict if b.changed else "",
        )
    console = Console(highlight=False)
    console.print(table)
    console.print(f"measured over target: {result.verdict}")
    for words in result.words:
        console.print(words)
    for side, lines in notes.items():
        for pull, words in lines.items():
            console.print(f"note {side}, pull {pull}: {words}")
