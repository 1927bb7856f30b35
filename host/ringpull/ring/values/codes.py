"""What the car's computers answered about trouble codes, unit by unit: from the ring file, or from the cable."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Any

from shared_math.obd import codes, pids, replies, status

EXTENDED = 1 << 29


@dataclass
class UnitCodes:
    """One unit. who: id of its frames as hexadecimal digits. Codes as names; None: it did not answer that.

    readiness: see shared_math.obd.status.readiness. frozen: (name, value, unit) of the freeze frame. vin: where it was
    asked for. cut: an answer found no room in the block.
    """

    who: str
    confirmed: list[str] | None = None
    pending: list[str] | None = None
    permanent: list[str] | None = None
    readiness: dict[str, Any] | None = None
    frozen_code: str = ""
    frozen: list[tuple[str, Any, str]] = field(default_factory=list)
    vin: str | None = None
    cut: bool = False

    @property
    def any(self) -> bool:
        """Whether it keeps a code of any sort."""
        return bool(self.confirmed or self.pending or self.permanent)


def read(payload: bytes) -> list[UnitCodes]:
    """The units of a block's payload (FORMAT.md, "Codes"), in the order in which they answered. What is cut off or
    makes no sense is left out."""
    units: dict[int, UnitCodes] = {}
    at = 0
    while at + 5 <= len(payload):
        who, length = int.from_bytes(payload[at : at + 4], "little"), payload[at + 4]
        answer = payload[at + 5 : at + 5 + length]
        at += 5 + length
        if len(answer) < length or length == 1 or (not length and not who):
            continue
        number = who & (EXTENDED - 1)
        unit = units.setdefault(who, UnitCodes(f"{number:08X}" if who & EXTENDED else f"{number:03X}"))
        if length:
            _take(unit, answer)
        else:
            unit.cut = True
    return list(units.values())


def _take(unit: UnitCodes, answer: bytes) -> None:
    service, rest = answer[0], answer[1:]
    if service == 0x43:
        unit.confirmed = codes.listed(rest)
    elif service == 0x47:
        unit.pending = codes.listed(rest)
    elif service == 0x4A:
        unit.permanent = codes.listed(rest)
    elif service == 0x59 and rest[0] == 0x02:
        told = codes.listed_with_status(rest[1:])
        if told is not None:  # ISO 14229-1: bit 3 confirmed, bit 2 pending
            unit.confirmed = [name for name, _, state in told if state & 0x08]
            unit.pending = [name for name, _, state in told if state & 0x04]
    elif service == 0x59 and rest[0] == 0x15:
        told = codes.listed_with_status(rest[1:])
        if told is not None:
            unit.permanent = [name for name, _, _ in told]
    elif service == 0x59 and rest[0] == 0x04:
        _snapshot(unit, rest[1:])
    elif service == 0x62 and rest[:2] == b"\xf4\x01" and len(rest) >= 6:
        unit.readiness = status.readiness(rest[2:6])
    elif service == 0x62 and rest[:2] == b"\xf8\x02":
        unit.vin = rest[2:].decode("ascii", "replace").strip("\0 ")
    elif service == 0x41 and rest[0] == 0x01 and len(rest) >= 5:
        unit.readiness = status.readiness(rest[1:5])
    elif service == 0x42 and len(rest) >= 3:
        _frozen(unit, rest[0], rest[2:])
    elif service == 0x49 and rest[0] == 0x02:
        unit.vin = rest[2:].decode("ascii", "replace").strip("\0 ")


def _frozen(unit: UnitCodes, pid: int, data: bytes) -> None:
    if pid == 0x02:
        unit.frozen_code = codes.name(data[0], data[1]) if len(data) >= 2 and any(data[:2]) else ""
    elif pid in pids.MASKS:
        return
    else:
        unit.frozen += status.values(pid, data)


def _snapshot(unit: UnitCodes, data: bytes) -> None:
    """The freeze frame of the later standard: the code and its state, then records (ISO 14229-1): number, how many
    values, then identifier and data of each. Of the first record, up to the first value of unknown length."""
    if len(data) < 6 or unit.frozen:
        return
    unit.frozen_code = codes.name(data[0], data[1])
    at, count = 6, data[5]
    for _ in range(count):
        pid = data[at + 1] if data[at : at + 1] == bytes((replies.MODERN,)) and at + 1 < len(data) else -1
        length = pids.length_of(pid) if pid >= 0 else None
        if length is None or at + 2 + length > len(data):
            return
        _frozen(unit, pid, data[at + 2 : at + 2 + length])
        at += 2 + length


def as_json(unit: UnitCodes) -> dict[str, Any]:
    """A unit for --json."""
    out = {
        "unit": unit.who,
        "confirmed": unit.confirmed,
        "pending": unit.pending,
        "permanent": unit.permanent,
        "cut": unit.cut,
        "readiness": unit.readiness,
        "freeze_frame": {"code": unit.frozen_code, "values": {name: value for name, value, _ in unit.frozen}},
    }
    return out | ({"vin": unit.vin} if unit.vin else {})
