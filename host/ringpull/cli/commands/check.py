"""ringpull check: explain every mistake in a configuration, say what each channel is used for, and judge the whole."""

from __future__ import annotations

import argparse
from pathlib import Path
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from ringpull.device.judgement import Judgement, Point

HELP = "explain what is wrong with a configuration and what each of its channels is used for"
EXAMPLE = "ringpull check logger.json"


def add_arguments(parser: argparse.ArgumentParser) -> None:
    parser.add_argument("config", type=Path, metavar="FILE", help="logger.json")
    parser.add_argument("--json", action="store_true", help="print the same as JSON")


def run(args: argparse.Namespace) -> int:
    import json

    from ringpull.device.judgement import judge
    from ringpull.dryrun.run import parse_config

    judged = judge(parse_config(args.config)[0])
    if args.json:
        print(json.dumps(as_json(judged)))
    else:
        print("\n".join(lines(judged, args.config.name)))
    return 0 if judged.works else 2


def lines(judged: Judgement, name: str) -> list[str]:
    """The lines to print: mistakes, advice, what each channel is used for, and last the judgement."""
    from ringpull.device.uses import NOTHING

    out = []
    for title, points in (("Wrong", (*judged.mistakes, *judged.impossible)), ("Look at this first", judged.first)):
        out += [line for point in points for line in told(title, point)]
    out += [line for point in judged.known for line in told("Worth knowing", point)]
    if judged.channels:
        width = max(len(use.name) + len(use.place) for use in judged.channels) + 3
        out.append("What each channel is used for:")
        for use in judged.channels:
            first, *others = use.sentences or (NOTHING,)
            out.append(f"  {f'{use.name} ({use.place})':<{width}}  {first}")
            out += [f"  {'':<{width}}  {sentence}" for sentence in others]
        out.append("")
    return [*out, f"{name}: {judged.sentence}"]


def told(title: str, point: Point) -> list[str]:
    """The lines that print one point."""
    why = "likely cause" if title == "Wrong" else "because"
    return [f"{title}: {point.what}", f"  {why}: {point.why}", f"  what to do: {point.step}", ""]


def as_json(judged: Judgement) -> dict[str, object]:
    """The judgement as JSON."""

    def points(listed: tuple[Point, ...], **more: object) -> list[dict[str, object]]:
        return [{"what": one.what, "cause": one.why, "step": one.step, "code": one.code, **more} for one in listed]

    return {
        "mistakes": points((*judged.mistakes, *judged.impossible)),
        "advice": points(judged.first, first=True) + points(judged.known, first=False),
        "channels": [
            {"name": use.name, "input": use.place, "used_for": list(use.sentences)} for use in judged.channels
        ],
        "works": judged.works,
        "judgement": judged.sentence,
    }
