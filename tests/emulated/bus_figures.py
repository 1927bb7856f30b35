"""What came of a recording with a bus controller: rates, what was lost, and whether anything was torn."""

from __future__ import annotations

import bus_rig
import numpy as np

NEVER = 131071  # age of a value that never came


def of_run(run, raw) -> dict[str, float]:
    """Figures of a run with a bus. raw: its rows."""
    rig = run.bus
    at_s, off = _row_times(run, raw)
    inside = (at_s > rig.began_s) & (at_s < rig.began_s + rig.seconds)
    rates, strange, stale = [], 0, 0.0
    for pid in bus_rig.SIXTEEN:
        values, ages = (raw[name].to_numpy().astype(int) for name in _columns(pid))
        came = np.diff(ages, prepend=NEVER) < 0
        rates.append((came & inside).sum() / rig.seconds)
        numbers = np.array([bus_rig.number_of(pid, int(value)) for value in values[came]])
        # Each answer says the next number: one that steps back, or skips more than those that were lost, is none
        steps = np.diff(numbers) % 256
        strange += int((numbers < 0).sum() + (steps > 1 + rig.car.dropped).sum() + (steps == 0).sum())
        stale = max(stale, float(ages[inside].max()))
    lost = raw["bus_lost"].to_numpy()
    return {
        "requests_per_s": rig.asked / rig.seconds,
        "values_per_s_least": min(rates),
        "values_per_s_most": max(rates),
        "oldest_value_ms": stale,
        "answers": rig.car.answers,
        "answers_dropped": rig.car.dropped,
        "answers_told_lost": int(lost[-1]),
        "values_strange": strange,
        "trip_ms_median": float(np.median(raw["bus_trip"].to_numpy()[inside])),
        "conversions": rig.converter.accesses,
        "conversions_torn": rig.converter.torn + off,
        "bus_accesses": rig.controller.accesses,
        "bus_accesses_torn": rig.controller.torn + rig.bus.together + len(rig.car.strange),
        "frames_overflown": rig.model.overflows,
    }


def _columns(pid: int) -> tuple[str, str]:
    return name_of(pid), name_of(pid) + ".held"


def name_of(pid: int) -> str:
    """The channel that asks for a parameter."""
    return f"value_{pid:02x}"


def _row_times(run, raw) -> tuple[np.ndarray, int]:
    """(when each row's converter was read, conversions of which the row says something else)."""
    taken = run.converter.taken
    inputs = sorted({channel for _, channel, _ in taken})
    per_row = [np.array([(now_s, counts) for now_s, which, counts in taken if which == one]) for one in inputs]
    rows = raw["row"].to_numpy()
    columns = [raw[f"at_x{one}"].to_numpy().astype(int) for one in inputs]
    # Row 0 is one of the first conversions: the one for which most rows agree
    count = min(len(one) for one in per_row)
    ahead = range(count - rows[-1])
    agree = [sum((one[rows + n, 1] == told).sum() for one, told in zip(per_row, columns, strict=True)) for n in ahead]
    first = int(np.argmax(agree))
    return per_row[0][rows + first, 0], len(inputs) * len(rows) - int(agree[first])
