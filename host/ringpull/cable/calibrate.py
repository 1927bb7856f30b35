"""Calibrations and checks of the logger's inputs over the cable, written on both sides with a dated history."""

from __future__ import annotations

import copy
import json
import time
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from ringpull.cable.bench import Bench
from ringpull.device import known_signals, two_points
from ringpull.device.config_text import as_text
from ringpull.device.two_points import Fit, Meter, Point, Reading, Shift
from ringpull.errors import BadConfig, BadUsage, DoesNotFit
from ringpull.files import configuration
from ringpull.files.configuration import ConfiguredChannel
from ringpull.files.outputs import whole
from shared_math import cable_bench, channels
from shared_math import config as shared_config

TWO_POINTS = "two points"
GROUND = "ground shift"
FREQUENCY = "known frequency"
FREE_AIR = "free air"


@dataclass(frozen=True)
class Outcome:
    """what: TWO_POINTS... changes: keys of the channel in logger.json. figures: for the history. lines: for people."""

    what: str
    channel: str
    changes: dict[str, Any]
    figures: dict[str, Any]
    lines: list[str]


def acts_for(channel: ConfiguredChannel) -> list[str]:
    """What can be done with a channel."""
    if channel.kind in channels.PULSE_KINDS:
        return [FREQUENCY]
    if channel.kind not in channels.ANALOG_KINDS:
        return []
    return [TWO_POINTS, GROUND] + ([FREE_AIR] if channel.kind == "lambda" else [])


def named(bench: Bench, name: str, act: str) -> ConfiguredChannel:
    """The channel of that name that this can be done with. Raises BadUsage."""
    for channel in bench.config.channels:
        if channel.name == name and act in acts_for(channel):
            return channel
    fit = [one.name for one in bench.config.channels if act in acts_for(one)]
    raise BadUsage(
        f"there is no channel {name!r} for this: {act}",
        "a slip in its name, or a channel of another kind",
        f"one of {', '.join(fit)}" if fit else "the logger's configuration has none",
    )


def reading(bench: Bench, name: str, seconds: float) -> Reading:
    """What the input reads now. Raises DoesNotFit where that is no ground for anything."""
    found = Reading.of(bench.batches(name, seconds))
    two_points.refuse_reading(found, bench.converter(name), bench.config.board)
    return found


def today() -> str:
    """UTC."""
    return time.strftime("%Y-%m-%d", time.gmtime())


def of_points(bench: Bench, name: str, meter: Meter, points: list[Point]) -> Outcome:
    """A two-point calibration. Raises DoesNotFit."""
    channel = bench.config.by_name[name]
    found = two_points.fit(channel.written, bench.config.written, bench.converter(name), meter, points)
    key = found.line.as_key(today())
    figures = {
        "calibration": key,
        "gain": round(found.gain, 6),
        "zero_v": round(found.zero_v, 5),
        "points": [
            {"volts": one.volts, "counts": round(one.reading.counts, 2), "sigma": round(one.reading.sigma, 2)}
            for one in points
        ],
        "residuals": [
            {"volts": one.volts, "off_v": round(one.off_v, 5), "limit_v": round(one.limit_v, 5)}
            for one in found.residuals
        ],
        "meter": {"parts": meter.parts, "volts": meter.volts},
    }
    return Outcome(TWO_POINTS, name, {"calibration": key}, figures, _fit_lines(channel, found))


def _fit_lines(channel: ConfiguredChannel, found: Fit) -> list[str]:
    line = found.line
    out = [
        f"{channel.name}: {line.slope * 1000:.4f} mV a count; the gain is {100 * (found.gain - 1):+.2f} % off what "
        f"the parts make (up to {100 * found.gain_limit:.1f} % are possible), {found.zero_v * 1000:+.1f} mV at 0 V"
    ]
    for volts in sorted({*line.volts, *channel.volts}):
        out.append(f"  at {volts:.3f} V: within {2 * line.u_at(volts) * 1000:.1f} mV (two standard uncertainties)")
    if not found.residuals:
        out.append("  not proved by a third voltage: a slip at one of the two would not show")
    for one in found.residuals:
        out.append(
            f"  proved at {one.volts:.3f} V: {one.off_v * 1000:+.1f} mV, {one.limit_v * 1000:.1f} mV are possible"
        )
    return out


def of_ground(bench: Bench, name: str, meter: Meter, point: Point) -> Outcome:
    """The sensor's ground against the logger's. Raises DoesNotFit."""
    channel = bench.config.by_name[name]
    converter = bench.converter(name)
    line = two_points.line_of(channel.written, converter, meter)
    if line is None:
        raise DoesNotFit(
            f"{name} was never calibrated",
            "what its parts are off by can't be told from what the ground is off by",
            "calibrate it with two points first, on the bench",
        )
    shift: Shift = two_points.ground_shift(line, converter, meter, point)
    said = f"{name}: the sensor's ground stands {shift.volts * 1000:+.1f} mV off the logger's, " + (
        f"within {2 * shift.u_v * 1000:.1f} mV (two standard uncertainties)"
    )
    figures = {"shift_v": round(shift.volts, 5), "u_v": round(shift.u_v, 5), "known_v": point.volts}
    if not shift.found:
        return Outcome(GROUND, name, {}, figures, [said, "  that is none: nothing is changed"])
    key = two_points.shifted(line, shift).as_key(today())
    return Outcome(
        GROUND, name, {"calibration": key}, figures | {"calibration": key}, [said, "  it is taken off the calibration"]
    )


def of_frequency(bench: Bench, name: str, known_hz: float, seconds: float) -> Outcome:
    """A pulse input against a known frequency. Raises DoesNotFit."""
    channel = bench.config.by_name[name]
    found = known_signals.frequency(bench.mean(name, seconds), known_hz)
    means = ""
    if channel.per_rev:
        means = f"; with per_rev {channel.per_rev:g} that is {60 * found.hz / channel.per_rev:.1f} 1/min"
    line = (
        f"{name}: {found.hz:.4f} Hz counted at {known_hz:g} Hz, {1e6 * found.off:+.0f} ppm, {found.edges} edges{means}"
    )
    figures = {"known_hz": known_hz, "hz": round(found.hz, 5), "edges": found.edges}
    return Outcome(FREQUENCY, name, {"checked": today()}, figures, [line])


def of_free_air(bench: Bench, name: str, meter: Meter, meter_v: float | None, seconds: float) -> Outcome:
    """A lambda sensor in free air. Raises DoesNotFit."""
    channel = bench.config.by_name[name]
    converter = bench.converter(name)
    read = Reading.of(bench.batches(name, seconds))
    line = two_points.line_of(channel.written, converter, meter)
    if line is None:
        slope, zero = two_points.nominal(channel.written, bench.config.written, converter)
        volts, u_v = zero + slope * read.counts, 0.0
    else:
        volts = line.at(read.counts * (1 << line.bits) / (1 << converter.bits))
        u_v = line.u_at(volts)
    found = known_signals.free_air(channel.written, volts, u_v, meter_v)
    figures = {"volts": round(found.volts, 4), "end_v": found.end_v, "meter_v": meter_v}
    beside = "" if meter_v is None else f", {meter_v:.3f} V on the multimeter"
    said = f"{name}: in free air {found.volts:.3f} V{beside}; the controller's lean end is at {found.end_v:g} V"
    return Outcome(FREE_AIR, name, {"checked": today()}, figures, [said])


class Sides:
    """The logger's configuration, and the PC's where one is given: the same change on both."""

    def __init__(self, bench: Bench, file: Path | None) -> None:
        """Raises BadUsage, BadConfig where the logger has no configuration or the file can't be used."""
        from ringpull.dryrun.run import parse_config

        if bench.text is None:
            raise BadUsage(
                "there is no logger.json on the logger",
                "it records raw counts of every input",
                "bring it one first: ringpull setup, then copy it onto the card beside drive.rpl",
            )
        self.bench = bench
        self.config = json.loads(bench.text)
        self.file = file
        self.file_config = parse_config(file)[0] if file else None

    def write(self, outcome: Outcome) -> list[Path]:
        """Write what came out on both sides, then their histories; returns the PC's files. Raises BadUsage,
        BadConfig, CannotWrite, what the link raises."""
        here = None
        if self.file_config is not None and self.file is not None:
            here = self._changed(self.file_config, outcome, self.file.name)
        there = self._changed(self.config, outcome, "the logger's logger.json")
        line = (
            json.dumps({"date": now_utc(), "what": outcome.what, "channel": outcome.channel} | outcome.figures)
        ) + "\n"
        if outcome.changes:
            self.bench.keep(cable_bench.CONFIG_FILE, as_text(there).encode())
        self.bench.keep(cable_bench.HISTORY_FILE, line.encode())
        self.config = there
        self.bench.config = configuration.of(shared_config.defaults(there))
        if here is None or self.file is None:
            return []
        if outcome.changes:
            with whole(self.file) as fresh:
                fresh.write_text(as_text(here), encoding="utf-8")
        self.file_config = here
        history = self.file.with_name(cable_bench.HISTORY)
        before = history.read_bytes() if history.exists() else b""
        with whole(history) as fresh:
            fresh.write_bytes(before + line.encode())
        return [self.file, history] if outcome.changes else [history]

    @staticmethod
    def _changed(config: dict[str, Any], outcome: Outcome, where: str) -> dict[str, Any]:
        out = copy.deepcopy(config)
        found = [one for one in out["channels"] if isinstance(one, dict) and one.get("name") == outcome.channel]
        if len(found) != 1:
            raise BadUsage(
                f"{where} has no channel {outcome.channel!r}",
                "it is of another logger, or older",
                "give the file that was copied onto this logger's card",
            )
        found[0].update(outcome.changes)
        problems = shared_config.check(out)
        if problems:
            raise BadConfig(*shared_config.explain(problems[0]))
        return out


def now_utc() -> str:
    """Date and time of the PC."""
    return time.strftime("%Y-%m-%dT%H:%M:%SZ", time.gmtime())
