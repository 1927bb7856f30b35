"""Calibrating by questions: which input, what, which voltage; 'back' returns to the question before."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

from ringpull.cable import calibrate
from ringpull.cable.bench import Bench
from ringpull.cable.calibrate import FREE_AIR, FREQUENCY, GROUND, TWO_POINTS, Outcome, Sides
from ringpull.device import answers
from ringpull.device.questions import BACK
from ringpull.device.two_points import Meter, Point
from ringpull.errors import DoesNotFit
from ringpull.files.configuration import ConfiguredChannel
from ringpull.wording.calibrated import last

DONE = "done"
# Where the fixture's output stands before its filter and the input's divider, in millivolts
FIXTURE_MV = (1600, 2900, 2200)
CAUTIONS = {
    TWO_POINTS: (
        "On the bench, nothing of the car joined to the logger. Between 0.5 and 4.5 V on this input, from a battery or "
        "a phone charger and resistors; never the car's 12 V. The multimeter measures at the terminal, its black wire "
        "on the logger's ground."
    ),
    GROUND: (
        "In the car, key on, engine off, heater and fan on. A battery cell of 1.5 V or so: its minus on the sensor's "
        "own signal ground, its plus on the input in place of the controller's wire. The multimeter measures the cell "
        "itself."
    ),
    FREQUENCY: (
        "On the bench, nothing of the car joined: a frequency at the level this input was built for, never a coil's "
        "own wire."
    ),
    FREE_AIR: (
        "Engine off, sensor in free air and warm. Its tip glows inside and burns skin and wiring: hold it by its wire, "
        "lay it on nothing that burns. Never leave a sensor unpowered in a live exhaust."
    ),
}
Asked = Callable[[str], str]


class _Back(Exception):
    """The question before."""


class Interview:
    """ask: shows a prompt and returns what was typed. tell: shows a line. fixture: whether the board's own output
    drives the input."""

    def __init__(
        self,
        ask: Asked,
        tell: Callable[[str], None],
        bench: Bench,
        sides: Sides,
        meter: Meter,
        seconds: float,
        fixture: bool,
        writes: bool = True,
    ) -> None:
        self.ask_for = ask
        self.tell = tell
        self.bench = bench
        self.sides = sides
        self.meter = meter
        self.seconds = seconds
        self.fixture = fixture
        self.writes = writes
        self.written: list[Outcome] = []

    def run(self) -> list[Outcome]:
        """All that was written. EOFError and KeyboardInterrupt come through: what was written stays."""
        self.tell("Enter takes what stands in [brackets]; 'back' returns to the question before.")
        while True:
            for channel in self.bench.config.channels:
                self.tell(f"  {channel.name:<24} {last(channel)}")
            names = [one.name for one in self.bench.config.channels if calibrate.acts_for(one)]
            try:
                name = self._choice("Which input? (or done)", [*names, DONE], DONE)
                if name == DONE:
                    return self.written
                self._input(self.bench.config.by_name[name])
            except _Back:
                continue

    def _input(self, channel: ConfiguredChannel) -> None:
        acts = calibrate.acts_for(channel)
        act = acts[0]
        if len(acts) > 1:
            act = self._choice(f"What? ({', '.join(acts)})", acts, acts[0])
        self.tell(f"\nCAUTION: {CAUTIONS[act]}")
        try:
            outcome = self._act(act, channel)
        except DoesNotFit as error:
            self.tell(error.lines())
            return
        for line in outcome.lines:
            self.tell(line)
        if not self.writes:
            self.tell("Nothing is written: --no-write.")
            self.written.append(outcome)
        elif self._choice("Write it? (yes or no)", ("yes", "no"), "yes") == "yes":
            for path in self.sides.write(outcome):
                self.tell(f"{path} is written")
            self.tell("The logger's own is written." if outcome.changes else "The logger's history is written.")
            self.written.append(outcome)

    def _act(self, act: str, channel: ConfiguredChannel) -> Outcome:
        name = channel.name
        if act == TWO_POINTS:
            return calibrate.of_points(self.bench, name, self.meter, self._points(name))
        if act == GROUND:
            volts = self._number("Volts of the cell, by the multimeter?", 0.2, 4.8)
            return calibrate.of_ground(self.bench, name, self.meter, self._point(name, volts))
        if act == FREQUENCY:
            hz = self._number("Frequency at the input, in Hz?", 0.5, 20000)
            return calibrate.of_frequency(self.bench, name, hz, self.seconds)
        volts = self._number("Volts at the controller, by the multimeter? (Enter: not measured)", -1, 60, optional=True)
        return calibrate.of_free_air(self.bench, name, self.meter, volts, self.seconds)

    def _points(self, name: str) -> list[Point]:
        """Two voltages, and others that prove them; 'back' takes the last one away."""
        points: list[Point] = []
        where = (
            "near a quarter of the range",
            "near three quarters of it",
            "in between, to prove the two (Enter: none)",
        )
        while len(points) < len(where):
            at = len(points)
            if self.fixture:
                self.bench.drive("mv", FIXTURE_MV[at])
            try:
                volts = self._number(
                    f"A voltage {where[at]}. Volts that the multimeter shows now?",
                    -1,
                    60,
                    optional=at == len(where) - 1,
                )
            except _Back:
                if not points:
                    raise
                points.pop()
                continue
            if volts is None:
                break
            try:
                points.append(self._point(name, volts))
            except DoesNotFit as error:
                self.tell(error.lines())
        if self.fixture:
            self.bench.drive("mv", 0)
        return points

    def _point(self, name: str, volts: float) -> Point:
        found = calibrate.reading(self.bench, name, self.seconds)
        self.tell(f"  {found.counts:.2f} counts, scatter {found.sigma:.2f}, {found.rows} readings")
        return Point(volts, found)

    def _answer(self, prompt: str) -> str:
        said = self.ask_for(prompt).strip()
        if said.lower() in BACK:
            raise _Back
        return said

    def _choice(self, question: str, allowed: Any, usual: str) -> str:
        while True:
            said = self._answer(f"{question} [{usual}] ")
            fits = answers.chosen(said, allowed) if said else usual
            if fits is not None:
                return fits
            self.tell(f"  Please one of: {', '.join(allowed)}")

    def _number(self, question: str, least: float, most: float, optional: bool = False) -> Any:
        while True:
            said = self._answer(f"{question} ")
            if not said and optional:
                return None
            value = answers.number(said, least, most)
            if value is not None and least <= value <= most:
                return value
            self.tell(f"  Please a number from {least:g} to {most:g}, such as 1.333")
