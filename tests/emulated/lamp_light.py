"""What the lamp tells, read off its light alone: every pattern with its steps in their places."""

from __future__ import annotations

import importlib.util
import math

import numpy as np

from ringpull.files.firmware_sources import firmware_dir
from shared_math import faults, layout

CELL_MS = 25  # every step of every pattern is a multiple of it
LATE_MS = 20  # an edge may come so long after its place
CHANGE_MS = 40  # so far an edge may lie from a change of what is told
NO_CARD = "no card"
NAMES = {
    layout.LAMP_RECORDING: "recording",
    layout.LAMP_MARKING: "marking",
    layout.LAMP_LEAN: "lean",
    layout.LAMP_CARD_OUT: "card may be taken out",
    layout.LAMP_STARTING: "starting",
    layout.LAMP_ENDED: "pull ended",
}


def _module(path: str):
    spec = importlib.util.spec_from_file_location("firmware_" + path.replace("/", "_"), firmware_dir() / f"{path}.py")
    assert spec and spec.loader
    module = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(module)
    return module


def patterns() -> dict[str, tuple[int, bytes]]:
    """Name of what is told -> (milliseconds of a step, steps). Faults are told by their number."""
    lamp = _module("panel/lamp")
    out = {name: lamp.pattern_of(state) for state, name in NAMES.items()}
    numbers = [fault[0] for fault in faults.FAULTS.values()]
    out |= {f"fault {number}": lamp.pattern_of(layout.LAMP_FAULT + number) for number in numbers}
    return out | {NO_CARD: (125, b"\1\0")}


def told(edges: list, since_s: float, until_s: float) -> list[tuple[float, str]]:
    """[(time, what the lamp told from then on)]: the longest pattern that fits the light each time. A pattern fits
    while the lamp, 20 ms after each place where a step may begin, is as its step says."""
    first, last = int(since_s * 1000 / CELL_MS), int(until_s * 1000 / CELL_MS)
    times = np.array([time_s for time_s, _ in edges])
    levels = np.array([False, *(level for _, level in edges)])
    looks = (np.arange(first, last) * CELL_MS + LATE_MS) / 1000
    light = levels[np.searchsorted(times, looks, side="right")]
    fits = {}
    for name, (step_ms, steps) in patterns().items():
        wanted = np.frombuffer(steps, np.uint8)[np.arange(first, last) * CELL_MS // step_ms % len(steps)].astype(bool)
        fits[name] = wanted == light
    out: list[tuple[float, str]] = []
    at = 0
    while at < len(light):
        lengths = {name: _run(fit[at:]) for name, fit in fits.items()}
        best = max(lengths, key=lambda name: lengths[name])
        out.append(((first + at) * CELL_MS / 1000, best))
        at += max(1, lengths[best])
    return out


def _run(fit: np.ndarray) -> int:
    """How many are true from the first on."""
    wrong = np.flatnonzero(~fit)
    return int(wrong[0]) if len(wrong) else len(fit)


def step_ms(told_names: set[str]) -> int:
    """The grid that the steps of these patterns lie on."""
    return math.gcd(*(patterns()[name][0] for name in told_names))


def off_place(edges: list, since_s: float, until_s: float, changes_s: np.ndarray, grid_ms: int) -> tuple[int, int, int]:
    """(edges, those more than 20 ms after a step's place, those of them that no change of what is told explains).
    changes_s: when the lamp began to tell something else. grid_ms: steps begin at multiples of it."""
    times = np.array([time_s for time_s, _ in edges if since_s <= time_s < until_s])
    late = times[times * 1000 % grid_ms > LATE_MS]
    near = np.array([len(changes_s) and np.abs(changes_s - time_s).min() * 1000 <= CHANGE_MS for time_s in late])
    return len(times), len(late), int(np.count_nonzero(~near.astype(bool))) if len(late) else 0


def longer(stretches: list[tuple[float, str]], least_s: float = 1.0) -> list[str]:
    """What was told for so long or longer."""
    return [what for what, _ in _lasting(stretches, least_s)]


def as_text(stretches: list[tuple[float, str]], least_s: float = 1.0) -> str:
    """The same in a line, with times."""
    return ", ".join(f"{what} from {at:.1f} s" for what, at in _lasting(stretches, least_s))


def _lasting(stretches: list[tuple[float, str]], least_s: float) -> list[tuple[str, float]]:
    ends = [time_s for time_s, _ in stretches[1:]] + [math.inf]
    return [(what, at) for (at, what), end in zip(stretches, ends) if end - at >= least_s]
