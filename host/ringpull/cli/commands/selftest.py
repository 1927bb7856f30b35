"""ringpull selftest: the logger's parts, tested over USB."""

from __future__ import annotations

import argparse
import sys
from typing import TYPE_CHECKING

from ringpull.cli.options import add_port

if TYPE_CHECKING:
    from ringpull.cable.selftest import Report

HELP = "test the logger's card, inputs, tach, button, lamp, screen, supply, memory and clock over USB"
EXAMPLE = "ringpull selftest"

BAR = 40


def add_arguments(parser: argparse.ArgumentParser) -> None:
    add_port(parser)
    parser.add_argument(
        "--no-questions", action="store_true", help="ask for no press and no look at lamp and screen, for scripts"
    )
    parser.add_argument("--json", action="store_true", help="print every part as JSON")
    parser.add_argument("--strict", action="store_true", help="exit code 1 where a part fails")


def run(args: argparse.Namespace) -> int:
    import json

    from ringpull.cable import bench as benches
    from ringpull.cable import link as links
    from ringpull.cable import selftest
    from ringpull.errors import BadUsage

    _tell("The recording ends for this: the ring is finished, and the logger records again at the end.")
    _tell(
        "CAUTION: engine off. A test drives the frequency output; nothing but the loop-back wire may be joined to it."
    )
    ask = None if args.no_questions else _ask
    try:
        with links.connect(args.port) as link, benches.Bench(link) as bench:
            report = selftest.Test(bench, ask, _tell).run()
    except (EOFError, KeyboardInterrupt):
        raise BadUsage(
            "the test was interrupted",
            "nobody answered, or Ctrl-C was pressed",
            "the logger records again; start the test anew, with --no-questions where nobody can answer",
        ) from None
    records = benches.records_again(bench.path)
    if args.json:
        print(json.dumps(report.as_json() | {"records": records}))
    else:
        _table(report)
    _tell("It records again." if records else "It does not record yet: its lamp tells why.")
    return 1 if args.strict and report.failed else 0


def _tell(line: str) -> None:
    print(line, file=sys.stderr)


def _ask(prompt: str) -> str:
    print(prompt, end="", file=sys.stderr, flush=True)
    return input()


def _table(report: Report) -> None:
    from rich.table import Table

    from ringpull.cli.terminal import wide_console

    table = Table("part", "figure", "limit", "result", box=None, pad_edge=False)
    for row in report.rows:
        table.add_row(row.part, row.figure, row.limit, row.result)
    screen = wide_console()
    screen.print(table)
    if report.classes:
        screen.print("\nThe card's writes, until it has each sector:")
        for line in histogram(report.classes):
            screen.print(line)
    steps = [f"{row.part}: {row.result}: {row.step}" for row in report.rows if row.step]
    if steps:
        screen.print("\n" + "\n".join(steps))


def histogram(classes: list[tuple[float, int]]) -> list[str]:
    """A line for each class from the first to the last that holds any; bars by the root, so that few are seen."""
    held = [at for at, (_, count) in enumerate(classes) if count]
    if not held:
        return ["  none"]
    most = max(count for _, count in classes)
    out = []
    for at in range(held[0], held[-1] + 1):
        below, count = classes[at]
        name = f"from {classes[at - 1][0]:g} ms on" if below == float("inf") else f"below {below:g} ms"
        bar = "#" * max(1 if count else 0, round(BAR * (count / most) ** 0.5))
        out.append(f"  {name:>16}  {count:>6}  {bar}".rstrip())
    return out
