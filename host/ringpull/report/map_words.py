"""The sentences beside a fuel map: what it rests on, and what it leaves out."""

from __future__ import annotations

import numpy as np

from ringpull.analysis.cells.cell import LEAST_PASSES, MOST_STEP, NOT_MAPPED
from ringpull.analysis.cells.fuelmap import STEADY_LAMBDA, STEADY_S, FuelMap, NoMap
from ringpull.analysis.cells.given_axes import Misfit
from ringpull.said import kpa, lam, say
from ringpull.wording.instruments import doubt
from ringpull.wording.needs import lacking

ASSUMED = "no target is configured, and an assumed target is no reason to make anything leaner under load"
NO_LOAD = "no fuel map: it needs engine speed and load, but neither manifold pressure nor another load is logged"
NOT_VISITED = "no fuel map: nothing that could be judged lies in any cell"
UNMAPPED = (
    "{} under load only in the first second after the throttle opened, while boost builds up and the wall film "
    "settles: not mapped"
)
WITH_EVENT = "{} a lean event: fuel is not reduced there, and the cell's mean may hide how lean it was"


def sentences(made: FuelMap) -> list[str]:
    """All that is said beside a map, or why there is none."""
    if made.missing is NoMap.NO_LOAD:
        return [NO_LOAD]
    if made.missing is NoMap.UNMET:
        return [say("no fuel map: ", lacking(made.lacking))]
    unfit = [] if made.grounds.misfit is None else unfitting(made.grounds.misfit)
    if made.missing is NoMap.NOT_VISITED:
        return [NOT_VISITED, *unfit]
    reduced = [say("this map reduces fuel nowhere: ", doubt(one)) for one in made.grounds.contradicted]
    reduced += [
        f"this map reduces fuel nowhere: the target's table ends at {last:g} {unit}, and the drive goes beyond it"
        for last, unit in made.grounds.target_ends
    ]
    return [*reduced, *unfit, *remarks(made), *counted(made)]


def unfitting(found: Misfit) -> list[str]:
    """Where a given table does not fit the drive."""
    out = []
    if found.outside:
        (low, high), loads = found.table
        table = f"{low:.0f}-{high:.0f} 1/min" + ("" if loads is None else f", load {loads[0]:g}-{loads[1]:g}")
        (low, high), loads = found.drive
        drive = f"{low:.0f}-{high:.0f} 1/min"
        drive += "" if loads is None else f", load {loads[0]:.0f}-{loads[1]:.0f} {found.load_unit}"
        share = f"{found.beyond:.0%} of the judged rows ({found.beyond_under_load:.0%} of those under load)"
        out.append(f"{share} lie beyond the given table ({table}; the drive: {drive})")
    if found.other_unit and found.table.load is not None:
        out.append(
            f"the given table goes to a load of {found.table.load[1]:g}, the drive under load to "
            f"{found.full_load:.0f} {found.load_unit}: if the table's load is not in that unit, this map is meaningless"
        )
    return out


def remarks(made: FuelMap) -> list[str]:
    """Remarks on method and assumptions."""
    grounds = made.grounds
    words = [
        "a pass is one continuous visit to a cell; visits in one pull are one pass",
        say(
            f"at part load a pass lasts at least {STEADY_S:.1f} s, lambda of its halves within ", lam(STEADY_LAMBDA, 2)
        ),
        f"a cell of fewer than {LEAST_PASSES} passes has no interval and no factor; a step is at most {MOST_STEP:.0%}",
    ]
    if grounds.others:
        words.append(f"left out: {grounds.others} of the drive's sessions, whose load is not in {made.load_unit}")
    words.append(say("a systematic error of up to ", lam(grounds.systematic), " would shift all ratios alike"))
    if grounds.assumed:
        words.append(ASSUMED)
    if grounds.trims:
        words.append("logged trims are included in the ratio")
    else:
        words.append("no trims are logged: the engine computer's own correction stays hidden")
    if grounds.banks > 1:
        words.append("two banks: each cell shows the leaner bank, and the table feeds both; compare the banks first")
    doubted = sorted({one.channel for one in grounds.contradicted if one.bank is not None})
    words += [f"{one} is contradicted by the drive: cells may show the other bank alone" for one in doubted]
    if np.isfinite(grounds.full_manifold_kpa):
        words.append(
            say(
                "from ",
                kpa(grounds.full_manifold_kpa),
                " on, no cell is made leaner than target, even at part throttle",
            )
        )
    return words


def counted(made: FuelMap) -> list[str]:
    """Sentences that count the cells with a lean event and the cells that could not be mapped."""
    lean = len({c.place for c in made.cells if c.lean_event})
    unmapped = sum(c.state == NOT_MAPPED for c in made.cells)
    words = []
    if lean:
        words.append(WITH_EVENT.format("1 cell holds" if lean == 1 else f"{lean} cells hold"))
    if unmapped:
        words.append(UNMAPPED.format("1 cell was" if unmapped == 1 else f"{unmapped} cells were"))
    return words
