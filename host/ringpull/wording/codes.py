"""Trouble codes in words, unit by unit."""

from __future__ import annotations

from ringpull.ring.values.codes import UnitCodes
from shared_math.obd import codes

CUT = "it told more than the logger keeps: there may be more codes than these"
KINDS = (("confirmed", "stored"), ("pending", "pending"), ("permanent", "permanent"))


def of_code(code: str, kind: str) -> str:
    """One code."""
    return f"{code} ({kind}): {codes.text(code)}"


def listed(unit: UnitCodes) -> list[str]:
    """Its codes, a line each."""
    return [of_code(code, kind) for key, kind in KINDS for code in getattr(unit, key) or ()] + [CUT] * unit.cut


def readiness(unit: UnitCodes) -> str:
    """Lamp and readiness; "" where it did not tell."""
    told = unit.readiness
    if told is None:
        return ""
    lamp = "warning lamp on" if told["lamp"] else "warning lamp off"
    waiting = [name for name, complete in told["monitors"].items() if not complete]
    ready = f"not complete yet: {', '.join(waiting)}" if waiting else "all monitors complete"
    return f"{lamp}; {told['ignition']} ignition; {ready}"


def frozen(unit: UnitCodes) -> str:
    """The freeze frame; "" without one."""
    if not unit.frozen_code and not unit.frozen:
        return ""
    values = ", ".join(
        f"{name.replace('_', ' ')} {value:g}{' ' + unit_ if unit_ else ''}"
        for name, value, unit_ in unit.frozen
        if isinstance(value, (int, float))
    )
    return f"freeze frame of {unit.frozen_code or 'an unnamed code'}: {values or 'no values'}"


def lines(unit: UnitCodes) -> list[str]:
    """All of a unit, as `ringpull codes` prints it."""
    out = [f"unit {unit.who}" + (f", vehicle {unit.vin}" if unit.vin else "")]
    said = listed(unit)
    if not said:
        said = ["no codes" if unit.confirmed is not None else "it did not answer about codes"]
    out += ["  " + one for one in (*said, readiness(unit), frozen(unit)) if one]
    return out
