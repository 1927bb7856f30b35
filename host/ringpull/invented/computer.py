"""The invented car's engine computer on the diagnostic bus: what it would answer at each moment of the drive."""

from __future__ import annotations

import json
from collections.abc import Callable
from pathlib import Path
from typing import Any

import numpy as np

from ringpull.dryrun.bus_server import BusServer, Unit
from ringpull.invented.scenario import Drive
from shared_math.obd import pids

FILE = "computer.json"
EVERY_S = 0.02
ANSWERS_AFTER_S = 0.020
FILTER_S = 0.04  # it filters its engine speed
OPEN_LOOP_KPA = 75.0  # above, it leaves the narrow sensor alone
LONG_TRIM = 1.6
PENDING = "P0171"

CHANNELS: list[dict[str, Any]] = [
    {"name": "speed_by_bus", "kind": "obd", "pid": "engine_speed", "hz": 10},
    {"name": "lambda_asked", "kind": "obd", "pid": "commanded_lambda", "hz": 10},
    {"name": "spark", "kind": "obd", "pid": "spark_advance", "hz": 10},
    {"name": "short_trim", "kind": "obd", "pid": "short_trim_1", "hz": 4},
    {"name": "long_trim", "kind": "obd", "pid": "long_trim_1", "hz": 0.5},
    {"name": "fuel_state", "kind": "obd", "pid": "fuel_system_1", "hz": 4},
    {"name": "intake_air", "kind": "obd", "pid": "intake_temperature", "hz": 0.5},
]


def write(drive: Drive, folder: Path, seed: int, pending: tuple[str, ...] = (PENDING,)) -> None:
    """What it knows, EVERY_S apart, into a folder that exists. pending: its codes."""
    from ringpull.invented import engine, exhaust

    random = np.random.default_rng([seed, 4])
    step_s = float(drive.t_s[1] - drive.t_s[0])
    every = round(EVERY_S / step_s)
    load = drive.map_kpa
    closed = (load < OPEN_LOOP_KPA) & (drive.throttle_pct > 1.0)
    wander = exhaust.lagged(random.normal(0.0, 40.0, len(drive.t_s)), 0.8, step_s)
    values = {
        0x0C: exhaust.lagged(drive.rpm, FILTER_S, step_s),
        0x44: drive.target,
        0x0E: np.clip(30.0 - 0.14 * (load - 40.0) + 0.0018 * (drive.rpm - 2000.0), -5.0, 42.0),
        0x06: np.where(closed, np.clip(wander, -3.0, 3.0), 0.0),
        0x07: np.full(len(load), LONG_TRIM),
        0x03: np.where(closed, 2.0, 4.0),
        0x0F: engine.intake_k(engine.AMBIENT_KPA) - 273.15 + 0.12 * np.maximum(0.0, load - engine.AMBIENT_KPA),
    }
    told = {f"{pid:02X}": [round(float(one), 3) for one in series[::every]] for pid, series in values.items()}
    (folder / FILE).write_text(json.dumps({"every_s": EVERY_S, "pending": pending, "values": told}))


def car(folder: Path) -> BusServer | None:
    """The car of the signals in `folder`; None where they hold none."""
    path = folder / FILE
    if not path.exists():
        return None
    told = json.loads(path.read_text())
    return BusServer(units=[Unit(0x7E8, _answers(told), delay_s=ANSWERS_AFTER_S)])


def _answers(told: dict[str, Any]) -> Callable[[bytes, float], list[bytes]]:
    values = {int(pid, 16): series for pid, series in told["values"].items()}

    def of(pid: int, time_s: float) -> bytes:
        series = values[pid]
        value = series[min(len(series) - 1, int(time_s / told["every_s"]))]
        known = pids.described(pid)
        assert known is not None
        return raw_of(known[1][0], value).ljust(known[0], b"\0")

    def answers(request: bytes, time_s: float) -> list[bytes]:
        service, asked = request[0], request[1:]
        if service == 0x01 and len(asked) == 1 and asked[0] % 32 == 0:
            return [bytes((0x41, asked[0])) + _mask(asked[0], [1, *values])]
        if service == 0x01 and asked == b"\x01":
            return [b"\x41\x01\x00\x07\x65\x04"]
        if service == 0x01:
            out = b"".join(bytes((pid,)) + of(pid, time_s) for pid in asked if pid in values)
            return [b"\x41" + out] if out else []
        if service == 0x07:
            listed = [int(code[1:], 16).to_bytes(2, "big") for code in told["pending"]]
            return [bytes((0x47, len(listed))) + b"".join(listed)]
        if service in (0x03, 0x0A):
            return [bytes((service + 0x40, 0))]
        if service == 0x02:
            return [bytes((0x42, asked[0], 0, 0, 0))]
        return [bytes((0x7F, service, 0x11))]

    return answers


def raw_of(part: tuple, value: float) -> bytes:
    """The bytes in which a part of a parameter is sent."""
    _, _, count, (factor, divisor, offset, _), _ = part
    raw = round((value - offset) * divisor / factor)
    return min(max(raw, 0), (1 << 8 * count) - 1).to_bytes(count, "big")


def _mask(first: int, known: list[int]) -> bytes:
    bits = sum(1 << 32 - (pid - first) for pid in known if first < pid <= first + 32)
    return (bits | any(pid > first + 32 for pid in known)).to_bytes(4, "big")
