"""placement.csv: where each part stands, in steps of the grid; what is fixed by hand is in shape.py."""

from __future__ import annotations

import csv
from pathlib import Path

from hardware.board import items as board_items
from hardware.board import shape
from hardware.board.footprints import Box
from hardware.board.shape import Place

PLACES = Path(__file__).with_name("placement.csv")
LOW_MM = 3.5  # such parts may stand under the RP2040 board, 8 mm above on its sockets


def read_places() -> dict[str, Place]:
    """placement.csv with the fixed places."""
    with PLACES.open(newline="") as file:
        rows = list(csv.DictReader(file))
    return {row["ref"]: Place(int(row["x"]), int(row["y"]), int(row["turn"])) for row in rows} | shape.FIXED


def below_module() -> list[str]:
    """The parts that lie under the RP2040 board, between its socket strips."""
    places = read_places()
    found = {item.ref: item for item in board_items.all_items()}
    left, top, right, low = places["M1"].box(found["M1"].footprint.room)
    inside = (ref for ref in found if left < places[ref].at[0] < right and top < places[ref].at[1] < low)
    return sorted(ref for ref in inside if ref != "M1")


def write_places(places: dict[str, Place]) -> None:
    """placement.csv, the fixed places left out."""
    with PLACES.open("w", newline="") as file:
        writer = csv.writer(file, lineterminator="\n")
        writer.writerow(["ref", "x", "y", "turn"])
        for ref, place in sorted(places.items()):
            if ref not in shape.FIXED:
                writer.writerow([ref, place.x, place.y, place.turn])


def analog_box() -> Box:
    """Where AGND is poured on the lower side: around all its pads."""
    places = read_places()
    points = [
        places[item.ref].point(pad.at)
        for item in board_items.all_items()
        for pad in item.footprint.pads
        if item.nets.get(pad.name) == "AGND"
    ]
    xs, ys = zip(*points)
    return (min(xs) - 2, max(min(ys) - 2, 0.6), min(max(xs) + 2, shape.WIDTH_MM - 0.6), max(ys) + 2)
