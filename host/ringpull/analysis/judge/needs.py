"""Which answer needs which channels, and what is said where one is missing."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from ringpull.analysis.drive_state.columns import Columns


@dataclass(frozen=True)
class Need:
    """answer: what is asked. must: roles without which there is none. better: role -> what is done without it."""

    answer: str
    must: tuple[str, ...]
    better: tuple[tuple[str, str], ...] = ()


NEEDS = (
    Need(
        "lambda by engine speed and lean events",
        ("lambda", "rpm"),
        (
            ("map", "without manifold pressure the exhaust flow is computed for 90 kPa, so the delay is less certain"),
            (
                "throttle",
                "without throttle, load is told from manifold pressure; without both, from rising engine speed",
            ),
            (
                "target",
                "without a target a full-throttle value by fuel and aspiration is used (common practice, no source)",
            ),
            ("coolant", "without coolant temperature a cold engine is not left out"),
        ),
    ),
    Need(
        "delay and lag from the drive itself",
        ("lambda", "rpm", "map"),
        (
            (
                "injector or commanded",
                "without injector time or commanded lambda, time zero is the throttle (else manifold pressure) and the delay found is an "
                "upper bound",
            ),
            ("throttle", "without throttle, fuel cuts are told from injector time, commanded lambda or deep vacuum"),
        ),
    ),
    Need(
        "fuel map",
        ("lambda", "rpm", "load"),
        (("trim", "without trims logged, a correction the engine computer already makes stays hidden in the ratio"),),
    ),
    Need(
        "compare two drives",
        ("lambda", "rpm"),
        (("load", "without a load channel bins are by engine speed alone"),),
    ),
    Need(
        "power and torque at the wheels",
        ("rpm or wheel", "mass"),
        (
            ("wheel", "without wheel speed the gear must be given or known from `gears`"),
            ("grade", "without the grade, the interval is wider by what a road may rise"),
        ),
    ),
    Need("difference between banks", ("two lambda channels", "rpm"), ()),
    Need(
        "what moved with a lean event",
        ("lambda", "rpm"),
        (
            ("fuel_pressure", "fuel pressure is not logged, so a tired pump or a blocked filter can't be named"),
            ("injector", "injector time is not logged, so a duty limit can't be named"),
            ("battery", "supply voltage is not logged, so a weak supply can't be named"),
        ),
    ),
)


ROLE_WORDS = {
    "rpm": "engine speed",
    "rpm or wheel": "engine or wheel speed",
    "map": "manifold pressure",
    "load": "manifold pressure or throttle",
}


def present(columns: Columns) -> set[str]:
    """The roles that a session has at least one valid value of."""

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
    if columns.config.get("target"):
        out.add("target")
    if columns.config.get("vehicle", {}).get("mass_kg"):
        out.add("mass")
    return out


def met(role: str, have: set[str]) -> bool:
    """Whether a role, or one of several joined by "or", is there."""
    return any(one in have for one in role.split(" or "))


def lacking(names: list[str]) -> str:
    """What is said of roles that an answer can't do without."""
    return f"not logged, or never valid: {', '.join(ROLE_WORDS.get(name, name) for name in names)}"


def missing(columns: Columns, answer: str) -> tuple[list[str], list[str]]:
    """(roles without which there is no such answer, sentences on what is done without the others)."""
    need = next(n for n in NEEDS if n.answer == answer)
    have = present(columns)
    return [r for r in need.must if not met(r, have)], [words for role, words in need.better if not met(role, have)]


def everywhere(sessions: Sequence[Columns], answer: str) -> list[str]:
    """The roles without which none of the sessions has an answer."""
    lacking_each = [missing(one, answer)[0] for one in sessions]
    return [role for role in (lacking_each or [[]])[0] if all(role in one for one in lacking_each)]


def table() -> list[tuple[str, str, str]]:
    """(answer, needs, without the rest) for the docs."""
    musts = [", ".join(ROLE_WORDS.get(role, role) for role in n.must) for n in NEEDS]
    return [(n.answer, must, "; ".join(words for _, words in n.better)) for n, must in zip(NEEDS, musts, strict=True)]
