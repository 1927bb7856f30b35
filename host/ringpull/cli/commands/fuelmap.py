"""ringpull fuelmap: measured lambda over target by engine speed and load, and the factor for the fuel table."""

from __future__ import annotations

import argparse
from pathlib import Path

from ringpull.cli.options import add_ring, add_target, tell_origin, with_target
from ringpull.files.outputs import different, output_file, whole

HELP = "measured lambda over target by engine speed and load, with intervals and a factor for the fuel table"
EXAMPLE = "ringpull fuelmap card -o fuelmap.csv --table factors.csv"

COLUMNS = (
    *("rpm", "load", "passes", "seconds", "loaded", "ratio", "low", "high", "factor", "systematic", "state"),
    "lean_event",
)


def add_arguments(parser: argparse.ArgumentParser) -> None:
    parser.add_argument("source", type=Path, metavar="SRC", help="ring file, folder of segments, or card folder")
    add_ring(parser)
    parser.add_argument("-o", "--output", type=output_file, metavar="CSV", help="write every cell, one line each")
    parser.add_argument(
        "--table",
        type=output_file,
        metavar="CSV",
        help="write the factors as a table: engine speeds across, loads down, empty where there is not enough data. "
        "Below it, the same table says yes where a factor is of a cell under load",
    )
    parser.add_argument(
        "--axes", type=Path, metavar="CSV", help="use the engine speeds and loads of this table (laid out likewise)"
    )
    add_target(parser)
    parser.add_argument("--picture", type=output_file, metavar="PNG", help="draw the map")
    parser.add_argument("--json", action="store_true", help="print the cells as JSON")


def run(args: argparse.Namespace) -> int:
    import json
    import sys
    from dataclasses import asdict

    import ringpull
    from ringpull.analysis.cells import fuelmap
    from ringpull.analysis.cells.passes import Axes
    from ringpull.files.axis_tables import read_table
    from ringpull.report.map_words import sentences

    different(args.output, args.table, args.picture)
    if args.picture:  # imported before the work begins: the plotting library may be missing
        from ringpull.report import pictures
    axes = Axes(*read_table(args.axes)[:2]) if args.axes else None
    drive = with_target(args, ringpull.read(args.source, ring=args.ring))
    tell_origin(drive)
    made = fuelmap.of_drive(drive, axes)
    if not made.cells:
        print(*sentences(made), sep="\n", file=sys.stderr)
        return 3
    if args.output:
        rows = [[text(getattr(c, name)) for name in COLUMNS] for c in made.every_cell]
        write_rows(args.output, [list(COLUMNS), *rows])
    if args.table:
        write_rows(args.table, table_rows(made))
    if args.picture:
        pictures.write_map(made, args.picture)
    if args.json:
        cells = [{k: plain(v) for k, v in asdict(c).items()} for c in made.every_cell]
        print(json.dumps({"cells": cells, "assumptions": sentences(made)}, indent=1))
    else:
        show(made)
    return 0


def plain(value):
    """The value, or None for a float that JSON cannot hold (NaN, infinity)."""
    import math

    return None if isinstance(value, float) and not math.isfinite(value) else value


def text(value) -> str:
    """The text of a CSV cell: numbers with up to four decimals; empty for None and NaN."""
    import math

    if value is None or (isinstance(value, float) and not math.isfinite(value)):
        return ""
    if isinstance(value, bool):
        return "yes" if value else "no"
    return f"{value:.4f}".rstrip("0").rstrip(".") if isinstance(value, float) else str(value)


def table_rows(made) -> list[list[str]]:
    """The factors as rows of text: first row engine speeds, first column loads, empty where no factor is known.

    Below them the table of which factors belong to cells under load, marked by axis_tables.UNDER_LOAD.
    """
    import numpy as np

    from ringpull.files.axis_tables import UNDER_LOAD

    factors, loaded = made.grid("factor"), made.grid("loaded")
    known = np.isfinite(factors)
    loads = [""] if made.axes.loads is None else [text(float(v)) for v in made.axes.loads]
    speeds = [text(float(v)) for v in made.axes.speeds]
    numbers = [[f"{v:.3f}" if np.isfinite(v) else "" for v in row] for row in factors]
    words = [[("yes" if yes else "no") if there else "" for yes, there in zip(*row, strict=True)]
             for row in zip(loaded, known, strict=True)]  # fmt: skip
    rows = [["", *speeds], *([load, *row] for load, row in zip(loads, numbers, strict=True))]
    return [*rows, [], [UNDER_LOAD, *speeds], *([load, *row] for load, row in zip(loads, words, strict=True))]


def write_rows(path: Path, rows: list[list[str]]) -> None:
    import csv

    with whole(path) as fresh, fresh.open("w", newline="", encoding="utf-8") as out:
        csv.writer(out).writerows(rows)


def show(made) -> None:
    """Print the judged cells, leanest first."""
    from rich.table import Table

    from ringpull.analysis.cells.cell import JUDGED, TOO_FEW
    from ringpull.cli import terminal
    from ringpull.report.map_words import sentences

    table = Table(box=None, pad_edge=False, header_style="bold")
    titles = "rpm", f"load {made.load_unit}".rstrip(), "loaded", "passes", "lambda/target", "95 %", "factor", ""
    for title in titles:
        table.add_column(title, justify="right", no_wrap=True)
    judged = [c for c in made.cells if c.state == JUDGED]
    for c in sorted(judged, key=lambda c: -c.ratio):
        load = "-" if c.load is None else f"{c.load:.0f}"
        style = "red" if c.lean_event or (c.loaded and c.low > 1.0) else None
        table.add_row(
            f"{c.rpm:.0f}",
            load,
            text(c.loaded),
            str(c.passes),
            f"{c.ratio:.3f}",
            f"{c.low:.3f}-{c.high:.3f}",
            f"{c.factor:.3f}",
            "lean event" if c.lean_event else "",
            style=style,
        )
    console = terminal.console()
    console.print(table)
    few = sum(c.state == TOO_FEW for c in made.cells)
    if few:
        console.print(f"{few} cell{'' if few == 1 else 's'} with too few passes: not enough data")
    for words in sentences(made):
        console.print(words)
