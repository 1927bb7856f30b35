"""ringpull power: estimate each pull's power at the wheels, with its interval."""

from __future__ import annotations

import argparse
from pathlib import Path

from ringpull.cli.options import add_ring, between, tell_origin

HELP = "estimate power and torque at the wheels from how fast engine speed rises in the pulls, with intervals"
EXAMPLE = "ringpull power card --mass 950 --gear 60 --grade 0"

STEP_RPM = 500.0
PEAK_RPM = 250.0  # a peak is a mean over this span of engine speed: a single point would be too high by chance
LEAST_POINTS = 8
WATTS = {"kW": 1000.0, "hp": 745.69987}  # watts in each unit; hp is 550 foot-pounds a second
MOST_LOSS = 0.49
TOO_SHORT = "Power can't be estimated: no pull has a steady engine speed signal for long enough."


def add_arguments(parser: argparse.ArgumentParser) -> None:
    parser.add_argument("source", type=Path, metavar="SRC", help="ring file, folder of segments, or card folder")
    add_ring(parser)
    parser.add_argument(
        "--mass",
        type=between(50, 50000),
        metavar="KG",
        help="mass of car, driver and fuel (default: mass_kg of logger.json)",
    )
    parser.add_argument(
        "--gear", type=between(1, 1000), metavar="RPM_PER_KMH", help="engine rpm per km/h in the gear of the pulls"
    )
    parser.add_argument(
        "--grade",
        type=between(-0.5, 0.5),
        metavar="SHARE",
        help="slope of the road, 0.01 for 1 %% uphill (default: unknown)",
    )
    parser.add_argument(
        "--loss",
        type=between(0, MOST_LOSS),
        metavar="SHARE",
        help="share of power that the driveline loses; with it the engine's power is shown too",
    )
    parser.add_argument(
        "--correction", choices=("sae", "iso", "din"), help="correct to standard air; needs --kpa and --degc"
    )
    parser.add_argument("--kpa", type=between(40, 120), help="air pressure during the pulls, for drag and correction")
    parser.add_argument(
        "--degc", type=between(-60, 80), help="air temperature during the pulls, for drag and correction"
    )
    parser.add_argument(
        "--humidity",
        type=between(0, 1),
        metavar="SHARE",
        help="relative humidity, 0 to 1, for --correction sae and iso (default: 0)",
    )
    parser.add_argument(
        "--unit", choices=tuple(WATTS), default="kW", help="unit of the printed table (default: kW; hp is 745.7 W)"
    )
    parser.add_argument("--json", action="store_true", help="print the figures as JSON, in watts")


def run(args: argparse.Namespace) -> int:
    import json
    import sys

    import ringpull
    from ringpull.analysis.judge import needs
    from ringpull.analysis.power import motion, sentences, standard_air
    from ringpull.analysis.power.pull_power import pull_power
    from ringpull.wording.needs import lacking

    factor = correction(args)
    drive = ringpull.read(args.source, ring=args.ring)
    tell_origin(drive)
    pulls = [p for p in drive.pulls() if not p.spoiled]
    if not pulls:
        print("Power can't be estimated: no pull was marked or found, or all are flagged spoiled.", file=sys.stderr)
        return 3
    rows: list[dict] = []
    peaks: list[dict] = []
    words: list[str] = []
    for pull in pulls:
        car = car_of(pull, args)
        result = pull_power(pull.view.columns, pull.start_s, pull.end_s, car, pull.view.turns)
        if result is None:
            continue
        words += [line for line in sentences.lines(car, motion.SMOOTH_S) if line not in words]
        if result.other_gears is not None:
            words.append(f"pull {pull.number}: {sentences.other_gears(result.other_gears)}")
        rows += lines_of(pull.number, result, factor, args.loss)
        peaks += peak_of(pull.number, result, factor)
    if not rows:
        unmet = needs.everywhere([p.view.columns for p in pulls], needs.POWER)
        unmet = [role for role in unmet if role != "mass"]
        said = f"Power can't be estimated: {lacking(unmet)}." if unmet else TOO_SHORT
        print(said, file=sys.stderr)
        return 3
    if args.loss is not None:
        words.append(
            f"the engine's power is an estimate too: it takes the driveline's loss as {args.loss:.0%}, as given, and "
            "leaves out the power that speeds up crank and flywheel, which is much in a low gear"
        )
    if args.correction:
        words.append(f"corrected to standard air ({args.correction}): factor {factor:.4f}")
        if not standard_air.MEANT_FOR[0] <= factor <= standard_air.MEANT_FOR[1]:
            words.append("the correction is not meant for air so far from standard: compare uncorrected figures")
    if args.json:
        print(json.dumps({"peaks": peaks, "power": rows, "assumptions": words}, indent=1))
    else:
        show(peaks, rows, words, args.loss, args.unit)
    return 0


def correction(args) -> float:
    """The factor to standard air; 1 without --correction."""
    from ringpull.analysis.power import standard_air
    from ringpull.errors import BadUsage

    both = "give both as measured during the pulls, for instance --kpa 97.5 --degc 24"
    if args.correction and (args.kpa is None or args.degc is None):
        raise BadUsage("a correction needs the air's pressure and temperature", "--kpa or --degc is missing", both)
    if (args.kpa is None) != (args.degc is None):
        given, missing = ("--kpa", "--degc") if args.degc is None else ("--degc", "--kpa")
        raise BadUsage(f"{given} alone does not give the density of the air", f"{missing} is missing", both)
    if args.humidity is not None and args.correction not in ("sae", "iso"):
        raise BadUsage(
            "--humidity is used only by the corrections sae and iso",
            "--correction is missing, or it is din",
            "give --correction sae or iso, or leave --humidity out",
        )
    if not args.correction:
        return 1.0
    return float(standard_air.CORRECTIONS[args.correction](args.kpa, args.degc, args.humidity or 0.0))


def car_of(pull, args):
    """The car in a pull, from the configuration, the arguments and the ratio of engine speed to wheel speed."""
    from dataclasses import replace

    from ringpull.analysis.power.car import Unknown, car_from
    from ringpull.analysis.power.sentences import LACKING
    from ringpull.analysis.power.standard_air import air_kg_m3
    from ringpull.errors import BadUsage

    car = car_from(pull.view.columns, args.mass, args.gear, args.grade, (pull.start_s, pull.end_s))
    if isinstance(car, Unknown):
        raise BadUsage(
            f"power can't be estimated: {LACKING[car]}",
            "`vehicle` in the configuration does not give it",
            "give --mass in kg and --gear in engine rpm per km/h",
        )
    kpa, degc = getattr(args, "kpa", None), getattr(args, "degc", None)
    return car if kpa is None or degc is None else replace(car, air_kg_m3=air_kg_m3(kpa, degc))


def lines_of(number: int, result, factor: float, loss: float | None) -> list[dict]:
    """One pull as a dict for each bin of engine speed; watts at the wheels, corrected if asked for."""
    import numpy as np

    from ringpull.analysis.power.motion import engine_watts

    edges = np.arange(np.floor(result.rpm.min() / STEP_RPM), np.ceil(result.rpm.max() / STEP_RPM) + 1) * STEP_RPM
    out = []
    for low, high in zip(edges, edges[1:], strict=False):
        here = (result.rpm >= low) & (result.rpm < high)
        if np.count_nonzero(here) < LEAST_POINTS:
            continue
        watts, least, most = (float(v[here].mean()) * factor for v in (result.watts, result.low, result.high))
        rpm = float(result.rpm[here].mean())
        line: dict[str, float] = {
            "pull": number,
            "rpm": round(rpm),
            "watts": round(watts),
            "low": round(least),
            "high": round(most),
        }
        line["torque_nm"] = round(watts / (rpm * 2 * np.pi / 60.0), 1)
        if loss is not None:
            for name, value in (("engine_watts", watts), ("engine_low", least), ("engine_high", most)):
                line[name] = round(float(engine_watts(np.array(value), loss)))
        out.append(line)
    return out


def peak_of(number: int, result, factor: float) -> list[dict]:
    """The highest power and torque of one pull, each a mean over PEAK_RPM, with engine speed and interval.

    Empty if the pull is too short. rising: power is highest in the last bin, so the true peak may lie beyond it.
    """
    import numpy as np

    place = np.floor(result.rpm / PEAK_RPM).astype(int)
    bins = [place == index for index in np.unique(place) if np.count_nonzero(place == index) >= LEAST_POINTS]
    if not bins:
        return []
    rpm = np.array([result.rpm[here].mean() for here in bins])
    watts, low, high = (
        np.array([one[here].mean() for here in bins]) * factor for one in (result.watts, result.low, result.high)
    )
    best, turns = int(np.argmax(watts)), rpm * 2.0 * np.pi / 60.0
    pull = int(np.argmax(watts / turns))
    return [
        {
            "pull": number,
            "watts": round(float(watts[best])),
            "low": round(float(low[best])),
            "high": round(float(high[best])),
            "rpm": round(float(rpm[best])),
            "rising": best == len(bins) - 1,
            "torque_nm": round(float(watts[pull] / turns[pull]), 1),
            "torque_low": round(float(low[pull] / turns[pull]), 1),
            "torque_high": round(float(high[pull] / turns[pull]), 1),
            "torque_rpm": round(float(rpm[pull])),
        }
    ]


def peak_line(one: dict, unit: str) -> str:
    """The line that prints a pull's peaks."""
    watts, low, high = (one[name] / WATTS[unit] for name in ("watts", "low", "high"))
    rising = " (still rising where the pull ends)" if one["rising"] else ""
    return (
        f"pull {one['pull']}: {watts:.0f} {unit} ({low:.0f}-{high:.0f}) at {one['rpm']} rpm{rising}, "
        f"{one['torque_nm']:.0f} Nm ({one['torque_low']:.0f}-{one['torque_high']:.0f}) at {one['torque_rpm']} rpm"
    )


def show(peaks: list[dict], rows: list[dict], words: list[str], loss: float | None, unit: str) -> None:
    """Print the peaks, then a table by engine speed, then the assumptions."""
    from rich.table import Table

    from ringpull.cli import terminal

    table = Table(box=None, pad_edge=False, header_style="bold")
    titles = ["pull", "rpm", f"{unit} at the wheels", "95 %", "Nm"]
    titles += [] if loss is None else [f"{unit} of the engine", "95 %"]
    for title in titles:
        table.add_column(title, justify="right", no_wrap=True)
    watts = WATTS[unit]
    for row in rows:
        cells = [str(row["pull"]), str(row["rpm"]), f"{row['watts'] / watts:.1f}"]
        cells += [f"{row['low'] / watts:.1f}-{row['high'] / watts:.1f}", f"{row['torque_nm']:.0f}"]
        if loss is not None:
            cells.append(f"{row['engine_watts'] / watts:.1f}")
            cells.append(f"{row['engine_low'] / watts:.1f}-{row['engine_high'] / watts:.1f}")
        table.add_row(*cells)
    console = terminal.console()
    if peaks:
        console.print("Highest power and torque at the wheels, estimated (95 % interval in brackets):")
        for one in peaks:
            console.print("  " + peak_line(one, unit), soft_wrap=True)
        console.print()
    console.print(table)
    for line in words:
        console.print(line)
