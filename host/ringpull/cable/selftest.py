"""The logger's parts tested over the cable: each with a figure, its limit and what it means."""

from __future__ import annotations

import calendar
import time
from collections.abc import Callable
from dataclasses import asdict, dataclass, field
from typing import Any

from ringpull.cable.bench import Bench
from ringpull.device import known_signals
from ringpull.device.two_points import Meter, line_of, nominal
from ringpull.errors import DoesNotFit
from ringpull.files.configuration import ConfiguredChannel
from shared_math import channels, proving, speed
from shared_math.proving import ABSENT, BAD, GOOD

NOT_ASKED = "not asked"
CARD_S = 60.0  # a slow card takes its time
CONVERTER_S = 1.5
LOOP_S = 1.5
BUTTON_S = 20
SHOWN_S = 3
CLOCK_WRAP = 1 << 30
YES = ("yes", "y")


@dataclass(frozen=True)
class Row:
    """A line of the table. result: GOOD, BAD, ABSENT or NOT_ASKED. step: what to do where it is not GOOD."""

    part: str
    figure: str
    limit: str
    result: str
    step: str = ""


@dataclass(frozen=True)
class Report:
    """classes: of the card's writes, (below so many ms, how many), inf for the last; empty without a card."""

    rows: list[Row] = field(default_factory=list)
    classes: list[tuple[float, int]] = field(default_factory=list)

    @property
    def failed(self) -> bool:
        """Whether any part failed."""
        return any(row.result == BAD for row in self.rows)

    def as_json(self) -> dict[str, Any]:
        """Plain values; null for "no upper end"."""
        classes = [{"below_ms": None if ms == float("inf") else ms, "writes": count} for ms, count in self.classes]
        return {"parts": [asdict(row) for row in self.rows], "writes": classes, "failed": self.failed}


class Test:
    """ask: shows a question, returns what was typed; None where nobody is to be asked. tell: shows a line."""

    def __init__(self, bench: Bench, ask: Callable[[str], str] | None, tell: Callable[[str], None]) -> None:
        self.bench = bench
        self.ask = ask
        self.tell = tell
        self.report = Report()

    def run(self) -> Report:
        """All parts, one after the other. Raises what the link raises."""
        began = self._clock_now()
        self._button()
        self._lamp()
        self._screen()
        self._memory()
        self._card()
        for channel in self.bench.config.channels:
            if channel.kind in channels.ANALOG_KINDS:
                self._converter(channel)
        self._supply()
        self._loop()
        self._clock(began)
        return self.report

    def _row(self, *words: str) -> None:
        self.report.rows.append(Row(*words))

    def _seen(self, question: str) -> str:
        """GOOD, BAD or NOT_ASKED, by somebody's eyes."""
        if self.ask is None:
            return NOT_ASKED
        return GOOD if self.ask(f"{question} (yes or no) ").strip().lower() in YES else BAD

    def _button(self) -> None:
        told = self.bench.prove("button", 0) or {}
        if told.get("level"):
            step = "its wire touches ground, or it is stuck: look at it"
            self._row("button", "pressed, with nobody at it", "open", BAD, step)
            return
        if self.ask is None:
            self._row("button", "open", "a press is seen", NOT_ASKED, "run it without --no-questions")
            return
        self.tell(f"Press the logger's button once, within {BUTTON_S} s.")
        held_ms = (self.bench.prove("button", 1000 * BUTTON_S, BUTTON_S) or {}).get("held_ms", -1)
        if held_ms < 0:
            self._row("button", "no press was seen", "a press is seen", BAD, "look at its two wires")
        else:
            self._row("button", f"held for {held_ms} ms", "a press is seen", GOOD)

    def _lamp(self) -> None:
        if self.ask is not None:
            self.tell(f"The lamp flickers for {SHOWN_S} s: look at it.")
            self.bench.prove("lamp", 1000 * SHOWN_S, SHOWN_S)
        result = self._seen("Did it flicker, four times a second?")
        step = "look at its polarity and its resistor" if result == BAD else ""
        self._row("lamp", "driven" if self.ask else "not driven", "it is seen to flicker", result, step)

    def _screen(self) -> None:
        shown_s = SHOWN_S if self.ask else 0
        if self.ask is not None:
            self.tell(f"A screen, where there is one, shows tiles for {SHOWN_S} s.")
        told = self.bench.prove("screen", 1000 * shown_s, shown_s)
        if told is None or not told["answers"]:
            if not self.bench.config.screen:
                self._row("screen", "none answers", "as logger.json says: none", ABSENT)
                return
            self._row("screen", "none answers", "logger.json says that there is one", BAD, "look at its four wires")
            return
        result = self._seen("Did it show tiles, all over?")
        self._row("screen", "answers", "tiles are seen", result, "look at its glass" if result == BAD else "")

    def _memory(self) -> None:
        told = self.bench.prove("memory", 0)
        assert told is not None
        figure = (
            f"{told['free'] // 1024} kB free, {told['largest'] / 1024:.1f} kB in one piece, of {told['all'] // 1024} kB"
        )
        result = proving.memory(told)
        step = "fewer channels or a lower rate_hz" if result == BAD else ""
        self._row("memory", figure, f"{proving.LEAST_FREE // 1024} kB in one piece", result, step)

    def _card(self) -> None:
        self.tell(f"Writing {proving.WRITES} sectors into a file of its own on the card.")
        told = self.bench.prove("card", proving.WRITES, CARD_S)
        limit = f"worst {proving.WORST_WRITE_US / 1000:.0f} ms, all read back right"
        if told is None:
            self._row("card", "the rings are on the board's flash", limit, ABSENT)
            return
        right = told["writes"] - told["wrong"]
        figure = f"{told['writes']} writes, worst {told['worst_us'] / 1000:.1f} ms"
        if told["writes"]:
            figure += f", mean {told['sum_us'] / told['writes'] / 1000:.1f} ms"
        figure += f"; {right} of {proving.WRITES} read back right, worst {told['read_us'] / 1000:.1f} ms"
        if told["failed"]:
            figure += f"; the card refused (error {told['failed']})"
        result = proving.writes(told)
        step = "another card; ringpull prepare --check tests this one on the PC" if result == BAD else ""
        self._row("card", figure, limit, result, step)
        edges = [*map(float, proving.EDGES_MS), float("inf")]
        self.report.classes.extend(zip(edges, told["classes"], strict=True))

    def _converter(self, channel: ConfiguredChannel) -> None:
        name = channel.name
        told = self.bench.mean(name, CONVERTER_S)
        bits = self.bench.converter(name).bits
        most = (1 << bits) / proving.NOISE_PARTS
        result = proving.converter(told, bits)
        mean = told["base"] + told["sum"] / told["rows"]
        figure = f"{mean:.1f} counts, noise {proving.sigma(told):.2f}"
        stuck = proving.stuck_bit(told, bits)
        step = ""
        if result == ABSENT:
            figure += ", at an end of its range"
            step = "it says nothing so: put a voltage on it, such as a cell of 1.5 V"
        elif stuck >= 0:
            figure += f", bit {stuck} never changes"
            step = "the converter is hurt: another board, or another converter"
        elif result == BAD:
            step = "engine off; look at its ground and its supply"
            if told["least"] == told["most"]:
                figure += ", it stands still"
                step = "the converter does not convert: look at its wires"
        self._row(f"input {channel.input} ({name})", figure, f"noise up to {most:.1f}, no bit stuck", result, step)

    def _supply(self) -> None:
        limit = f"{proving.LEAST_SUPPLY_V:g} to {proving.MOST_SUPPLY_V:g} V"
        found = channels.supply_of(self.bench.config.written)
        if found is None:
            self._row("supply", "no channel measures it", limit, ABSENT)
            return
        channel = self.bench.config.by_name[found["name"]]
        told = self.bench.mean(channel.name, CONVERTER_S)
        counts = told["base"] + told["sum"] / told["rows"]
        converter = self.bench.converter(channel.name)
        line = line_of(channel.written, converter, Meter())
        if line is None:
            slope, zero = nominal(channel.written, self.bench.config.written, converter)
            volts = zero + slope * counts
        else:
            volts = line.at(counts * (1 << line.bits) / (1 << converter.bits))
        result = proving.supply(volts)
        step = {BAD: "measure it with a multimeter at the logger's terminal", ABSENT: "switch the car's 12 V on"}
        figure = f"{volts:.2f} V" + (", it lives on USB" if result == ABSENT else "")
        self._row("supply", figure, limit, result, step.get(result, ""))

    def _loop(self) -> None:
        limit = f"within {proving.LOOP_PPM / 10000:g} % of what the board puts out, no edge refused"
        pulses = [one for one in self.bench.config.channels if one.kind in ("pulses", "frequency")]
        if not pulses:
            self._row("tach loop-back", "no pulse input is configured", limit, ABSENT)
            return
        channel = pulses[0]
        part = f"tach loop-back ({channel.name})"
        longest_hz = 1e6 / (1.2 * max(1, speed.glitch_limit_us(channel.written)))
        off = []
        try:
            for hz in [one for one in proving.LOOP_HZ if one < longest_hz]:
                if not self.bench.drive("hz", hz):
                    self._row(part, "the board has no frequency output free", limit, ABSENT)
                    return
                told = self.bench.mean(channel.name, LOOP_S)
                if not told["edges"]:
                    step = "join the frequency output to the tach input (hardware/README.md, loop-back)"
                    self._row(part, "no edges come back: no wire", limit, ABSENT, step)
                    return
                off.append(known_signals.frequency(told, hz))
        except DoesNotFit as error:
            self._row(part, error.what, limit, BAD, error.step)
            return
        finally:
            self.bench.drive("hz", 0)
        figure = ", ".join(f"{one.known_hz:g} Hz {1e6 * one.off:+.0f} ppm" for one in off)
        self._row(part, figure or "no frequency fits its limits", limit, GOOD if off else ABSENT)

    def _clock_now(self) -> tuple[dict[str, Any], float, float]:
        """(what the logger said, when by this PC in s, how long asking took in s)."""
        asked = time.monotonic()
        told = self.bench.prove("clock", 0)
        assert told is not None
        took = time.monotonic() - asked
        return told, asked + took / 2, took

    def _clock(self, began: tuple[dict[str, Any], float, float]) -> None:
        told, at_s, took_s = self._clock_now()
        first, first_at_s, first_took_s = began
        counted_s = ((told["us"] - first["us"]) % CLOCK_WRAP) / 1e6
        passed_s = at_s - first_at_s
        ppm = 1e6 * (counted_s / passed_s - 1)
        unsure_ppm = 1e6 * (took_s + first_took_s) / 2 / passed_s
        figure = f"rate {ppm:+.0f} ppm ± {unsure_ppm:.0f}"
        good = abs(ppm) <= proving.CLOCK_PPM + unsure_ppm
        if told["utc"] is None:
            figure += "; no date"
        else:
            off_s = calendar.timegm(time.strptime(told["utc"], "%Y-%m-%dT%H:%M:%SZ")) - time.time()
            figure += f"; date {off_s:+.1f} s off this PC's"
            good = good and abs(off_s) <= proving.CLOCK_S
        step = "" if good else "its crystal is off, or no clock was set: ringpull live sets it"
        self._row("clock", figure, f"{proving.CLOCK_PPM} ppm, {proving.CLOCK_S} s", GOOD if good else BAD, step)
