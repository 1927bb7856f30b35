"""ringpull pulls: the pulls, marked and found, a line each."""

from __future__ import annotations

import argparse
from collections.abc import Collection
from pathlib import Path

from ringpull.cli.options import add_ring, add_target, tell_origin, with_target

HELP = "list the pulls, marked and found, with lambda, load and lean events"
EXAMPLE = "ringpull pulls card"

BARS, PLAIN_BARS = "▁▂▃▄▅▆▇█", "12345678"
SPARK_COLUMNS = 24
NARROW = 12  # of it in a narrow window
ROOMY = 120  # columns; a narrower window gets fewer columns, none of them cut
ROOMY_ONLY = ("to s", "by")


def add_arguments(parser: argparse.ArgumentParser) -> None:
    parser.add_argument("source", type=Path, metavar="SRC", help="ring file, folder of segments, or card folder")
    add_ring(parser)
    add_target(parser)
    parser.add_argument("--json", action="store_true", help="print the pulls as JSON")


def sparkline(values, columns: int = SPARK_COLUMNS, bars: str = BARS) -> str:
    """A column of numbers as a line of bars, low to high; gaps are spaces. values: (rows,), NaN where not judged."""
    import numpy as np

    values = np.asarray(values, dtype=float)
    parts = (
        [part[np.isfinite(part)] for part in np.array_split(values, min(columns, len(values)))] if len(values) else []
    )
    means = [float(part.mean()) if len(part) else None for part in parts]
    known = [m for m in means if m is not None]
    if not known:
        return ""
    low, high = min(known), max(known)
    wide = max(high - low, 0.05)  # a flat line stays flat: scatter is not drawn as mountains
    return "".join(" " if m is None else bars[min(len(bars) - 1, int((m - low) / wide * len(bars)))] for m in means)


def event_words(event) -> str:
    """One lean event in the table."""
    least = "≥ " if event.bound else ""
    return f"{least}+{event.depth:.3f} at {event.deepest_rpm:.0f}, {event.length_s:.2f} s"


def run(args: argparse.Namespace) -> int:
    import json

    import ringpull
    from ringpull.analysis.answer import judge_pulls, warnings

    drive = with_target(args, ringpull.read(args.source, ring=args.ring))
    tell_origin(drive)
    judged = judge_pulls(drive.pulls())
    warned = warnings(drive, judged)
    if args.json:
        told = [one.as_json() for one in judged]
        for one in told:
            one["lamp_warned"] = any(w.pull == one["number"] for w in warned)
        print(json.dumps({"pulls": told}, indent=1))
        return 0
    if not judged:
        print(
            "No pulls: none was marked, and none was found from throttle or manifold pressure and rising engine speed."
        )
        return 0
    print_table(judged, notes_of(drive), {one.pull for one in warned})
    for one in warned:
        if one.pull is None:
            print(
                f"The logger's lamp warned of lean mixture at {one.start_s:.1f}-{one.end_s:.1f} s, outside of all "
                "pulls."
            )
    return 0


def notes_of(drive) -> dict[str, str]:
    """Remarks kept beside the ring file: pull -> text."""
    from ringpull.cli import terminal
    from ringpull.files.remarks import read_notes

    return {pull: terminal.printable(note) for pull, note in read_notes(drive.source, drive.older_ring).items()}


def print_table(judged, notes: dict[str, str], warned: Collection[int | None] = ()) -> None:
    """The table people read. warned: the pulls in which the logger's lamp warned."""
    import numpy as np
    from rich.table import Table

    from ringpull.cli import terminal
    from ringpull.wording.reasons import unjudged

    console = terminal.wide_console()
    narrow = console.width < ROOMY
    bars = BARS if terminal.can_show(BARS) else PLAIN_BARS
    sides = {
        "pull": "right",
        "from s": "right",
        "to s": "right",
        "by": "left",
        "rpm": "right",
        f"load {judged[0].judged.columns.load_unit}".rstrip(): "right",
        "lambda": "right",
        "along" if narrow else "along the pull": "left",
        "lean events": "left",
    }
    shown = [title for title in sides if not narrow or title not in ROOMY_ONLY]
    table = Table(box=None, pad_edge=False, header_style="bold")
    for title in shown:
        table.add_column(title, justify="right" if sides[title] == "right" else "left", no_wrap=title != "lean events")
    for pull in judged:
        n = pull.numbers
        rows = pull.judged.columns.rows(pull.pull.start_s, pull.pull.end_s)
        kept = pull.judged.masks.valid[rows] & pull.judged.loaded[rows]
        line = sparkline(
            np.where(kept, pull.judged.lambda_aligned[rows], np.nan), NARROW if narrow else SPARK_COLUMNS, bars
        )
        mean = f"{n.lambda_mean:.3f}" if np.isfinite(n.lambda_mean) else "-"
        events = unjudged(pull) or "; ".join(event_words(e) for e in n.lean_events) or "none"
        if pull.spoiled_events:
            events += "; yet " + "; ".join(event_words(e) for e in pull.spoiled_events)
        if pull.number in warned:
            events += "; the lamp warned"
        gap = f"\n  a gap: {n.lost_s:.2f} s of it were not recorded" if n.lost_s else ""
        note = notes.get(str(pull.number))
        cells = (
            str(pull.number),
            f"{pull.pull.start_s:.2f}",
            f"{pull.pull.end_s:.2f}",
            pull.pull.source,
            f"{n.rpm_from:.0f}-{n.rpm_to:.0f}" if np.isfinite(n.rpm_from) else "-",
            "-" if n.load_max is None else f"{n.load_max:.0f}",
            mean if narrow or mean == "-" else f"{mean} ({n.lambda_min:.3f}-{n.lambda_max:.3f})",
            line,
            events + gap + (f"\n  note: {note}" if note else ""),
        )
        table.add_row(
            *(cell for title, cell in zip(sides, cells, strict=True) if title in shown),
            style="red" if n.lean_events and not pull.spoiled else None,
        )
    console.print(table)
