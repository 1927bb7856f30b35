"""tracks.csv: tracks and vias in steps of the grid, as the router found them."""

from __future__ import annotations

import csv
from dataclasses import dataclass
from pathlib import Path

TRACKS = Path(__file__).with_name("tracks.csv")


@dataclass(frozen=True)
class Track:
    """A row of tracks.csv. kind: net class that gives the width. side: "upper", "lower", or "through" for a via."""

    net: str
    kind: str
    side: str
    a: tuple[int, int]
    b: tuple[int, int]


def read_tracks() -> list[Track]:
    """tracks.csv."""
    with TRACKS.open(newline="") as file:
        return [
            Track(
                row["net"],
                row["class"],
                row["side"],
                (int(row["x1"]), int(row["y1"])),
                (int(row["x2"]), int(row["y2"])),
            )
            for row in csv.DictReader(file)
        ]
