"""One fault on one random drive, through to the answer: is it calm, does it take fuel away, does it name the fault?

Two ways lead there: `through_columns`, with what a logger would decode, and `through_firmware`, with the real firmware
on the signals. Beyond that both are one.
"""

from __future__ import annotations

import copy
import tempfile
from dataclasses import dataclass
from functools import lru_cache
from pathlib import Path
from types import SimpleNamespace

import numpy as np
from truth import faults, wired
from truth.faults import Fault
from truth.wired import Wired

import ringpull
from ringpull.analysis import find_pulls
from ringpull.analysis.answer import answer
from ringpull.analysis.cells import fuelmap
from ringpull.analysis.drive_state import columns as drive_columns
from ringpull.analysis.instruments.records import State
from ringpull.analysis.judge.verdict import NO_EVENT
from ringpull.files import configuration
from ringpull.files.configuration import Configuration

MOST_SEEDS = 400  # looked through for a drive that a fault can befall


@dataclass(frozen=True)
class Outcome:
    """What came of it. calm: "no lean event found". leaner: cells of the event with a factor below 1. named: an
    instrument of the fault is contradicted; others: the contradicted ones that it does not touch."""

    fault: str
    seed: int
    event: bool
    verdict: str
    calm: bool
    leaner: int
    named: bool
    others: tuple[str, ...]


class ColumnSession:
    """What the analysis asks of a session, made from decoded columns."""

    codes = ()  # of the car's computers
    refused_config = None

    def __init__(self, table: dict, states: dict, config: Configuration, presses_s: list[float]) -> None:
        self.id, self.config, self.converters = 1, config, {}
        self._table, self._states = table, states
        self.lean_warnings: list[tuple[float, float]] = []
        self.rows, self.duration_s = len(table["time_s"]), float(table["time_s"][-1])
        pairs = zip(presses_s[0::2], presses_s[1::2], strict=False)
        self.marks = [
            SimpleNamespace(id=n + 1, start_s=a, end_s=b, spoiled=False, void=False) for n, (a, b) in enumerate(pairs)
        ]

    def unrecorded(self) -> list[tuple[float, float]]:
        """Columns have a row for every period."""
        return []

    def table(self) -> dict:
        return self._table

    def columns(self) -> drive_columns.Columns:
        return drive_columns.from_table(self._table, self.config, self._states)


class ColumnDrive:
    """What the answer asks of a drive, of one session."""

    cut_short = None

    def __init__(self, session: ColumnSession) -> None:
        self.sessions = [session]
        view = find_pulls.View(session)
        view.__dict__["trust"] = find_pulls.examined(session.columns(), session.id)
        self._views = [view]
        self._pulls = find_pulls.find(self._views)

    def views(self) -> list:
        return self._views

    def pulls(self) -> list:
        return self._pulls


def drives_for(fault: Fault, count: int, event: bool) -> list[int]:
    """The first seeds whose drives the fault can befall; with an event, those that have one that must not be missed."""
    out = []
    for seed in range(MOST_SEEDS):
        if len(out) == count:
            break
        if fault.boosted is None and not event and fault.channels != ("battery",):
            out.append(seed)
            continue
        made = sound(seed, event, fault.banks)
        boosted = made.drive.truth.engine.boost_kpa > 0
        if fault.boosted is not None and boosted != fault.boosted:
            continue
        if (event and not made.events) or (fault.channels == ("battery",) and not made.has("battery")):
            continue
        out.append(seed)
    return out


@lru_cache(maxsize=128)
def sound(seed: int, event: bool, banks: int) -> Wired:
    """The wired drive without a fault, to be left as it is."""
    return wired.wire(seed, event, banks)


def broken(fault: Fault, seed: int, event: bool) -> Wired:
    """The wired drive with the fault in it."""
    made = sound(seed, event, fault.banks)
    made = copy.deepcopy(made, {id(made.drive): made.drive})
    fault.apply(made, np.random.default_rng([9, seed]))
    return made


def through_columns(fault: Fault, seed: int, event: bool) -> Outcome:
    """By what a logger would decode."""
    made = broken(fault, seed, event)
    table, states = wired.table(made, np.random.default_rng([8, seed]))
    drive = ColumnDrive(ColumnSession(table, states, configuration.of(made.config), made.presses_s))
    return outcome(fault, made, seed, event, drive)


def through_firmware(fault: Fault, seed: int, event: bool) -> Outcome:
    """By the firmware, its ring file, and what is read of it."""
    from ringpull.dryrun.run import dry_run

    made = broken(fault, seed, event)
    with tempfile.TemporaryDirectory(prefix="ringpull-fault-") as folder:
        here = Path(folder)
        wired.write(made, here)
        files = (here / name for name in ("logger.json", "volts.csv", "edges.csv", "buttons.csv"))
        dry_run(*files, here / "card", seed=seed)
        return outcome(fault, made, seed, event, ringpull.read(here / "card"))


def outcome(fault: Fault, made: Wired, seed: int, event: bool, drive) -> Outcome:
    """What the answer and the fuel map make of a drive."""
    found = answer(drive)
    against = {one.channel for one in found.instruments if one.state is State.CONTRADICTED}
    return Outcome(
        fault=fault.name,
        seed=seed,
        event=event,
        verdict=found.verdict,
        calm=found.verdict == NO_EVENT,
        leaner=leaner_cells(drive, made) if event else 0,
        named=bool(against & set(fault.channels)),
        others=tuple(sorted(against - set(fault.channels))),
    )


def leaner_cells(drive, made: Wired) -> int:
    """Cells under load at the speeds of the event, for which less fuel is suggested."""
    cells = fuelmap.of_drive(drive).cells
    return sum(
        cell.loaded and np.isfinite(cell.factor) and cell.factor < 1.0 and event.rpm_from <= cell.rpm <= event.rpm_to
        for cell in cells
        for event in made.events
    )


def by_name(name: str) -> Fault:
    """The fault of this name; a sound drive is "no fault"."""
    return next(one for one in (faults.SOUND, *faults.FAULTS) if one.name == name)


def run(name: str, seed: int, event: bool, firmware: bool) -> Outcome:
    """One fault by its name, for a pool of processes."""
    way = through_firmware if firmware else through_columns
    return way(by_name(name), seed, event)
