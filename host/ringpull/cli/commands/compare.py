"""ringpull compare: did the change work."""

from __future__ import annotations

import argparse
from pathlib import Path

from ringpull.cli.options import add_target, between, tell_origin, with_target

HELP = "compare two drives or two sets of pulls, by engine speed: did the change work"
EXAMPLE = "ringpull compare before_card after_card"


def add_arguments(parser: argparse.ArgumentParser) -> None:
    parser.add_argument(
        "before", type=Path, metavar="BEFORE", help="ring file or card folder of the drive before the change"
    )
    parser.add_argument(
        "after", type=Path, metavar="AFTER", help="ring file or card folder of the drive after the change"
    )
    parser.add_argument("--before-pulls", metavar="N,N", help="use only these pulls of BEFORE")
    parser.add_argument("--after-pulls", metavar="N,N", help="use only these pulls of AFTER")
    parser.add_argument("--ring", metavar="ID", help="take an older ring of the card BEFORE, by its id")
    parser.add_argument("--after-ring", metavar="ID", help="take an older ring of the card AFTER, by its id")
    parser.add_argument(
        "--load-step", type=between(1, 200), metavar="STEP", help="divide by load too, in bins of this width"
    )
    add_target(parser)
    parser.add_argument("--power", action="store_true", help="compare power at the wheels instead of the mixture")
    parser.add_argument("--mass", type=between(50, 50000), metavar="KG", help="with --power: see `ringpull power`")
    parser.add_argument(
        "--gear", type=between(1, 1000), metavar="RPM_PER_KMH", help="with --power: see `ringpull power`"
    )
    parser.add_argument("--grade", type=between(-0.5, 0.5), metavar="SHARE", help="with --power: see `ringpull power`")
    parser.add_argument("--json", action="store_true", help="print the comparison as JSON")


def run(args: argparse.Namespace) -> int:
    import json
    from dataclasses import asdict

    import ringpull
    from ringpull.analysis.cells.drive_comparison import Side, of_mixture
    from ringpull.cli.commands.fuelmap import plain
    from ringpull.files.remarks import read_notes
    from ringpull.report import compare_part, compare_words

    refuse_unused(args)
    before, after = ringpull.read(args.before, ring=args.ring), ringpull.read(args.after, ring=args.after_ring)
    tell_origin(before, after)
    drives = [
        (with_target(args, before), numbers(args.before_pulls)),
        (with_target(args, after), numbers(args.after_pulls)),
    ]
    for drive, pulls in drives:
        refuse_unknown(drive, pulls)
    compared = None if args.power else of_mixture(Side(*drives[0]), Side(*drives[1]), args.load_step)
    result = of_power(drives, args) if compared is None else compared.result
    load_unit = next((view.columns.load_unit for drive, _ in drives for view in drive.views()), "")
    notes = {name: read_notes(drive.source, drive.older_ring) for name, drive in (("before", before), ("after", after))}
    if args.json:
        bins, others = (
            [{k: plain(v) for k, v in asdict(b).items()} for b in some] for some in (result.bins, result.others)
        )
        overall = [plain(v) for v in result.overall]
        words = compare_words.of_result(result) if compared is None else compare_words.of_drives(compared)
        words = words if compared is None else [*compare_part.own_targets(compared), *words]
        out = {"verdict": result.verdict, "overall": overall, "bins": bins, "words": words, "notes": notes}
        out["other_banks"] = others
        out["of"] = "watts at the wheels, differences as shares" if args.power else over(compared)
        if compared is not None:
            sides = zip(("before", "after"), compared.lean, strict=True)
            out["lean_pulls"] = {name: {k: v for k, v in asdict(side).items() if v != ()} for name, side in sides}
            out["unlike"] = [asdict(one) for one in compared.unlike]
        print(json.dumps(out, indent=1))
    else:
        show(result, compared, load_unit)
        show_notes(notes)
    return 0


def refuse_unused(args) -> None:
    """Raise BadUsage for an option that the chosen comparison would not use."""
    from ringpull.errors import BadUsage

    of_power = {"--mass": args.mass, "--gear": args.gear, "--grade": args.grade}
    of_mixture = {"--load-step": args.load_step, "--target": args.target, "--target-preset": args.target_preset}
    unused = of_mixture if args.power else of_power
    given = [name for name, value in unused.items() if value is not None]
    if given:
        what = "the mixture, not power" if args.power else "power, not the mixture"
        step = "leave one of the two out" if args.power else "add --power, or leave it out"
        raise BadUsage(f"{given[0]} is for comparing {what}", "options of two kinds of comparison are mixed", step)


def of_power(drives: list, args):
    """The comparison of power at the wheels."""
    from ringpull.analysis.power import compare_power
    from ringpull.cli.commands.power import car_of

    sides = [
        [(p, car_of(p, args)) for p in drive.pulls() if not p.spoiled and (pulls is None or p.number in pulls)]
        for drive, pulls in drives
    ]
    return compare_power.compare_power(*sides)


def numbers(chosen: str | None) -> set[int] | None:
    """Pull numbers from "1,3"; None for all."""
    from ringpull.errors import BadUsage

    if chosen is None:
        return None
    try:
        return {int(part) for part in chosen.split(",")}
    except ValueError:
        raise BadUsage(
            f"{chosen!r} is not a list of pulls", "it holds something besides numbers and commas", "write it as 1,3"
        ) from None


def refuse_unknown(drive, pulls: set[int] | None) -> None:
    """Raise BadUsage if the drive lacks one of these pulls."""
    from ringpull.errors import BadUsage

    known = {p.number for p in drive.pulls()}
    if pulls is not None and not pulls <= known:
        wrong = ", ".join(str(number) for number in sorted(pulls - known))
        raise BadUsage(
            f"{drive.source} has no pull {wrong}",
            f"its pulls are {', '.join(map(str, sorted(known)))}" if known else "no pull was marked or found in it",
            "`ringpull pulls` lists the pulls with their numbers",
        )


def show(result, compared, load_unit: str) -> None:
    """Print unlike targets, the count of lean pulls, the bins and the verdict.

    compared: the comparison of the mixture; None where `result` compares power.
    """
    import math

    from rich.table import Table

    from ringpull.cli import terminal
    from ringpull.report import compare_part, compare_words

    power = compared is None
    labels = {} if compared is None else compared.labels

    def number(value: float, form: str) -> str:
        return format(value, form) if math.isfinite(value) else "-"

    scale, form, step = (1e-3, ".1f", "+.1%") if power else (1.0, ".3f", "+.3f")
    with_load = any(b.load is not None for b in result.bins)
    with_bank = any(b.bank is not None for b in result.bins)
    titles = [
        "rpm",
        *([f"load {load_unit}".rstrip()] if with_load else []),
        *(["bank"] if with_bank else []),
        "pulls",
        "before",
        "after",
        "difference",
        "95 %",
    ]
    table = Table(box=None, pad_edge=False, header_style="bold")
    for title in [*titles, "vs other speeds", ""]:
        table.add_column(title, justify="right", no_wrap=title not in ("difference", "95 %", "vs other speeds"))
    for b in result.every_bin:
        table.add_row(
            f"{b.rpm:.0f}",
            *([f"{b.load:.0f}"] if with_load else []),
            *([labels.get(b.bank, b.bank) or "-"] if with_bank else []),
            f"{b.pulls[0]}/{b.pulls[1]}",
            number(b.before * scale, form),
            number(b.after * scale, form),
            number(b.difference, step),
            f"{number(b.low, step)} {number(b.high, step)}",
            number(b.relative, step),
            b.verdict if b.changed else "",
        )
    console = terminal.wide_console()
    unlike = [] if compared is None else compare_part.own_targets(compared)
    if compared is not None:
        for words in unlike:
            console.print(words)
        console.print(compare_part.lean_pulls(compared))
    console.print(table)
    if any(math.isfinite(b.relative) for b in result.bins):
        console.print(
            "'vs other speeds': the difference, less what the pulls differ by at the speeds that did not change"
        )
    what = "power at the wheels (kW, an estimate)" if power else over(compared)
    console.print(f"{what}: {result.verdict}")
    for words in compare_words.of_result(result) if compared is None else compare_part.told(compared):
        console.print(words)


def over(compared) -> str:
    """What the figures of a comparison of the mixture are."""
    from ringpull.report import compare_part

    differ = "measured over targets that differ, which does not show what the change did"
    return differ if compare_part.own_targets(compared) else "measured over target"


def show_notes(notes: dict[str, dict[str, str]]) -> None:
    """Print the notes on the pulls of both drives."""
    from ringpull.cli import terminal

    console = terminal.wide_console()
    for side, lines in notes.items():
        for pull, words in lines.items():
            console.print(f"note {side}, pull {pull}: {terminal.printable(words)}")
