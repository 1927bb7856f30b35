"""The channels that each answer needs."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from ringpull.analysis.drive_state.columns import Columns


@dataclass(frozen=True)
class Need:
    """answer: its name. must: roles that it needs. better: roles that improve it."""

    answer: str
    must: tuple[str, ...]
    better: tuple[str, ...] = ()


LEAN_EVENTS = "lambda by engine speed and lean events"
DELAY = "delay and lag from the drive itself"
FUEL_MAP = "fuel map"
COMPARE = "compare two drives"
POWER = "power and torque at the wheels"
BANKS = "difference between banks"
MOVED = "what moved with a lean event"

# Other things that a session may lack
LAMBDA_HEATING = "lambda heating"  # its sensor was heating throughout
TARGET_LOAD = "target load"  # the load that the target depends on

NEEDS = (
    Need(LEAN_EVENTS, ("lambda", "rpm"), ("map", "throttle", "target", "coolant")),
    Need(DELAY, ("lambda", "rpm", "map"), ("injector or commanded", "throttle")),
    Need(FUEL_MAP, ("lambda", "rpm", "load"), ("trim",)),
    Need(COMPARE, ("lambda", "rpm"), ("load",)),
    Need(POWER, ("rpm or wheel", "mass"), ("wheel", "grade")),
    Need(BANKS, ("two lambda channels", "rpm")),
    Need(MOVED, ("lambda", "rpm"), ("fuel_pressure", "injector", "battery")),
)


def present(columns: Columns) -> set[str]:
    """The roles of which a session has at least one valid value."""

    def valid(array: np.ndarray | None) -> bool:
        return array is not None and bool(np.isfinite(array).any())

    axis = columns.load()
    out = {name for name, array in columns.extra.items() if valid(array)}
    for name, array in (
        ("lambda", columns.lambda_),
        ("rpm", columns.rpm),
        ("map", columns.map_kpa),
        ("throttle", columns.throttle),
        ("load", None if axis is None else axis.values),
    ):
        if valid(array):
            out.add(name)
    if len([b for b in columns.banks.values() if valid(b)]) > 1:
        out.add("two lambda channels")
    if columns.config.with_target:
        out.add("target")
    if columns.config.vehicle.mass_kg:
        out.add("mass")
    return out


def met(role: str, have: set[str]) -> bool:
    """Whether a role is available; of several joined by "or", any one."""
    return any(one in have for one in role.split(" or "))


def missing(columns: Columns, answer: str) -> tuple[list[str], list[str]]:
    """(missing roles that an answer needs, missing roles that would improve it)."""
    need = next(n for n in NEEDS if n.answer == answer)
    have = present(columns)
    return [r for r in need.must if not met(r, have)], [r for r in need.better if not met(r, have)]


def everywhere(sessions: Sequence[Columns], answer: str) -> list[str]:
    """The roles that an answer needs and that all of the sessions lack."""
    lacking_each = [missing(one, answer)[0] for one in sessions]
    return [role for role in (lacking_each or [[]])[0] if all(role in one for one in lacking_each)]
