"""ringpull check: every mistake in a configuration, explained."""

from __future__ import annotations

import argparse
from pathlib import Path

HELP = "explain what is wrong with a configuration, all mistakes at once"
EXAMPLE = "ringpull check logger.json"


def add_arguments(parser: argparse.ArgumentParser) -> None:
    parser.add_argument("config", type=Path, metavar="FILE", help="logger.json")
    parser.add_argument("--json", action="store_true", help="print the mistakes as JSON")


def run(args: argparse.Namespace) -> int:
    import json

    from ringpull.device import advice, load
    from ringpull.dryrun.run import parse_config
    from shared_math import config

    settings = parse_config(args.config)[0]
    problems = config.check(settings)
    thoughts = [] if problems else advice.advice(settings)
    sentences = [config.explain(problem) for problem in problems]
    too_much = None if problems else load.refusal(settings)
    if too_much is not None:
        problems, sentences = [("too_much_for_board",)], [too_much]
    hints = [advice.explain(thought) for thought in thoughts]
    if args.json:
        keys = ("what", "cause", "step")
        both = {"mistakes": zip(problems, sentences), "advice": zip(thoughts, hints)}
        print(json.dumps({key: [dict(zip(keys, told), code=one[0]) for one, told in both[key]] for key in both}))
    else:
        for what, cause, step in sentences:
            print(f"{what}\n  likely cause: {cause}\n  what to do: {step}\n")
        for what, cause, step in hints:
            print(f"Worth knowing: {what}\n  because: {cause}\n  what to do: {step}\n")
        print(f"{args.config.name}: {f'{len(problems)} to correct' if problems else 'nothing to correct'}")
    return 2 if problems else 0
