"""Signal files with known truth for dry runs: volts, edges, button and configuration, and what must come out.

Made from the description of the signal files alone: nothing here imports the project, and no engine is modelled.
Every truth is a broken line (profile.py), so values, mean speeds and edge times are exact.
"""

from __future__ import annotations

import json
from dataclasses import dataclass, field
from pathlib import Path

import numpy as np

from truth.profile import Profile

GLITCH_SHARE = 0.1
GLITCH_US = (30.0, 250.0)
DROPOUT_SHARE = 1 / 250
VOLTS = {
    "lambda": ([0.0, 5.0], [0.60, 1.40]),
    "map": ([0.5, 4.5], [20.0, 300.0]),
    "throttle": ([0.5, 4.5], [0.0, 100.0]),
    "fuel_pressure": ([0.5, 4.5], [0.0, 1000.0]),
    "battery": ([0.0, 18.0], [0.0, 18.0]),
}
UNITS = {"map": "kPa", "throttle": "%", "fuel_pressure": "kPa", "battery": "V"}


@dataclass
class Tach:
    """Edges of one pulse channel: `per_rev` edges a crank revolution, `offsets` of single edges in parts of their
    spacing (repeating), and the two faults."""

    per_rev: float
    offsets: tuple[float, ...] = (0.0,)
    glitches: bool = False
    dropouts: bool = False
    silent_s: tuple[float, float] | None = None
    max_rpm: int = 9000


@dataclass
class Signals:
    """What goes in (files) and what is true. Times are the signal files' own."""

    speed_rpm: Profile
    tach: Tach
    analog: dict[str, Profile]
    rate_hz: int = 200
    presses_s: list[float] = field(default_factory=list)
    bounce: bool = False
    seed: int = 1
    volts_step_s: float = 0.5
    overrides: dict[str, dict] = field(default_factory=dict)  # keys of a channel; None takes a key away
    volts_override: dict[str, Profile] = field(default_factory=dict)
    top: dict = field(default_factory=dict)

    def __post_init__(self) -> None:
        self.until_s = float(self.speed_rpm.t_s[-1])
        rng = np.random.default_rng(self.seed)
        per_second = Profile(list(zip(self.speed_rpm.t_s, self.speed_rpm.y / 60 * self.tach.per_rev, strict=True)))
        number = np.arange(1, int(per_second.integral(self.until_s)))
        shift = np.resize(np.array(self.tach.offsets), number.size)
        self.true_edges_s = per_second.when_integral(number + shift)
        kept = np.ones(number.size, bool)
        if self.tach.dropouts:
            kept &= rng.random(number.size) > DROPOUT_SHARE
        if self.tach.silent_s:
            kept &= (self.true_edges_s < self.tach.silent_s[0]) | (self.true_edges_s > self.tach.silent_s[1])
        self.kept_edges_s = self.true_edges_s[kept]
        self.glitches_s = np.empty(0)
        if self.tach.glitches:
            # A glitch is ringing of an edge that was there: none follows an edge that dropped out
            hit = self.kept_edges_s[rng.random(self.kept_edges_s.size) < GLITCH_SHARE]
            self.glitches_s = hit + rng.uniform(*GLITCH_US, hit.size) / 1e6

    def config(self) -> dict:
        """The configuration that belongs to the signals."""
        channels = [
            {
                "name": "engine_speed",
                "input": "p0",
                "kind": "pulses",
                "per_rev": self.tach.per_rev,
                "max_rpm": self.tach.max_rpm,
            }
        ]
        for at, name in enumerate(self.analog):
            family = "lambda" if name.startswith("lambda") else name
            volts, values = VOLTS.get(family, ([0.0, 5.0], [0.0, 100.0]))
            channel = {"name": name, "input": f"a{at}", "kind": "lambda" if family == "lambda" else "linear"}
            channel |= {"volts": volts, "values": values}
            if family in UNITS:
                channel["unit"] = UNITS[family]
            channel |= self.overrides.get(name, {})
            channels.append({key: value for key, value in channel.items() if value is not None})
        engine = {"cylinders": 4, "strokes": 4, "displacement_cc": 1598}
        config = {"version": 1, "board": "generic", "rate_hz": self.rate_hz, "engine": engine}
        return config | {"fuel": {"name": "petrol"}, "channels": channels} | self.top

    def volts(self, name: str) -> Profile:
        """Volts at the terminal of an analog channel."""
        if name in self.volts_override:
            return self.volts_override[name]
        channel = next(one for one in self.config()["channels"] if one["name"] == name)
        truth = self.analog[name]
        volts = np.interp(truth.y, channel["values"], channel["volts"])
        return Profile(list(zip(truth.t_s, volts, strict=True)))

    def write(self, folder: Path) -> Path:
        """Write volts.csv, edges.csv, buttons.csv and logger.json; returns the folder."""
        folder.mkdir(parents=True, exist_ok=True)
        (folder / "logger.json").write_text(json.dumps(self.config(), indent=1))
        lines = {name: self.volts(name) for name in self.analog}
        times = [np.arange(0, self.until_s, self.volts_step_s), [self.until_s], *(one.t_s for one in lines.values())]
        t_s = np.unique(np.round(np.concatenate(times), 7))
        t_s = t_s[(t_s >= 0) & (t_s <= self.until_s)]
        table = np.column_stack([t_s, *(line(t_s) for line in lines.values())])
        _csv(folder / "volts.csv", ["t_s", *lines], [",".join(f"{x:.7f}" for x in row) for row in table])
        edges = np.sort(np.concatenate([self.kept_edges_s, self.glitches_s]))
        _csv(folder / "edges.csv", ["t_s", "input"], [f"{t:.7f},engine_speed" for t in edges])
        _csv(folder / "buttons.csv", ["t_s", "event"], [f"{t:.6f},{event}" for t, event in self.button_events()])
        return folder

    def button_events(self) -> list[tuple[float, str]]:
        """Contact closings and openings: 120 ms held, with 3 ms of bouncing at both ends on request."""
        chatter = [0.0, 0.0007, 0.0012, 0.0021, 0.003] if self.bounce else [0.0]
        out = []
        for at in self.presses_s:
            for began, first in ((at, "press"), (at + 0.12, "release")):
                other = "release" if first == "press" else "press"
                out += [(began + dt, (first, other)[n % 2]) for n, dt in enumerate(chatter)]
        return out


def _csv(path: Path, head: list[str], lines: list[str]) -> None:
    path.write_text("\n".join([",".join(head), *lines]) + "\n")


def cycle_s(rpm: np.ndarray | float, strokes: int = 4) -> np.ndarray:
    """Length of an engine cycle: two revolutions of a four-stroke."""
    return 60.0 * (strokes / 2) / np.asarray(rpm, float)
