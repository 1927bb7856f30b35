"""Channels of kind can from a DBC file: what an engine computer broadcasts, as its maker or user wrote it down.

Read are lines BO_ and SG_; everything else in such a file is for other tools.
"""

from __future__ import annotations

import re
from pathlib import Path
from typing import Any

from ringpull.errors import BadUsage
from shared_math import bus
from shared_math.config import check_bus, schema

FRAME = re.compile(r"BO_\s+(\d+)\s+(\w+)\s*:\s*(\d+)")
SIGNAL = re.compile(
    r"SG_\s+(\w+)\s*(M|m\d+)?\s*:\s*(\d+)\|(\d+)@([01])([+-])\s*\(([^,]+),([^)]+)\)\s*\[[^\]]*\]\s*\"([^\"]*)\""
)
EXTENDED = 1 << 31
MOST_BITS = check_bus.KINDS["can"]["length"][2]
UNITS = {"°C": "degC", "C": "degC", "1/min": "rpm", "rpm": "rpm", "kph": "km/h"}


def signals(path: Path) -> dict[str, dict[str, Any]]:
    """Signal's name as in the file -> channel of kind can. Raises BadUsage where the file can't be read."""
    try:
        text = path.read_text(encoding="utf-8", errors="replace")
    except OSError as error:
        raise BadUsage(f"{path} can't be read: {error.strerror}", "a wrong name or folder", "check the path") from None
    out: dict[str, dict[str, Any]] = {}
    number, chooser, waiting = 0, None, []
    for line in text.splitlines():
        frame, signal = FRAME.match(line.strip()), SIGNAL.match(line.strip())
        if frame:
            _choose(waiting, chooser)
            number, chooser, waiting = int(frame[1]), None, []
        elif signal:
            channel = _channel(number, signal)
            if signal[2] == "M":
                chooser = channel
            elif signal[2]:
                waiting.append((channel, int(signal[2][1:])))
            out[signal[1]] = channel
    _choose(waiting, chooser)
    if not out:
        raise BadUsage(
            f"{path.name} holds no signal", "it is no DBC file, or an empty one", "give a file with lines BO_ and SG_"
        )
    return out


def _channel(number: int, signal: re.Match[str]) -> dict[str, Any]:
    unit = UNITS.get(signal[9].strip(), signal[9].strip())[:12]
    name = re.sub(r"[^a-z0-9_]", "_", re.sub(r"(?<=[a-z0-9])(?=[A-Z])", "_", signal[1]).lower())
    name = (name if name[0].isalpha() else "s" + name)[: schema.LONGEST_NAME]
    out: dict[str, Any] = {"name": name, "kind": "can", "id": f"{number & (EXTENDED - 1):X}"}
    if number & EXTENDED:
        out["extended"] = True
    out |= {"start_bit": int(signal[3]), "length": int(signal[4]), "order": "little" if signal[5] == "1" else "big"}
    out |= {"signed": signal[6] == "-", "factor": float(signal[7]), "offset": float(signal[8])}
    return out | ({"unit": unit} if unit else {})


def _choose(waiting: list[tuple[dict[str, Any], int]], chooser: dict[str, Any] | None) -> None:
    """What a multiplexed signal needs: the frame's chooser, and which of its numbers is meant."""
    for channel, wanted in waiting:
        if chooser is not None:
            channel["when"] = {key: chooser[key] for key in ("start_bit", "length", "order")} | {"is": wanted}


def chosen(path: Path, wanted: list[str]) -> tuple[list[dict[str, Any]], list[str]]:
    """(channels of the signals wanted, why others of them can't be one). Raises BadUsage for a name that the file has
    not."""
    there = signals(path)
    out, left = [], []
    for name in wanted:
        if name not in there:
            raise BadUsage(
                f"{path.name} has no signal {name}",
                "a slip of the keyboard; capitals count",
                f"take some of: {', '.join(list(there)[:20])}",
            )
        channel = there[name]
        if channel["length"] > MOST_BITS:
            left.append(f"{name} has {channel['length']} bits, and {MOST_BITS} can be kept")
        elif bus.last_byte(channel["start_bit"], channel["length"], channel["order"] == "big") > 7:
            left.append(f"{name} reaches beyond the eight bytes of a frame")
        else:
            out.append(channel)
    return out, left
