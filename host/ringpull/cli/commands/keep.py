"""ringpull keep: judge a card and keep it on a shelf."""

from __future__ import annotations

import argparse
from pathlib import Path

from ringpull.cli.options import add_ring, add_shelf_work, day

HELP = "judge drives and keep them on a shelf, to be asked across months"
EXAMPLE = "ringpull keep card --in shelf --car hill --on 2026-04-01"


def add_arguments(parser: argparse.ArgumentParser) -> None:
    parser.add_argument(
        "sources", type=Path, nargs="+", metavar="SRC", help="ring file, folder of segments, or card folder"
    )
    parser.add_argument("--in", dest="shelf", type=Path, required=True, metavar="SHELF", help="folder of the shelf")
    parser.add_argument("--car", required=True, metavar="NAME", help="whose drive it is")
    parser.add_argument(
        "--on", type=day, metavar="DATE", help="when it was, as 2026-04-01, where the logger has no clock"
    )
    parser.add_argument("--fuel", metavar="NAME", help="what was in the tank (default: as configured)")
    parser.add_argument(
        "--sensor-fitted",
        type=day_or_nothing,
        metavar="DATE",
        help='when the lambda sensor was fitted; later drives know it too; "" takes it back',
    )
    parser.add_argument("--change", metavar="TEXT", help='what was changed before this drive; "" takes it back')
    parser.add_argument("--invented", action="store_true", help="keep recordings of the demo or of a dry run too")
    add_ring(parser)
    add_shelf_work(parser)
    parser.add_argument("--json", action="store_true", help="print what became of each drive as JSON")


def day_or_nothing(text: str) -> str:
    """A type for argparse: a day, or "" for none."""
    return day(text) if text else ""


def run(args: argparse.Namespace) -> int:
    import json

    from ringpull.cli import terminal
    from ringpull.errors import BadUsage
    from ringpull.shelf.keep import Told
    from ringpull.shelf.places import Shelf, car_name
    from ringpull.shelf.work import keep_all

    if args.change is not None and len(args.sources) > 1:
        raise BadUsage(
            "a change belongs to the first drive after it, and several cards are given",
            "all cards were given at once",
            "keep the first card after the change by itself, with --change",
        )
    told = Told(car_name(args.car), args.on, args.fuel, args.sensor_fitted, args.change, args.invented)
    shelf = Shelf(args.shelf)
    shelf.refuse_file()
    known = shelf.cars()
    worst, out, failures = 0, [], Failures()
    with terminal.progress("keeping") as show:
        done = keep_all(args.shelf, args.sources, told, args.ring, args.jobs, args.cluster)
        for at, one in enumerate(done, start=1):
            out.append(one)
            worst = max(worst, tell(one, args.json, failures))
            show(at / len(args.sources))
    failures.tell_rest()
    if any(one.outcomes for one in out):
        tell_new_car(args.shelf, told.car, known)
    if args.json:
        print(json.dumps(as_json(out), indent=1))
    return worst


def tell_new_car(shelf: Path, car: str, known: list[str]) -> None:
    """That a car is new whose name is nearly that of another, which may be a slip."""
    import shlex
    import sys

    from ringpull.shelf.places import apart_by_a_slip

    alike = [one for one in known if apart_by_a_slip(one, car)]
    if car not in known and alike:
        how = f"{shlex.join(['ringpull', 'kept', str(shelf)])} --move DRIVE --car {shlex.quote(alike[0])}"
        there = ", ".join(map(repr, alike))
        print(f"note: this begins a new car {car!r}; there is {there}. If it is the same one: {how}", file=sys.stderr)


class Failures:
    """Errors that many cards or drives may have in common: each is told once, and counted."""

    def __init__(self) -> None:
        self.counts: dict[tuple[str, str, str], int] = {}

    def tell(self, failed) -> None:
        import sys

        from ringpull.errors import RingpullError

        words = failed.what, failed.cause, failed.step
        self.counts[words] = self.counts.get(words, 0) + 1
        if self.counts[words] == 1:
            print(RingpullError(*words).lines(), file=sys.stderr)

    def tell_rest(self) -> None:
        """How many more had an error that was told."""
        import sys

        for (what, _, _), count in self.counts.items():
            if count > 1:
                print(f"{count - 1} more: {what}", file=sys.stderr)


def tell(done, quiet: bool, failures: Failures) -> int:
    """A line about each session of a card, the error where there is none; returns the exit code."""
    if done.failed is not None:
        failures.tell(done.failed)
        return done.failed.exit_code
    if not quiet:
        for one in done.outcomes:
            print(line(one))
    return 0


def line(outcome) -> str:
    """What became of one session, in words."""
    from ringpull.shelf.keep import NO_SETUP

    if outcome.what == NO_SETUP:
        return f"{outcome.drive}: left out, its setup is lost: what its values mean would be a guess"
    when = f"{outcome.day} ({outcome.date_from})" if outcome.day else "date not known: give it by --on"
    pulls = f"{outcome.pulls} pull{'' if outcome.pulls == 1 else 's'}"
    return "; ".join([f"{outcome.drive}: {outcome.what}", when, pulls, outcome.verdict, *remarks(outcome)])


def remarks(outcome) -> list[str]:
    """What is to be known of a drive beside its verdict."""
    from datetime import UTC, datetime, timedelta

    out = []
    if outcome.missing_rows:
        share = f"{outcome.missing_s:.1f} s of {outcome.span_s:.1f} s"
        out.append(f"{share} can't be read ({outcome.missing_rows} rows): a lean event there would not show")
    tomorrow = (datetime.now(UTC) + timedelta(days=1)).date().isoformat()  # it may be that day already elsewhere
    if outcome.day > tomorrow:
        out.append(f"{outcome.day} is yet to come: give the date by --on")
    if outcome.day and outcome.sensor_day > outcome.day:
        out.append(
            f"its sensor was fitted after it, on {outcome.sensor_day}, which this drive does not count: "
            "mend --sensor-fitted or --on"
        )
    return out


def as_json(done: list) -> dict:
    """What became of every drive, and every error."""
    from dataclasses import asdict

    return {
        "drives": [{"item": one.item, **asdict(session)} for one in done for session in one.outcomes],
        "errors": [{"item": one.item, **asdict(one.failed)} for one in done if one.failed is not None],
    }
