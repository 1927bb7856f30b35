"""ringpull calibrate: known voltages, frequencies and free air at the logger's inputs."""

from __future__ import annotations

import argparse
import json
import subprocess
import sys
from pathlib import Path
from typing import TYPE_CHECKING

from ringpull.cli.options import add_port, between

if TYPE_CHECKING:
    from ringpull.cable.bench import Bench
    from ringpull.cable.calibrate import Outcome
    from ringpull.device.two_points import Meter, Point

HELP = "calibrate the logger's inputs over USB: two voltages, ground, frequency, free air"
EXAMPLE = "ringpull calibrate --config logger.json"

SECONDS = 2.0


def add_arguments(parser: argparse.ArgumentParser) -> None:
    add_port(parser)
    parser.add_argument("--config", type=Path, metavar="FILE", help="the PC's logger.json, which gets the same changes")
    parser.add_argument("--channel", metavar="NAME", help="ask nothing: this channel, and one of the next four")
    act = parser.add_mutually_exclusive_group()
    act.add_argument(
        "--point",
        type=between(-60, 60),
        action="append",
        metavar="V",
        help="a voltage at the terminal, by the multimeter; two at least, a third proves them",
    )
    act.add_argument(
        "--ground",
        type=between(0.2, 4.8),
        metavar="V",
        help="ground shift: a cell of V against the sensor's own ground",
    )
    act.add_argument("--known-hz", type=between(0.5, 20000), metavar="HZ", help="a pulse input against this frequency")
    act.add_argument("--free-air", action="store_true", help="a lambda sensor in free air, warm, engine off")
    parser.add_argument(
        "--multimeter", type=between(-60, 60), metavar="V", help="with --free-air: volts at the controller"
    )
    parser.add_argument(
        "--set-with",
        metavar="COMMAND",
        help="run before each point, {volts} standing for it: a source that a program can set; without it Enter is "
        "waited for",
    )
    parser.add_argument(
        "--meter-pct",
        type=between(0, 5),
        default=0.5,
        metavar="PCT",
        help="the multimeter's limits, in per cent of the reading (default: 0.5)",
    )
    parser.add_argument(
        "--meter-volts", type=between(0, 1), default=0.0, metavar="V", help="and in volts beside (default: 0)"
    )
    parser.add_argument(
        "--seconds",
        type=between(0.2, 60),
        default=SECONDS,
        metavar="S",
        help=f"how long each voltage is read (default: {SECONDS:g})",
    )
    parser.add_argument(
        "--fixture", action="store_true", help="the loop-back of hardware/README.md drives the input; still measure it"
    )
    parser.add_argument("--no-write", action="store_true", help="show what comes out and leave both sides as they are")
    parser.add_argument("--json", action="store_true", help="print what came out as JSON")


def run(args: argparse.Namespace) -> int:
    from ringpull.cable import bench as benches
    from ringpull.cable import link as links
    from ringpull.cable.calibrate import Sides
    from ringpull.errors import BadUsage

    scripted = args.point or args.ground is not None or args.known_hz is not None or args.free_air
    if bool(scripted) != bool(args.channel):
        raise BadUsage(
            "--channel and what is to be done with it go together",
            "one of the two is missing",
            "ringpull calibrate --channel lambda_1 --point 1.333 --point 2.667 --point 2.0; without both, it asks",
        )
    _tell("The recording ends for this: the ring is finished, and the logger records again at the end.")
    with links.connect(args.port) as link:
        with benches.Bench(link) as bench:
            sides = Sides(bench, args.config)
            done = [_scripted(args, bench, sides)] if scripted else _asked(args, bench, sides)
    _tell("It records again." if benches.records_again(bench.path) else "It does not record yet: its lamp tells why.")
    if args.json:
        shown = [{"what": one.what, "channel": one.channel, "changes": one.changes, **one.figures} for one in done]
        print(json.dumps({"done": shown, "written": not args.no_write}))
    return 0


def _tell(line: str) -> None:
    print(line, file=sys.stderr)


def _ask(prompt: str) -> str:
    print(prompt, end="", file=sys.stderr, flush=True)
    return input()


def _meter(args: argparse.Namespace) -> Meter:
    from ringpull.device.two_points import Meter

    return Meter(args.meter_pct / 100, args.meter_volts)


def _asked(args: argparse.Namespace, bench: Bench, sides) -> list[Outcome]:
    from ringpull.cable.calibrate_questions import Interview
    from ringpull.errors import BadUsage

    interview = Interview(_ask, _tell, bench, sides, _meter(args), args.seconds, args.fixture, not args.no_write)
    try:
        return interview.run()
    except (EOFError, KeyboardInterrupt):
        raise BadUsage(
            "the answers ended before 'done'",
            "calibrate was interrupted, or its input is not a keyboard",
            f"{len(interview.written)} were written whole, nothing else was changed; start it again for the rest",
        ) from None


def _scripted(args: argparse.Namespace, bench: Bench, sides) -> Outcome:
    from ringpull.cable import calibrate

    meter, name = _meter(args), args.channel
    if args.point:
        calibrate.named(bench, name, calibrate.TWO_POINTS)
        _tell(_caution(calibrate.TWO_POINTS))
        outcome = calibrate.of_points(bench, name, meter, [_point(args, bench, volts) for volts in args.point])
    elif args.ground is not None:
        calibrate.named(bench, name, calibrate.GROUND)
        _tell(_caution(calibrate.GROUND))
        outcome = calibrate.of_ground(bench, name, meter, _point(args, bench, args.ground))
    elif args.known_hz is not None:
        calibrate.named(bench, name, calibrate.FREQUENCY)
        _tell(_caution(calibrate.FREQUENCY))
        outcome = _frequency(args, bench)
    else:
        calibrate.named(bench, name, calibrate.FREE_AIR)
        _tell(_caution(calibrate.FREE_AIR))
        outcome = calibrate.of_free_air(bench, name, meter, args.multimeter, args.seconds)
    if not args.json:
        print("\n".join(outcome.lines))
    if not args.no_write:
        for path in sides.write(outcome):
            _tell(f"{path} is written")
    return outcome


def _frequency(args: argparse.Namespace, bench: Bench) -> Outcome:
    from ringpull.cable import calibrate
    from ringpull.errors import BadUsage

    if args.fixture and not bench.drive("hz", round(args.known_hz)):
        raise BadUsage(
            "this board has no frequency output free",
            "it is another board, or external converters use the pin",
            "give the input a frequency of your own, without --fixture",
        )
    try:
        return calibrate.of_frequency(bench, args.channel, args.known_hz, args.seconds)
    finally:
        if args.fixture:
            bench.drive("hz", 0)


def _caution(act: str) -> str:
    from ringpull.cable.calibrate_questions import CAUTIONS

    return f"CAUTION: {CAUTIONS[act]}"


def _point(args: argparse.Namespace, bench: Bench, volts: float) -> Point:
    from ringpull.cable import calibrate
    from ringpull.device.two_points import Point
    from ringpull.errors import BadUsage

    if args.set_with:
        command = args.set_with.replace("{volts}", f"{volts:g}")
        done = subprocess.run(command, shell=True, capture_output=True, text=True)
        if done.returncode:
            said = (done.stderr or done.stdout).strip().splitlines() or ["nothing"]
            raise BadUsage(
                f"the command for {volts:g} V failed: {said[-1]}",
                "the source is not there, or the command is another one",
                f"try it by itself: {command}",
            )
    elif args.point:
        try:
            _ask(f"Put {volts:g} V on {args.channel}, then press Enter. ")
        except (EOFError, KeyboardInterrupt):
            raise BadUsage(
                "nobody pressed Enter",
                "calibrate was interrupted, or its input is not a keyboard",
                "give a command that sets the source: --set-with 'COMMAND {volts}'; nothing was written",
            ) from None
    return Point(volts, calibrate.reading(bench, args.channel, args.seconds))
