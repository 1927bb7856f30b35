"""ringpull ask: questions to all drives of a shelf."""

from __future__ import annotations

import argparse
from pathlib import Path

from ringpull.cli.options import day
from ringpull.files.outputs import output_file, whole

HELP = "ask a shelf across its drives: lean margin, drift, delay, what changes did, cars apart from their like"
EXAMPLE = "ringpull ask shelf drift --car hill --page season.html"

QUESTIONS = ("lean", "drift", "delay", "changes", "outliers")
MOST_SHOWN = 40


def add_arguments(parser: argparse.ArgumentParser) -> None:
    parser.add_argument("shelf", type=Path, metavar="SHELF", help="folder of the shelf")
    parser.add_argument(
        "question",
        choices=QUESTIONS,
        metavar="QUESTION",
        help="lean (margin against speed, by month), drift (cells that get leaner or richer), delay (delay and lag "
        "against the sensor's age), changes (what each noted change did), outliers (cars apart from their like)",
    )
    parser.add_argument("--car", metavar="NAME", help="only this car")
    parser.add_argument("--fuel", metavar="NAME", help="only drives with this fuel")
    parser.add_argument("--since", type=day, metavar="DATE", help="only drives of this day and later")
    parser.add_argument("--until", type=day, metavar="DATE", help="only drives before this day")
    parser.add_argument("--mixed", action="store_true", help="ask drives together that different analyses judged")
    parser.add_argument(
        "--engine", choices=("duckdb", "pyspark"), default="duckdb", help="what computes (default: duckdb)"
    )
    parser.add_argument("--master", metavar="URL", help="with pyspark: the cluster, as spark://HOST:7077")
    parser.add_argument("--all", action="store_true", help=f"show more than {MOST_SHOWN} lines")
    parser.add_argument("--csv", action="store_true", help="print the rows as CSV")
    parser.add_argument("--page", type=output_file, metavar="FILE", help="one car's season at a glance, as HTML")
    parser.add_argument("--json", action="store_true", help="print the answer as JSON")


def run(args: argparse.Namespace) -> int:
    import json

    from ringpull.errors import BadUsage
    from ringpull.shelf.keep import day_number
    from ringpull.shelf.questions.ask import ask
    from ringpull.shelf.questions.live import Chosen, Engine

    if args.csv and args.json:
        raise BadUsage("--csv and --json were both given", "one of them is a slip", "leave one out")
    since, until = (None if one is None else day_number(one) for one in (args.since, args.until))
    chosen = Chosen(args.car, args.fuel, since, until, args.mixed)
    engine = Engine(args.engine, args.master)
    if args.page:
        write_page(args, chosen, engine)
    found = ask(args.shelf, args.question, chosen, engine)
    if args.json:
        print(json.dumps(found.as_json(), indent=1))
    elif args.csv:
        print_csv(found)
    else:
        show(found, args.all)
    return 0


def write_page(args: argparse.Namespace, chosen, engine) -> None:
    """The page of one car's season."""
    from ringpull.shelf.page import season_page

    text = season_page(args.shelf, chosen, engine)
    with whole(args.page) as fresh:
        fresh.write_text(text, encoding="utf-8")


def print_csv(found) -> None:
    """The rows with the names that JSON has."""
    import csv
    import sys

    out = csv.writer(sys.stdout, lineterminator="\n")
    out.writerow([one.name for one in found.columns])
    told = found.as_json()
    for row in told["rows"]:
        out.writerow(["" if row.get(one.name) is None else row[one.name] for one in found.columns])


def show(found, everything: bool) -> None:
    """The table, what was called first, and what is to be known about it."""
    from rich.table import Table

    from ringpull.cli import terminal
    from ringpull.shelf.questions.found import text

    console = terminal.wide_console()
    if found.rows:
        shown = found.rows if everything else found.rows[:MOST_SHOWN]
        table = Table(box=None, pad_edge=False, header_style="bold")
        for one in found.columns:
            left = isinstance(next((row[one.name] for row in shown if row.get(one.name) is not None), None), str)
            table.add_column(one.title, justify="left" if left else "right")
        for row in shown:
            cells = [terminal.printable(text(one, row.get(one.name))) for one in found.columns]
            table.add_row(*cells, style="red" if row.get("called") else None)
        console.print(table)
        if len(shown) < len(found.rows):
            console.print(f"{len(found.rows) - len(shown)} more: --all shows them, --csv and --json hold them")
    for words in found.words:
        console.print(terminal.printable(words), soft_wrap=True)
