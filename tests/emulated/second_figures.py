"""Figures of a story on the second rig, from its card and from what was seen of its pins."""

from __future__ import annotations

import tempfile
from pathlib import Path

import lamp_light
import numpy as np
from second_rig import Rig, Story
from second_stories import CLOCK, STORIES

from shared_math import layout

SETTLED_S = 4.5  # recording is under way
CLOCK_S = 4.0  # signals.mjs: the time on a3 begins anew
BITS = 12
ON_CHIP = 4  # inputs before those of the converter


def figures(uf2: Path, name: str) -> dict:
    """Run a story; what came of it."""
    with tempfile.TemporaryDirectory(prefix="ringpull-second-") as folder:
        return of_story(uf2, STORIES[name][1](), Path(folder))


def of_story(uf2: Path, story: Story, folder: Path) -> dict:
    """See `figures`; a figure that a story has not is left out."""
    rig = Rig(uf2, story, folder)
    seen = rig.run()
    end_s = story.seconds - (story.finish_s if story.finish else 0)
    out = {"resets": len(seen["resets"]), "emulator_errors": len(seen["errors"]), "writes": len(seen["writes"])}
    out["emulator_said"] = [f"{time_s:.3f} s, {part}: {words}" for time_s, part, words in seen["errors"][:5]]
    out["uncaught"] = seen["said"].count("Uncaught exception")  # in an interrupt: the stack is used up
    out |= _of_writes(seen, story)
    loads = [share for time_s, share in seen["loads"] if SETTLED_S < time_s <= end_s]
    out["cpu"] = float(np.mean(loads))
    sounded = [time_s for time_s, on in seen["buzzer"] if on and time_s > story.lean_s[0]]
    if sounded:
        out["warning_delay_s"] = sounded[0] - story.lean_s[0]
    drives = [rig.drive(number) for number in range(len(rig.cards))] if seen["writes"] else []
    sessions = [(number, drive.sessions[-1]) for number, drive in enumerate(drives) if drive.sessions]
    if sessions:
        out |= _of_rows(sessions, story)
        out |= _of_pull(rig, sessions)
        out["converter_off_counts"] = _converter_off(sessions[-1][1], story, out["first_write_s"])
    stretches = lamp_light.told(seen["lamp"], 0.1 if story.no_card else SETTLED_S, end_s)
    step_ms = lamp_light.step_ms({what for _, what in stretches})
    changes_s = _changes_s(sessions, story, stretches, out.get("first_write_s", 0.0))
    counted = lamp_light.off_place(seen["lamp"], SETTLED_S, end_s, changes_s, step_ms)
    out["first_light_s"] = seen["lamp"][0][0]
    out["lamp_edges"], out["lamp_edges_late"], out["lamp_edges_unexplained"] = counted
    out["lamp_told"] = lamp_light.as_text(stretches)
    out["faults_told"] = _faults(sessions, stretches)
    out["stretches"] = stretches
    out["longest_turn_ms"] = _longest_turn_ms(seen["turns"], end_s)
    return {key: value for key, value in out.items() if value is not None}


def _of_writes(seen: dict, story: Story) -> dict:
    writes = np.array(seen["writes"])
    out = {"refused": len(seen["refused"]) or None}
    if len(writes):
        out["first_write_s"] = float(writes[0])
    back_s = [event[0] for event in story.happens if event[1] == "in"]
    if back_s and (writes > back_s[0]).any():
        out["back_after_s"] = float(writes[writes > back_s[0]][0] - back_s[0])
    return out


def _of_rows(sessions: list, story: Story) -> dict:
    """Rows over all cards of one start: their numbers run on."""
    rows = np.sort(np.concatenate([session.raw()["row"].to_numpy() for _, session in sessions]))
    raw = sessions[0][1].raw()
    holes = np.flatnonzero(np.diff(rows) > 1)
    late = raw["late"].to_numpy()
    health = sessions[-1][1].timing.health or {}
    told = int(sum(session.lost_rows for _, session in sessions))
    return {
        "rows": len(rows),
        "rows_missing": int(rows[-1] + 1 - len(np.unique(rows))),
        # Between two cards is no hole of either: there the count of the logger's health says it
        "rows_told_lost": max(told, health.get("lost", 0)) if len(sessions) > 1 else told,
        "holes": len(holes),
        "late_us_median": float(np.median(late)),
        "late_us_max": float(late.max()),
        "heap_free_bytes": health.get("heap"),
    }


def _faults(sessions: list, stretches: list[tuple[float, str]]) -> str:
    """Numbers of the faults that rows or the lamp's light told."""
    rows = [int(state) for _, session in sessions for state in np.unique(session.raw()["lamp"])]
    numbers = {state - layout.LAMP_FAULT for state in rows if state >= layout.LAMP_FAULT}
    numbers |= {int(what.split()[1]) for what in lamp_light.longer(stretches) if what.startswith("fault ")}
    return ", ".join(map(str, sorted(numbers))) or "none"


def _of_pull(rig: Rig, sessions: list) -> dict:
    """How much of the marked pull is missing from pulls.rpl alone, of the card that took it."""
    number, session = sessions[-1]
    marks = [mark for mark in session.marks if not mark.void and mark.end_s is not None]
    if not marks or len(rig.cards) > 1:
        return {}
    import ringpull

    kept = ringpull.read(rig.files(number) / "pulls.rpl").sessions[-1].raw()["row"].to_numpy()
    rate_hz = rig.story.config["rate_hz"]
    first, last = int((marks[0].start_s - 5) * rate_hz), int((marks[0].end_s + 3) * rate_hz)
    rows = session.raw()["row"].to_numpy()
    wanted = rows[(rows >= max(0, first)) & (rows <= last)]
    return {"pull_rows": len(wanted), "pull_rows_missing": int(np.count_nonzero(~np.isin(wanted, kept)))}


def _changes_s(sessions: list, story: Story, stretches: list[tuple[float, str]], written_s: float) -> np.ndarray:
    """Times since power-on at which the lamp began to tell something else: by the rows; where no card has any, by its
    light."""
    out = [np.zeros(0)]
    covered = [(0.0, 0.0)]
    for _, session in sessions:
        raw = session.raw()
        row, lamp = raw["row"].to_numpy(), raw["lamp"].to_numpy()
        at_s = row / story.config["rate_hz"] + _first_row_s(session, story, written_s)
        out.append(at_s[1:][np.diff(lamp) != 0])
        covered += zip(*(at_s[edge] for edge in _ends(row)))
    alone = [time_s for time_s, _ in stretches if not any(a <= time_s <= b for a, b in covered)]
    return np.concatenate([*out, alone])


def _ends(row: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """(first, last) of each stretch of rows without a hole, as places."""
    holes = np.flatnonzero(np.diff(row) > 1)
    return np.r_[0, holes + 1], np.r_[holes, len(row) - 1]


def _first_row_s(session, story: Story, written_s: float) -> float:
    """When row 0 was taken, by the clock on a3. written_s: of the first write, within 2 s of it."""
    raw = session.raw()
    bits = session.converters[CLOCK].bits
    clock_s = raw[CLOCK].to_numpy() / (1 << bits - BITS) / 1000
    off_s = (clock_s - raw["row"].to_numpy() / story.config["rate_hz"]) % CLOCK_S
    off_s = float(np.median(off_s))
    return off_s + round((written_s - off_s) / CLOCK_S) * CLOCK_S


def _converter_off(session, story: Story, written_s: float) -> float | None:
    """Most counts that a reading of the external converter lies off its signal, the swing of signals.mjs."""
    raw = session.raw()
    names = [name for name in raw.columns if name.startswith("sensor_")]
    if not names or story.restless:
        return None
    at_s = raw["row"].to_numpy() / story.config["rate_hz"] + _first_row_s(session, story, written_s)
    off = 0.0
    for name in names:
        number = ON_CHIP + int(name.removeprefix("sensor_"))
        swing = 1500 + 120 * (number % 8) + 600 * np.sin(2 * np.pi * (0.3 + 0.05 * number) * at_s)
        off = max(off, float(np.abs(raw[name].to_numpy() - swing).max()))
    return off


def _longest_turn_ms(turns_s: list[float], end_s: float) -> float | None:
    """Longest time between two turns of the main loop beside the card, where the story's main.py tells them."""
    turns = np.array([time_s for time_s in turns_s if SETTLED_S < time_s < end_s])
    return float(np.diff(turns).max() * 1000) if len(turns) > 1 else None
