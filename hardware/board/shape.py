"""The board's outline, holes and fixed places, in millimetres, x to the right, y downward; turns in degrees against the
clock, as KiCad counts them."""

from __future__ import annotations

from dataclasses import dataclass

from hardware.board.footprints import GRID_MM, Box, Point

WIDTH_MM, HEIGHT_MM = 140.0, 100.0
CORNER_MM = 2.0  # radius
HOLES = ((4.0, 4.0), (136.0, 4.0), (4.0, 96.0), (136.0, 96.0))
HOLE_MM = 3.2  # drill, for M3
HOLE_FREE_MM = 3.6  # from the hole's middle: nothing but board under the screw's head
EDGE_MM = 0.5  # copper keeps that much of every edge

# The coil's corner. Copper of class "coil" keeps COIL_MM of all other copper
COIL_MM = 5.0
COIL_BOX: Box = (0.0, 8.2, 36.6, 32.0)  # no other part, no other copper
SLOT: tuple[Point, Point] = ((34.29, 14.2), (34.29, 26.6))  # milled between the opto-coupler's two sides
SLOT_MM = 2.0


@dataclass(frozen=True)
class Place:
    """Of a part's first pad, in grid steps; turn: 0, 90, 180 or 270 degrees."""

    x: int
    y: int
    turn: int

    @property
    def at(self) -> Point:
        return (round(self.x * GRID_MM, 3), round(self.y * GRID_MM, 3))

    def point(self, offset: Point) -> Point:
        """Where a point of the footprint comes to lie."""
        x, y = turned(offset, self.turn)
        return (round(self.at[0] + x, 4), round(self.at[1] + y, 4))

    def box(self, box: Box) -> Box:
        """Where a box of the footprint comes to lie."""
        a, b = self.point(box[:2]), self.point(box[2:])
        return (min(a[0], b[0]), min(a[1], b[1]), max(a[0], b[0]), max(a[1], b[1]))


def turned(point: Point, turn: int) -> Point:
    """The point turned against the clock about the origin, y downward."""
    x, y = point
    return {0: (x, y), 90: (y, -x), 180: (-x, -y), 270: (-y, x)}[turn]


def _mm(x: float, y: float, turn: int) -> Place:
    steps = (round(x / GRID_MM), round(y / GRID_MM))
    if max(abs(steps[0] * GRID_MM - x), abs(steps[1] * GRID_MM - y)) > 1e-6:
        raise ValueError(f"({x}, {y}) is not on the grid of {GRID_MM} mm")
    return Place(*steps, turn)


# What a hand must find at an edge, and the coil's corner; everything else stands in placement.csv
FIXED = {
    "M1": _mm(56.515, 2.54, 0),
    "J8": _mm(10.16, 15.24, 270),
    "J7": _mm(8.255, 36.83, 270),
    "J1": _mm(10.16, 70.485, 270),
    "J6": _mm(8.255, 83.185, 270),
    "J9": _mm(76.835, 91.44, 0),
    "S-X1": _mm(101.6, 82.55, 0),
    "J2": _mm(131.445, 19.05, 90),
    "J3": _mm(131.445, 33.02, 90),
    "J4": _mm(131.445, 46.99, 90),
    "J5": _mm(131.445, 60.96, 90),
    "J10": _mm(131.445, 82.55, 90),
    "C-D1": _mm(25.4, 15.24, 180),
    "C-D2": _mm(25.4, 25.4, 90),
    "C-U2": _mm(30.48, 19.05, 0),
}
