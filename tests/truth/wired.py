"""A random drive as it stands at a logger's terminals, from key-on: volts, speed, button, configuration and truth.

Made from tests/truth/drives.py, with a standing engine, a start and an idle before it, and sensors with a usual range.
Faults change what is in here; `table` gives the columns that a logger without a firmware would decode, `write` the
signal files for the real one.
"""

from __future__ import annotations

import json
from dataclasses import dataclass, field, replace
from pathlib import Path

import numpy as np

from truth.drives import Drive, Event, Settings, make_drive

STEP_S = 0.005
STANDING_S, CRANKING_S, IDLING_S, AWAY_S = 3.0, 0.8, 9.0, 3.0
BEFORE_S = STANDING_S + CRANKING_S + IDLING_S + AWAY_S
HEATED_S = 6.0
IDLE_RPM, IDLE_KPA = 920.0, 33.0
AMBIENT_KPA = 101.3
MARKED_BEFORE_S, MARKED_AFTER_S = 0.4, 0.4
ADC_V, ADC_NOISE_V = 5.544 / 4096, 0.0027  # of a 12-bit converter behind the usual divider
SENSORS = {
    "map": ([0.5, 4.5], [20.0, 300.0]),
    "throttle": ([0.5, 4.5], [0.0, 100.0]),
    "fuel_pressure": ([0.5, 4.5], [0.0, 1000.0]),
    "battery": ([0.0, 18.0], [0.0, 18.0]),
    "intake": ([0.5, 4.5], [-40.0, 150.0]),
    "injector": ([0.0, 5.0], [0.0, 30.0]),
    "wheel_speed": ([0.0, 5.0], [0.0, 400.0]),
}
AT_START = {"fuel_pressure": 380.0, "battery": 13.9, "intake": 30.0, "injector": 2.5, "wheel_speed": 0.0}
# A hole that nobody could call small, in one pull; and none at all, with all other chances as they were
HOLE = Settings(hole_depth=(0.09, 0.15), hole_s=(0.5, 1.0))
CLEAN = Settings(hole_depth=(0.0, 0.0), hole_s=(0.5, 1.0))
EVENT_LAMBDA, EVENT_S = 0.05, 0.30  # what must not be missed


@dataclass
class Wired:
    """Arrays of shape (rows,), 200 a second. true: channel -> what its place in the engine really is. volts: channel ->
    at the terminal. rpm: of the crank, 0 standing. per_rev: edges that really come. edges_lost_s: spans without.
    truth_s: what is to be added to the times of `drive`."""

    drive: Drive
    time_s: np.ndarray
    true: dict[str, np.ndarray]
    volts: dict[str, np.ndarray]
    rpm: np.ndarray
    per_rev: float
    config: dict
    presses_s: list[float] = field(default_factory=list)
    edges_lost_s: list[tuple[float, float]] = field(default_factory=list)
    truth_s: float = BEFORE_S

    @property
    def pulls_s(self) -> list[tuple[float, float]]:
        """Start and end of each pull, in the wired drive's time."""
        return [(p.start_s + self.truth_s, p.end_s + self.truth_s) for p in self.drive.pulls]

    @property
    def events(self) -> list[Event]:
        """The lean events that must not be missed, in the drive's own time."""
        return [
            event
            for event in self.drive.truth.events
            if not event.tip_in and event.deepest >= EVENT_LAMBDA and event.end_s - event.start_s >= EVENT_S
        ]

    @property
    def hole_s(self) -> tuple[float, float]:
        """Where the first event is, in the wired drive's time; of a drive without, the middle of the last pull."""
        if self.events:
            return self.events[0].start_s + self.truth_s, self.events[0].end_s + self.truth_s
        start_s, end_s = self.pulls_s[-1]
        middle_s = 0.5 * (start_s + end_s)
        return middle_s - 0.2, middle_s + 0.4

    def channel(self, name: str) -> dict:
        """The channel's part of the configuration."""
        return next(one for one in self.config["channels"] if one["name"] == name)

    def has(self, name: str) -> bool:
        return any(one["name"] == name for one in self.config["channels"])

    def rows(self, start_s: float, end_s: float) -> slice:
        return slice(*np.searchsorted(self.time_s, (start_s, end_s)).tolist())


def to_volts(values: np.ndarray, sensor: tuple[list[float], list[float]]) -> np.ndarray:
    """The output of a sensor of two points, which goes on straight beyond them as far as its supply allows."""
    (v0, v1), (y0, y1) = sensor
    return np.clip(v0 + (values - y0) * (v1 - v0) / (y1 - y0), min(0.0, v0), max(5.0, v1))


def sensor_of(wired: Wired, name: str) -> tuple[list[float], list[float]]:
    """What the sensor really does, whatever the configuration says of it."""
    if name.startswith("lambda"):
        return [0.0, 5.0], [wired.drive.truth.chain.low, wired.drive.truth.chain.high]
    return SENSORS[name]


def wire(seed: int, hole: bool, banks: int = 1, settings: Settings | None = None) -> Wired:
    """A drive with sound instruments. banks: with two, a hole is on the second alone."""
    settings = settings or (HOLE if hole else CLEAN)
    drive = make_drive(seed, settings=replace(settings, pulls=(3, 3)))
    rng = np.random.default_rng([3, seed])
    before = round(BEFORE_S / STEP_S)
    t_s = np.arange(before) * STEP_S
    starts_s, idles_s = STANDING_S, STANDING_S + CRANKING_S
    away = np.clip((t_s - (BEFORE_S - AWAY_S)) / AWAY_S, 0.0, 1.0)
    speed = np.nan_to_num(drive.truth.speed_rpm, nan=IDLE_RPM)
    rows = drive.rows

    def led(at: list[tuple[float, float]], first: float, noise: float) -> np.ndarray:
        """A broken line up to driving away, then straight to where the drive begins."""
        line = np.interp(t_s, [t for t, _ in at], [value for _, value in at])
        return line + away * (first - line) + rng.normal(0.0, noise, before)

    rpm = led(
        [(0, 0), (starts_s, 0), (starts_s + 0.1, 250), (idles_s, 250), (idles_s + 0.5, 1150), (idles_s + 3, IDLE_RPM)],
        float(speed[0]),
        0.0,
    )
    lead = {
        "map": led(
            [(0, AMBIENT_KPA), (starts_s, AMBIENT_KPA), (idles_s, 88), (idles_s + 0.7, IDLE_KPA)],
            rows["map_kpa"][0],
            0.4,
        ),
        "throttle": led([(0, 0.4)], rows["throttle_pct"][0], 0.2),
        "lambda_1": led([(0, 1.0)], float(np.median(rows["lambda_1"][:100])), 0.004),
    }
    columns = {"map": "map_kpa", "throttle": "throttle_pct", "lambda_1": "lambda_1"}
    named = {
        "injector": "injector_ms",
        "fuel_pressure": "fuel_pressure_kpa",
        "battery": "battery_v",
        "intake": "intake_degc",
    }
    for name, column in named.items():
        if column in rows:
            columns[name] = column
            lead[name] = led([(0, AT_START[name])], float(rows[column][0]), 0.0)
    if "lambda_commanded" in rows:
        columns["lambda_commanded"] = "lambda_commanded"
        lead["lambda_commanded"] = led([(0, 1.0)], float(rows["lambda_commanded"][0]), 0.0)
    true = {name: np.concatenate([lead[name], rows[column]]) for name, column in columns.items()}
    if banks == 2:
        clean = make_drive(seed, settings=replace(CLEAN, pulls=(3, 3)))
        true["lambda_2"] = true["lambda_1"] + rng.normal(0.0, 0.003, len(true["lambda_1"]))
        true["lambda_1"] = np.concatenate([lead["lambda_1"], clean.rows["lambda_1"]])
    rpm = np.concatenate([rpm, speed])
    presses = []
    for pull in drive.pulls:
        presses += [BEFORE_S + pull.start_s - MARKED_BEFORE_S, BEFORE_S + pull.end_s + MARKED_AFTER_S]
    lost = [(a + BEFORE_S, b + BEFORE_S) for a, b in drive.lost_s]
    time_s = np.arange(len(rpm)) * STEP_S
    wired = Wired(drive, time_s, true, {}, rpm, drive.truth.chain.per_rev, _config(drive, true), presses, lost)
    for name, values in true.items():
        wired.volts[name] = to_volts(values, sensor_of(wired, name))
        if name.startswith("lambda") and name != "lambda_commanded":
            wired.volts[name] = np.where(time_s < HEATED_S, 0.0, np.maximum(wired.volts[name], 0.12))
    return wired


def _config(drive: Drive, true: dict[str, np.ndarray]) -> dict:
    """The configuration that fits the sensors."""
    chain = drive.truth.chain
    out = json.loads(json.dumps({key: value for key, value in drive.config.items() if key != "channels"}))
    lam = {"kind": "lambda", "volts": [0.0, 5.0], "values": [round(chain.low, 4), round(chain.high, 4)]}
    states = [{"name": "warm-up", "volts": [-0.05, 0.05]}]
    units = {
        "map": "kPa",
        "throttle": "%",
        "fuel_pressure": "kPa",
        "battery": "V",
        "intake": "degC",
        "injector": "ms",
        "wheel_speed": "km/h",
    }
    channels = [{"name": "engine_speed", "input": "p0", "kind": "pulses", "per_rev": chain.per_rev, "max_rpm": 9500}]
    for at, name in enumerate(sorted(true)):
        if name.startswith("lambda"):
            channel = {"name": name, "input": f"a{at}", **json.loads(json.dumps(lam))}
            if name != "lambda_commanded":
                channel |= {"tau_ms": 80, "states": states}
        else:
            volts, values = SENSORS[name]
            channel = {"name": name, "input": f"a{at}", "kind": "linear", "unit": units[name]}
            channel |= {"volts": list(volts), "values": list(values)}
        channels.append(channel)
    return {**out, "channels": channels}


def edges_s(wired: Wired) -> np.ndarray:
    """Times of the edges at the terminal."""
    turns = np.concatenate([[0.0], np.cumsum((wired.rpm[1:] + wired.rpm[:-1]) / 120 * STEP_S)])
    turning = np.concatenate([[True], np.diff(turns) > 0])
    count = int(turns[-1] * wired.per_rev)
    out = np.interp(np.arange(1, count) / wired.per_rev, turns[turning], wired.time_s[turning])
    for start_s, end_s in wired.edges_lost_s:
        out = out[(out < start_s) | (out > end_s)]
    return out


def table(wired: Wired, rng: np.random.Generator) -> tuple[dict[str, np.ndarray], dict[tuple[str, str], np.ndarray]]:
    """(decoded columns, states) as a logger shows them: converter steps and noise, no value outside a sensor's range,
    no speed of a standing engine."""
    suffixes = {"kPa": "_kpa", "%": "_pct", "V": "_v", "degC": "_degc", "ms": "_ms", "km/h": "_kmh"}
    rows: dict[str, np.ndarray] = {"time_s": wired.time_s}
    states = {}
    for channel in wired.config["channels"]:
        name = channel["name"]
        if channel["kind"] == "pulses":
            speed = np.where(wired.rpm > 60.0, wired.rpm * wired.per_rev / channel["per_rev"], np.nan)
            for start_s, end_s in wired.edges_lost_s:
                speed[wired.rows(start_s - 0.05, end_s + 0.05)] = np.nan
            rows[name + "_rpm"] = np.where(speed > channel["max_rpm"] * 1.25, np.nan, speed)
            continue
        scale = max(channel["volts"]) / 5.0
        volts = wired.volts[name] + rng.normal(0.0, ADC_NOISE_V * scale, len(wired.time_s))
        volts = np.round(volts / (ADC_V * scale)) * ADC_V * scale
        (v0, v1), (y0, y1) = channel["volts"], channel["values"]
        values = y0 + (volts - v0) * (y1 - y0) / (v1 - v0)
        if channel.get("scale") == "afr":
            values = values / channel["stoich"]
        slack = 0.01 * (v1 - v0)
        known = (volts >= v0 - slack) & (volts <= v1 + slack)
        for state in channel.get("states", []):
            low, high = state["volts"]
            states[name, state["name"]] = (volts >= low) & (volts <= high)
            known &= ~states[name, state["name"]]
        unit = "" if channel["kind"] == "lambda" else suffixes[channel["unit"]]
        rows[name + unit] = np.where(known, values, np.nan)
    return rows, states


def write(wired: Wired, folder: Path) -> None:
    """volts.csv, edges.csv, buttons.csv and logger.json for the firmware."""
    folder.mkdir(parents=True, exist_ok=True)
    (folder / "logger.json").write_text(json.dumps(wired.config, indent=1))
    names = sorted(wired.volts)
    columns = np.column_stack([wired.time_s, *(wired.volts[name] for name in names)])
    np.savetxt(folder / "volts.csv", columns, "%.4f", ",", header=",".join(["t_s", *names]), comments="")
    lines = [f"{at:.6f},engine_speed" for at in edges_s(wired)]
    (folder / "edges.csv").write_text("\n".join(["t_s,input", *lines]) + "\n")
    presses = [line for at in wired.presses_s for line in (f"{at:.3f},press", f"{at + 0.12:.3f},release")]
    (folder / "buttons.csv").write_text("\n".join(["t_s,event", *presses]) + "\n")
