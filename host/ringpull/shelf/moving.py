"""One drive given to another car, or taken from the shelf."""

from __future__ import annotations

from pathlib import Path

from ringpull.errors import BadUsage
from ringpull.shelf import calibrations, catalogue, keep, putting, ring_copy, tidy
from ringpull.shelf.places import TIDIED, Shelf, beside, car_name, parts_of
from ringpull.shelf.rejudge import FACTS
from ringpull.shelf.tables import BESIDE


def move(root: Path, name: str, car: str) -> keep.Outcome:
    """A drive judged as one of another car, by its ring's own configuration. Its row there counts more than the one
    that goes then, so that at no moment it counts twice; whoever is killed in between moves it again."""
    shelf, car = Shelf(root), car_name(car)
    row = found(shelf, name)
    before = {one["car_name"] for one in rows_of(shelf, name)} - {car}
    if not before:
        raise BadUsage(
            f"the drive {name} is one of the car {car!r} already",
            "it was moved before, or --car names the car that it is to leave",
            f"see what is there: ringpull kept {root}",
        )
    if row["car_name"] != car:
        facts = {key: row[key] for key in FACTS} | {"calibration_from": calibrations.RING}
        blocks = ring_copy.read(shelf.folder("rings", row["car_name"]) / row["ring"])
        row = keep.commit(shelf, car, name, facts, blocks)
    for other in sorted(before):
        take_from(shelf, other, name)
    return keep.outcome(row, "moved")


def remove(root: Path, name: str) -> keep.Outcome:
    """A drive taken from the shelf, with its ring."""
    shelf = Shelf(root)
    row = found(shelf, name)
    cars = {one["car_name"] for one in rows_of(shelf, name)} - {row["car_name"]}
    for car in (*sorted(cars), row["car_name"]):  # last the one where it counts
        take_from(shelf, car, name)
    return keep.outcome(row, "removed")


def rows_of(shelf: Shelf, name: str, car: str | None = None) -> list[catalogue.Row]:
    """Every row of a drive, superseded ones among them, the one that counts last."""
    rows = [row for row in catalogue.every_row(shelf, car, name) if row["drive"] == name]
    return sorted(rows, key=lambda row: (row["serial"], row["part"]))


def found(shelf: Shelf, name: str) -> catalogue.Row:
    """The row of a drive that counts. BadUsage where there is none."""
    shelf.refuse_missing()
    rows = rows_of(shelf, name)
    if not rows:
        raise BadUsage(
            f"there is no drive {name!r} on this shelf",
            "a slip in its name, or it was removed before",
            f"ringpull kept {shelf.root} --car NAME lists a car's drives",
        )
    return rows[-1]


def take_from(shelf: Shelf, car: str, name: str) -> None:
    """All of a drive taken from a car. The row that counts goes last of its rows, and before what it names."""
    for _ in range(catalogue.TRIES):
        rows = rows_of(shelf, name, car)
        own = {row["part"] for row in rows if shelf.file("drives", car, name, row["part"]).is_file()}
        tidied = [path for path in shelf.files("drives", car) if parts_of(path)[0] == TIDIED]
        held = any(row["drive"] == name for path in tidied for row in catalogue.read_rows(path, name))
        if held and not tidy.together(shelf, car, without=name):
            continue  # somebody else adds or tidies
        for row in rows:
            if row["part"] in own:
                putting.remove(shelf.file("drives", car, name, row["part"]))
        for row in rows:
            for file in beside(shelf, car, name, row["part"], tables=BESIDE):
                putting.remove(file)
            putting.remove(shelf.file("rows", car, name, row["rows_part"]))
            putting.remove(shelf.folder("rings", car) / row["ring"])
        if not rows_of(shelf, name, car):
            return
    raise catalogue.Damaged(
        f"{shelf.root} changes faster than a drive can be taken from it",
        "many programs add to it or tidy it",
        "wait until they are done",
    )
