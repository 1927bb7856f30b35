"""Options that several commands share: the target to judge by, and numbers within limits."""

from __future__ import annotations

import argparse
import sys
from collections.abc import Callable
from pathlib import Path
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from ringpull.drive import Drive

PRESET_FUELS, PRESET_ASPIRATIONS = ("petrol", "e85", "methanol", "gas"), ("natural", "boosted")


def between(least: float, most: float) -> Callable[[str], float]:
    """A type for argparse: a number from least to most."""

    def read(text: str) -> float:
        try:
            value = float(text)
        except ValueError:
            value = float("nan")
        if not least <= value <= most:
            raise argparse.ArgumentTypeError(f"{text} is not a number from {least:g} to {most:g}")
        return value

    return read


def add_port(parser: argparse.ArgumentParser) -> None:
    """Add the argument PORT."""
    parser.add_argument("port", nargs="?", metavar="PORT", help="the logger's port (default: the only board on USB)")


def add_ring(parser: argparse.ArgumentParser) -> None:
    """Add the option --ring."""
    parser.add_argument("--ring", metavar="ID", help="read an older ring of a used card; `ringpull info` lists the ids")


def day(text: str) -> str:
    """A type for argparse: a day as 2026-04-01."""
    from ringpull.files.dates import as_day

    try:
        return as_day(text)
    except ValueError:
        raise argparse.ArgumentTypeError(f"{text!r} is not a day; write it as 2026-04-01") from None


def add_shelf_work(parser: argparse.ArgumentParser) -> None:
    """--jobs and --cluster."""
    parser.add_argument(
        "--jobs", type=int, default=1, metavar="N", help="processes that judge at the same time (default: 1)"
    )
    parser.add_argument(
        "--cluster", default="", metavar="ADDRESS", help="let the workers of a Dask cluster judge, as tcp://HOST:8786"
    )


def tell_origin(*drives) -> None:
    """Print a note if a drive's files hold other rings too, if a session's setup had to be assumed, or if
    its configuration can't be used."""
    from ringpull.wording import refused
    from ringpull.wording.reasons import cut_short

    for drive in drives:
        for session in drive.sessions:
            if session.assumed:
                print(
                    f"note: the setup of session {session.id} of {drive.source} is lost; it is {session.assumed}",
                    file=sys.stderr,
                )
            if session.refused_config is not None:
                which = (session.id,) if len(drive.sessions) > 1 else ()
                print(f"note: {drive.source}: {refused.what(session.refused_config, which)}", file=sys.stderr)
        if drive.cut_short is not None:
            print(f"note: {cut_short(*drive.cut_short)}", file=sys.stderr)
        others = [one for one in drive.rings if one.id != drive.ring_id and one.sessions]
        if others:
            which = "an older ring" if drive.older_ring else "the newest ring"
            said = ", ".join(f"{one.id} (sessions: {one.sessions})" for one in others)
            print(f"note: {drive.source} holds several rings; this is {which}. --ring reads: {said}", file=sys.stderr)


def add_target(parser: argparse.ArgumentParser) -> None:
    """Add the options --target and --target-preset."""
    group = parser.add_mutually_exclusive_group()
    group.add_argument(
        "--target", type=Path, metavar="CSV", help="judge by this table of lambda: engine speeds across, loads down"
    )
    names = [f"{fuel}-{aspiration}" for fuel in PRESET_FUELS for aspiration in PRESET_ASPIRATIONS]
    group.add_argument(
        "--target-preset",
        choices=names,
        metavar="FUEL-ASPIRATION",
        help=f"judge by a usual target (common practice, no source): {', '.join(names)}",
    )


def with_target(args: argparse.Namespace, drive: Drive) -> Drive:
    """The drive, judged by the target of the arguments if there is one, else by its configuration's."""
    from ringpull.files.axis_tables import read_target

    if args.target_preset:
        return drive.judged_by({"preset": args.target_preset})
    if args.target:
        with_map = all(view.columns.map_kpa is not None for view in drive.views())
        load, unit = ("map", "kpa") if with_map else ("throttle", "pct")
        return drive.judged_by(read_target(args.target, load, unit))
    return drive
