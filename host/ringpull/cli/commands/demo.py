"""ringpull demo: an invented drive, recorded by the real firmware, then read and judged like any other."""

from __future__ import annotations

import argparse
from pathlib import Path

from ringpull.cli.options import day

HELP = "run the whole job once on an invented drive: firmware, ring files, answer, report"
EXAMPLE = "ringpull demo -o build/demo"


def add_arguments(parser: argparse.ArgumentParser) -> None:
    parser.add_argument(
        "-o",
        "--output",
        type=Path,
        default=Path("build/demo"),
        metavar="DIR",
        help="folder for signals, card and report (default: build/demo)",
    )
    parser.add_argument("--seed", type=int, default=1, help="seed of the invented drive, 0 or more (default: 1)")
    parser.add_argument(
        "--mended", action="store_true", help="invent the same car with a new fuel pump, to compare with the first"
    )
    parser.add_argument("--on", type=day, metavar="DATE", help="day of the drive on the shelf, such as 2026-04-01")
    parser.add_argument("--json", action="store_true", help="print the answer as JSON")


def run(args: argparse.Namespace) -> int:
    import json
    import time

    import ringpull
    from ringpull.analysis.answer import answer
    from ringpull.cli.answer_lines import answer_lines
    from ringpull.cli.terminal import progress
    from ringpull.errors import BadUsage
    from ringpull.invented import demo
    from ringpull.report import write_report
    from ringpull.shelf.keep import Told, keep

    if args.seed < 0:
        raise BadUsage(f"the seed can't be {args.seed}", "a minus sign was typed", "use a whole number, 0 or more")
    began = time.perf_counter()
    folder: Path = args.output
    with progress("invented drive") as show:
        signals = demo.write_signals(folder, args.seed, show, args.mended)
    with progress("firmware on MicroPython") as show:
        card = demo.run_firmware(folder, args.seed, show)
    with progress("answer and report") as show:
        drive = ringpull.read(card)
        show(0.3)
        found = answer(drive)
        show(0.5)
        (folder / "answer.json").write_text(json.dumps(found.as_json(), indent=1) + "\n")
        write_report(drive, found, folder / "report.html")
        show(0.8)
        (kept,) = keep(folder / "shelf", card, Told("hill", on=args.on, invented=True))
        show(1.0)
    if args.json:
        print(json.dumps(found.as_json(), indent=1))
        return 0
    car = "a 1.6 litre turbocharged hill-climb car" + (" after a new fuel pump" if args.mended else "")
    print(f"An invented drive, seed {args.seed}: {car}, three full-throttle pulls.")
    print(f"signals  {signals}")
    print(f"card     {card}: drive.rpl, pulls.rpl, written by the firmware")
    print(f"report   {folder / 'report.html'} (the demo took {time.perf_counter() - began:.1f} s)")
    print(f"shelf    {folder / 'shelf'}: the drive is {kept.drive} there, of the car hill")
    print()
    print("\n".join(answer_lines(found)))
    return 0
