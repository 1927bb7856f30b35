"""A question asked: the engine, the shelf, the answer; asked again where the shelf was tidied meanwhile."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from pathlib import Path

from ringpull.errors import BadUsage
from ringpull.shelf import calibrations
from ringpull.shelf.catalogue import TRIES, Damaged
from ringpull.shelf.keep import day_of
from ringpull.shelf.places import Shelf
from ringpull.shelf.questions.changes import changes
from ringpull.shelf.questions.delay import delay
from ringpull.shelf.questions.drift import drift
from ringpull.shelf.questions.found import Found
from ringpull.shelf.questions.lean import lean
from ringpull.shelf.questions.live import Chosen, Engine, Live, refuse_unknown
from ringpull.shelf.questions.outliers import outliers

QUESTIONS: dict[str, Callable[[Live], Found]] = {
    "lean": lean,
    "drift": drift,
    "delay": delay,
    "changes": changes,
    "outliers": outliers,
}


def ask(root: Path, question: str, chosen: Chosen, engine: Engine | str = "duckdb") -> Found:
    """The answer to one question."""
    shelf = Shelf(root)
    shelf.refuse_missing()
    refuse_unknown_car(shelf, chosen)
    if isinstance(engine, str):
        refuse_unknown(engine)
        engine = Engine(engine)

    def answered() -> Found:
        live = Live(engine, shelf, chosen)
        found = QUESTIONS[question](live)
        if not found.rows and not live.asked():
            found = replace(found, words=[none_asked(chosen)])
        left, other = live.left_out(), live.other_calibrations()
        left["other_calibration"] = sum(other.values())
        return replace(found, left_out=left, words=[*found.words, *told(left, chosen), *unlike(shelf, other)])

    return steady(shelf, chosen.car, answered)


def steady(shelf: Shelf, car: str | None, answer: Callable[[], Found]) -> Found:
    """An answer during which no row of a drive was taken away: its other files go after it, so that all were there."""
    for _ in range(TRIES):
        before = set(shelf.files("drives", car))
        fault = None
        try:
            found = answer()
        except Exception as error:  # an engine whose file went away says so in its own way
            fault = error
        if before <= set(shelf.files("drives", car)):
            if fault is not None:
                raise fault
            return found
    raise Damaged(
        f"{shelf.root} changes faster than it can be asked", "many programs add to it or tidy it", "wait until they end"
    )


def refuse_unknown_car(shelf: Shelf, chosen: Chosen) -> None:
    """BadUsage where a shelf has no such car, or none at all."""
    if not shelf.files("drives"):
        raise BadUsage(
            f"{shelf.root} holds no drive", "nothing was kept yet", f"keep one: ringpull keep CARD --in {shelf.root}"
        )
    if chosen.car is not None and not shelf.files("drives", chosen.car):
        raise BadUsage(
            f"there is no car {chosen.car!r} on this shelf", "a slip in the name", f"see: ringpull kept {shelf.root}"
        )


def none_asked(chosen: Chosen) -> str:
    """That no drive was left to ask, of those that were chosen."""
    parts = [] if chosen.car is None else [f"of the car {chosen.car}"]
    parts += [] if chosen.fuel is None else [f"with the fuel {chosen.fuel}"]
    parts += [] if chosen.since is None else [f"of {day_of(chosen.since)} or later"]
    parts += [] if chosen.until is None else [f"before {day_of(chosen.until)}"]
    return f"there is no drive to ask{''.join(f' {one}' for one in parts)}"


def told(left: dict[str, int], chosen: Chosen) -> list[str]:
    """What was left out, in words."""
    out = []
    if left["older"]:
        how = "asked together with the others" if chosen.mixed else "left out: ringpull rejudge, or ask with --mixed"
        out.append(f"{left['older']} of {left['drives']} drives were judged by another analysis; {how}")
    if left["doubted"]:
        out.append(f"{left['doubted']} of {left['drives']} drives left out: an instrument in them is contradicted")
    if left["undated"]:
        out.append(f"{left['undated']} of {left['drives']} drives left out: their date is not known (keep --on)")
    if left["guessed"]:
        out.append(f"the date of {left['guessed']} drives is only their file's, a guess")
    return out


def unlike(shelf: Shelf, other: dict[str, int]) -> list[str]:
    """Of each car that several configurations judged, in words."""
    out = []
    for car, count in other.items():
        last = calibrations.newest(shelf, car)
        if last is not None:
            out.append(calibrations.mixed(car, count, calibrations.command(shelf, car, last)))
    return out
