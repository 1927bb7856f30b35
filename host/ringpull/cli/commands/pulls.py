"""ringpull pulls: list the pulls, one line each."""

from __future__ import annotations

import argparse
from collections.abc import Collection
from pathlib import Path

from ringpull.cli.options import add_ring, add_target, tell_origin, with_target

HELP = "list the pulls, marked with the button or found in the signals, with lambda, load and lean events"
EXAMPLE = "ringpull pulls card"

BARS, PLAIN_BARS = "▁▂▃▄▅▆▇█", "12345678"
SPARK_COLUMNS = 24
NARROW = 12  # columns of the sparkline in a narrow window
ROOMY = 120  # characters; a narrower window gets fewer columns, and none of them is cut
ROOMY_ONLY = ("to s", "by", "lowest-highest", "judged")


def add_arguments(parser: argparse.ArgumentParser) -> None:
    parser.add_argument("source", type=Path, metavar="SRC", help="ring file, folder of segments, or card folder")
    add_ring(parser)
    add_target(parser)
    parser.add_argument("--json", action="store_true", help="print the pulls as JSON")
    parser.add_argument("--strict", action="store_true", help="exit code 1 if the verdict is 'attention'")


def sparkline(values, columns: int = SPARK_COLUMNS, bars: str = BARS) -> str:
    """The values as a line of bars, gaps as spaces. values: (rows,), NaN where not judged."""
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
    """The text of one lean event in the table."""
    least = "at least " if event.bound else ""
    bank = "" if event.bank is None else f", {event.bank_label}"
    share = 100 * event.depth / event.target
    return f"{least}{share:.0f} % lean at {event.deepest_rpm:.0f} rpm, {event.length_s:.1f} s{bank}"


def unjudged_words(pull) -> str:
    """Why part of a pull was not judged; "" if all of it was. A moment may be counted under several reasons."""
    from ringpull.wording.masks import title

    long_s = pull.pull.end_s - pull.pull.start_s
    left_s = long_s - pull.judged_s
    if pull.spoiled or left_s < 0.05:
        return ""
    why = [("not under load", long_s - pull.loaded_s), *((title(mask), s) for mask, s in pull.left_out.items())]
    said = [f"{name} {s:.1f} s" for name, s in sorted(why, key=lambda one: -one[1]) if s >= 0.05]
    return (
        f"pull {pull.number}: {pull.judged_s:.1f} of {long_s:.1f} s judged; the rest: {', '.join(said) or 'in pieces'}"
    )


def run(args: argparse.Namespace) -> int:
    import json

    import ringpull
    from ringpull.analysis.answer import answer
    from ringpull.analysis.judge.verdict import ATTENTION
    from ringpull.cli.answer_lines import verdict_lines

    drive = with_target(args, ringpull.read(args.source, ring=args.ring))
    tell_origin(drive)
    found = answer(drive)
    judged, warned = found.pulls, found.warned
    code = 1 if args.strict and found.verdict == ATTENTION else 0
    if args.json:
        told = [one.as_json() for one in judged]
        for one in told:
            one["lamp_warned"] = any(w.pull == one["number"] for w in warned)
        print(json.dumps({"pulls": told}, indent=1))
        return code
    if not judged:
        print("No pulls: none was marked, and throttle or manifold pressure with rising engine speed showed none.")
        print("\n".join(["", *verdict_lines(found)]))
        return code
    print_table(judged, notes_of(drive), {one.pull for one in warned})
    print("\n".join(["", *verdict_lines(found)]))
    return code


def notes_of(drive) -> dict[str, str]:
    """The remarks kept beside the ring file, by pull number."""
    from ringpull.cli import terminal
    from ringpull.files.remarks import of_pulls

    notes = of_pulls(drive.source, drive.pulls(), drive.older_ring)
    return {pull: terminal.printable(note) for pull, note in notes.items()}


def print_table(judged, notes: dict[str, str], warned: Collection[int | None] = ()) -> None:
    """Print the table. warned: the pulls in which the logger's lamp warned."""
    import numpy as np
    from rich.table import Table

    from ringpull.cli import terminal
    from ringpull.wording.reasons import unanswered, unjudged

    console = terminal.wide_console()
    narrow = console.width < ROOMY
    bars = BARS if terminal.can_show(BARS) else PLAIN_BARS
    sessions = {pull.pull.session for pull in judged}
    sides = {
        "pull": "right",
        **({"session": "right"} if len(sessions) > 1 else {}),  # each has times of its own
        "from s": "right",
        "to s": "right",
        "by": "left",
        "rpm": "right",
        f"load {judged[0].judged.columns.load_unit}".rstrip(): "right",
        "lambda mean": "right",
        "lowest-highest": "right",
        "along" if narrow else "along the pull": "left",
        "judged": "right",
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
        events = unjudged(pull) or "; ".join(event_words(e) for e in n.lean_events) or unanswered(pull) or "none"
        if pull.spoiled_events:
            events += "; yet " + "; ".join(event_words(e) for e in pull.spoiled_events)
        if pull.number in warned:
            events += "; the lamp warned"
        gap = f"\n  a gap: {n.lost_s:.2f} s of the pull were not recorded" if n.lost_s else ""
        note = notes.get(str(pull.number))
        cells = (
            str(pull.number),
            *([str(pull.pull.session)] if len(sessions) > 1 else []),
            f"{pull.pull.start_s:.2f}",
            f"{pull.pull.end_s:.2f}",
            pull.pull.source,
            f"{n.rpm_from:.0f}-{n.rpm_to:.0f}" if np.isfinite(n.rpm_from) else "-",
            "-" if n.load_max is None else f"{n.load_max:.0f}",
            mean,
            "-" if mean == "-" else f"{n.lambda_min:.3f}-{n.lambda_max:.3f}",
            line,
            f"{n.judged_s:.1f} of {pull.pull.end_s - pull.pull.start_s:.1f} s",
            events + gap + (f"\n  note: {note}" if note else ""),
        )
        table.add_row(
            *(cell for title, cell in zip(sides, cells, strict=True) if title in shown),
            style="red" if n.lean_events and not pull.spoiled else None,
        )
    console.print(table)
    for words in filter(None, map(unjudged_words, judged)):
        console.print(words)
