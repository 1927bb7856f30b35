"""ringpull setup: make a configuration by questions, or from a preset."""

from __future__ import annotations

import argparse
from pathlib import Path
from typing import Any

from ringpull.files.outputs import configuration_file, whole

HELP = "make a configuration by questions, or from a preset, and explain it"
EXAMPLE = "ringpull setup --preset boosted-petrol -o logger.json"


def add_arguments(parser: argparse.ArgumentParser) -> None:
    from ringpull.device.starter_configs import PRESETS

    parser.add_argument("--preset", choices=tuple(PRESETS), help="start from this configuration and ask no questions")
    parser.add_argument(
        "-o",
        "--output",
        type=configuration_file,
        default=Path("logger.json"),
        metavar="FILE",
        help="the file to write (default: logger.json)",
    )
    parser.add_argument("--dbc", type=Path, metavar="FILE", help="signals that the engine computer broadcasts, as DBC")
    parser.add_argument(
        "--signals", metavar="A,B", help="those of --dbc that are to be logged; without it they are listed"
    )
    parser.add_argument("--values", action="store_true", help="list what the car's own computer can be asked for")
    parser.add_argument("--force", action="store_true", help="replace a file that is already there")
    parser.add_argument("--json", action="store_true", help="print what was written, or --values, as JSON")


def run(args: argparse.Namespace) -> int:
    import json
    import sys

    from ringpull.device import car_values, questions, starter_configs
    from ringpull.device.config_text import as_text
    from ringpull.errors import BadUsage, CannotWrite

    heard = []
    if args.values:
        listed = [{"pid": one.pid, "name": one.name, "hz": one.hz, "unit": one.unit} for one in car_values.every()]
        print(json.dumps({"values": listed}) if args.json else "\n".join(values()))
        return 0
    if args.dbc:
        from ringpull.device import dbc

        if not args.signals:
            for name, channel in dbc.signals(args.dbc).items():
                print(f"{name}  id {channel['id']}, {channel['length']} bits {channel.get('unit', '')}".rstrip())
            print("take some of them: --signals A,B", file=sys.stderr)
            return 0
        heard, left = dbc.chosen(args.dbc, [one.strip() for one in args.signals.split(",") if one.strip()])
        for line in left:
            print(f"note: {line}", file=sys.stderr)
    if not args.output.parent.is_dir():
        raise CannotWrite(f"there is no folder {args.output.parent}", "the path is mistyped", "make the folder first")
    if args.output.exists() and not args.force:
        raise BadUsage(
            f"{args.output} exists already",
            "setup was run before, or another file has this name",
            "give another name with -o, or replace it with --force",
        )
    if args.preset:
        plan = starter_configs.PRESETS[args.preset]
    else:
        print(
            "Some questions about the engine and about what is wired to the logger; the answers make the file.",
            file=sys.stderr,
        )
        plan = questions.Interview(_ask, lambda line: print(line, file=sys.stderr)).plan()
    config = starter_configs.config_of(plan)
    if heard:
        config.setdefault("bus", {"ask": False})
        config["channels"] += car_values.beside(heard, {channel["name"] for channel in config["channels"]})
    with whole(args.output) as fresh:
        fresh.write_text(as_text(config), encoding="utf-8")
    if args.json:
        print(json.dumps({"written": str(args.output), "config": config}))
    else:
        print("\n".join(explained(config, args.output, plan.source, plan.why)))
    return 0


def values() -> list[str]:
    """Lines of all values for channels of kind obd."""
    from ringpull.device import car_values

    out = ['A channel takes one by its name: {"name": "spark", "kind": "obd", "pid": "spark_advance"}', ""]
    out += [f"{'name':<28}  pid  usual hz  unit"]
    return out + [f"{one.name:<28}  {one.pid}   {one.hz:<8g}  {one.unit}".rstrip() for one in car_values.every()]


def _ask(prompt: str) -> str:
    import sys

    print(prompt, end="", file=sys.stderr, flush=True)
    return input()


def explained(config: dict[str, Any], path: Path, source: str, why: str) -> list[str]:
    """Lines that explain the file to somebody who has never seen one. source, why: as in starter_configs.Plan."""
    from ringpull.device import wiring_lines

    out = [f"{path} is written. It says:", ""]
    engine = config["engine"]
    out.append(
        f"  engine    {engine['cylinders']} cylinders, {engine['strokes']}-stroke, {engine['displacement_cc']:g} cc, "
        f"on {config['fuel']['name']}"
    )
    out.append(f"  logging   {config['rate_hz']} rows a second on board {config['board']}")
    target = config["target"]
    if "load" in target:
        pairs = ", ".join(
            f"{lam:g} at {kpa:g} kPa" for kpa, lam in zip(target["load_kpa"], target["lambda"], strict=True)
        )
        out.append(f"  target    lambda {pairs}, straight lines between")
    else:
        out.append(f"  target    lambda {target['lambda']:g} at every load")
    wired = [channel for channel in config["channels"] if "input" in channel]
    out += [f"  terminal  {channel['input']}: {_meaning(channel)}" for channel in wired]
    out += [f"  bus       {one['name']}, frame {one['id']}" for one in config["channels"] if one["kind"] == "can"]
    out += [f"  bus       {one['name']}, asked for: {one['pid']}" for one in config["channels"] if one["kind"] == "obd"]
    out += [
        "",
        'It is a text file; open it with any editor. A name stands in "double quotes", then a colon, then its value;',
        "lists stand in [ ], groups in { }, with commas between. Change the values and leave the punctuation alone.",
        "Take the volts and values from your sensors' data sheets, and the target from whoever built the engine; a",
        f"rule of thumb of the trade is lambda {why}.",
        "",
        "What to wire (drawings, cautions and checks are in hardware/README.md; read its six rules first):",
        "",
        *(f"  {line}" for line in wiring_lines.lines(config, source)),
        "",
        f"Then: ringpull check {path}",
        f"and:  ringpull prepare CARD --config {path}",
    ]
    return out


def _meaning(channel: dict[str, Any]) -> str:
    kind = channel["kind"]
    if kind == "pulses":
        return f"engine speed, {channel['per_rev']:g} pulses a turn, up to {channel['max_rpm']:g} 1/min"
    if kind == "pulse_width":
        return f"an injector's on-time, {channel['per_cycle']:g} opening(s) per cycle, open while the line is low"
    (v0, v1), (low, high) = channel["volts"], channel["values"]
    unit = " air-fuel ratio" if "stoich" in channel else " lambda" if kind == "lambda" else " " + channel["unit"]
    return f"{channel['name'].replace('_', ' ')}, {v0:g} V is {low:g}{unit}, {v1:g} V is {high:g}{unit}"
