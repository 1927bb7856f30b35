"""ringpull kept: what a shelf holds."""

from __future__ import annotations

import argparse
from pathlib import Path

HELP = "list what a shelf holds, and what an older analysis or calibration judged; move or remove a drive"
EXAMPLE = "ringpull kept shelf"

FACTS = ("drive", "date_from", "fuel", "change", "pulls", "lean_events", "verdict", "analysis", "calibration_from")


def add_arguments(parser: argparse.ArgumentParser) -> None:
    parser.add_argument("shelf", type=Path, metavar="SHELF", help="folder of the shelf")
    parser.add_argument("--car", metavar="NAME", help="this car's drives, a line each")
    taken = parser.add_mutually_exclusive_group()
    taken.add_argument("--move", metavar="DRIVE", help="give a drive that was kept under a wrong car to --car")
    taken.add_argument("--remove", metavar="DRIVE", help="take a drive from the shelf, its copy of the card too")
    parser.add_argument("--json", action="store_true", help="print the same as JSON")


def run(args: argparse.Namespace) -> int:
    import json

    from ringpull.errors import BadUsage
    from ringpull.shelf.contents import contents

    if args.move is not None or args.remove is not None:
        return take(args)
    cars = contents(args.shelf)
    if args.car is not None:
        known = [one.name for one in cars]
        cars = [one for one in cars if one.name == args.car]
        if not cars:
            raise BadUsage(
                f"there is no car {args.car!r} on this shelf",
                "a slip in the name",
                f"take one of {', '.join(known) or 'none: keep a drive first'}",
            )
    if args.json:
        print(json.dumps({"cars": [as_json(one) for one in cars]}, indent=1))
        return 0
    if not cars:
        print(f"{args.shelf} holds no drive yet: ringpull keep CARD --in {args.shelf} --car NAME")
        return 0
    show(cars, args.shelf)
    if args.car is not None:
        show_drives(cars[0])
    return 0


def take(args: argparse.Namespace) -> int:
    """One drive moved or removed, and a line about it."""
    import json
    from dataclasses import asdict

    from ringpull.cli.commands.keep import line, tell_new_car
    from ringpull.errors import BadUsage
    from ringpull.shelf.moving import move, remove
    from ringpull.shelf.places import Shelf, car_name

    if args.move is None:
        done = remove(args.shelf, args.remove)
    else:
        if args.car is None:
            raise BadUsage("the car to move it to is not named", "--car is missing", "add --car and the car's name")
        known = Shelf(args.shelf).cars() if args.shelf.is_dir() else []
        done = move(args.shelf, args.move, args.car)
        tell_new_car(args.shelf, car_name(args.car), known)
    print(json.dumps(asdict(done), indent=1) if args.json else line(done))
    return 0


def as_json(car) -> dict:
    """A car with its drives."""
    from dataclasses import asdict

    from ringpull.shelf.contents import day_of

    out = {key: value for key, value in asdict(car).items() if key != "rows"}
    out["drive_list"] = [{"day": day_of(row)} | {name: row[name] for name in FACTS} for row in car.rows]
    return out


def show(cars: list, shelf: Path) -> None:
    """A line for each car, its changes, and what to do about drives that are out of date."""
    from rich.table import Table

    from ringpull.cli import terminal

    console = terminal.wide_console()
    table = Table(box=None, pad_edge=False, header_style="bold")
    for title in ("car", "drives", "from", "to", "pulls", "engine hours", "with attention", "invented"):
        table.add_column(title, justify="left" if title in ("car", "from", "to") else "right", no_wrap=True)
    for one in cars:
        table.add_row(
            terminal.printable(one.name),
            str(one.drives),
            one.first or "-",
            one.last or "-",
            str(one.pulls),
            f"{one.hours:.1f}",
            str(one.lean),
            str(one.invented),
        )
    console.print(table)
    for one in cars:
        for change in one.changes:
            console.print(f"{one.name}, {change.day or 'undated'}: {terminal.printable(change.text)}")
        for words in out_of_date(one, shelf):
            console.print(terminal.printable(words), soft_wrap=True)


def out_of_date(car, shelf: Path) -> list[str]:
    """What is to be known of a car's drives before they are asked."""
    import shlex

    from ringpull.shelf import calibrations

    def drives(count: int, one: str, more: str) -> str:
        return f"{car.name}: {count} {f'drive {one}' if count == 1 else f'drives {more}'}"

    out = []
    again = f"keep {'its card' if car.undated + car.guessed == 1 else 'their cards'} again with --on"
    if car.undated:
        out.append(f"{drives(car.undated, 'has', 'have')} no date: {again}")
    if car.guessed:
        out.append(f"{drives(car.guessed, 'has its', 'have their')} file's date, a guess: {again}")
    if car.old_analysis:
        how = shlex.join(["ringpull", "rejudge", str(shelf), "--car", car.name])
        out.append(f"{drives(car.old_analysis, 'was', 'were')} judged by an older analysis: {how}")
    if car.old_calibration:
        out.append(calibrations.mixed(car.name, car.old_calibration, car.calibration))
    return out


def show_drives(car) -> None:
    """A line for each drive."""
    from rich.table import Table

    from ringpull.cli import terminal
    from ringpull.shelf.contents import day_of

    table = Table(box=None, pad_edge=False, header_style="bold")
    for title in ("drive", "day", "by", "fuel", "pulls", "lean events", "verdict", "change"):
        table.add_column(title, justify="right" if title in ("pulls", "lean events") else "left")
    for row in car.rows:
        table.add_row(
            row["drive"],
            day_of(row) or "-",
            row["date_from"],
            terminal.printable(row["fuel"] or "-"),
            str(row["pulls"]),
            str(row["lean_events"]),
            row["verdict"],
            terminal.printable(row["change"] or ""),
        )
    terminal.wide_console().print(table)
