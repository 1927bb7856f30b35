"""Finds places for the parts by simulated annealing and writes placement.csv: `python -m hardware.board.arrange`; with
`--only K-U2 U1-C1` for these parts alone, the others stay where they are.

Run by hand when parts were added; `make board` takes placement.csv as it stands. Minutes; the same seed gives the same
places on the same versions of numba and numpy.
"""

from __future__ import annotations

import argparse
import sys

import numba
import numpy as np

from hardware.board import items as board_items
from hardware.board import shape
from hardware.board.footprints import GRID_MM, Box
from hardware.board.places import LOW_MM, read_places, write_places
from hardware.board.shape import Place, turned

SEED = 7
GAP_MM = 0.5  # wanted between two parts' rooms, for tracks and fingers
# Where a block belongs: left, upper, right, lower in millimetres. Analogue at the right, by the converter's pins
AREAS: dict[str, Box] = {
    "P": (9, 48, 92, 99),
    "H": (9, 46, 92, 99),
    "R": (9, 46, 66, 99),
    "B": (58, 52, 102, 99),
    "Z": (8, 33, 70, 99),
    "D": (36, 0, 56, 33),
    "C": (36.6, 8, 56, 33),
    "E1": (12, 32, 56, 56),
    "E2": (12, 32, 56, 56),
    "J": (36, 20, 56, 56),
    "U1": (36, 10, 56, 56),
    "S": (92, 62, 124, 99),
    "K": (104, 62, 132, 99),
    **dict.fromkeys(("A0", "A1", "A2", "A3", "A4", "U2", "U3", "V", "N", "G"), (75.5, 1, 133, 68)),
    **dict.fromkeys(("W0", "W1", "Y"), (58, 1, 133, 72)),
    "A4-R1": (9, 50, 84, 99),
    **dict.fromkeys(("TP-REF", "TP-VCL", "TP-x0", "TP-x1"), (75.5, 34, 120, 68)),
    "X": (58, 50, 112, 80),
}
NEAR = (  # (part, pad), (part, pad): what a capacitor serves
    *((f"U{n}-C1", "a", f"U{n}", pin) for n, pin in ((1, "14"), (1, "14"), (2, "8"), (3, "8"))),
    ("X-C1", "a", "X-U1", "16"),
    ("X-C2", "a", "X-U1", "15"),
    ("X-C3", "a", "X-U1", "1"),
    ("X-C4", "a", "X-U1", "2"),
    ("Y-C1", "a", "X-U1", "7"),
    ("S-C1", "a", "S-X1", "3V3"),
    ("S-C2", "a", "S-X1", "3V3"),
    ("A0-C3", "a", "M1", "31"),
    ("A1-C3", "a", "M1", "32"),
    ("A2-C3", "a", "M1", "34"),
    ("N-C1", "a", "M1", "35"),
    ("P-C4", "a", "P-U1", "in"),
    ("R-C2", "a", "R-U1", "in"),
    ("P-C3", "a", "P-U1", "out"),
    ("P-C5", "a", "P-U1", "out"),
    ("R-C1", "a", "R-U1", "out"),
    ("R-C3", "a", "R-U1", "out"),
    ("P-D5", "b", "P-U1", "out"),
    ("P-D3", "a", "P-Q1", "g"),
    ("P-R4", "a", "P-Q1", "g"),
    ("K-C1", "a", "K-U1", "VIO"),
    *(
        (f"K-{ref}", pad, "K-U2", leg)
        for ref, pad, leg in (
            ("C5", "a", "VDD"),
            ("Y1", "a", "OSC1"),
            ("Y1", "b", "OSC2"),
            ("C3", "a", "OSC1"),
            ("C4", "a", "OSC2"),
        )
    ),
    ("K-C2", "a", "K-U1", "VCC"),
)
_NET_WEIGHT = {"GND": 0.0, "AGND": 0.1, "3V3": 0.1, "T14": 0.3, "VCH": 0.6, "VCL": 0.6, "5V": 0.5, "12V": 3.0,
               "P-VD": 3.0, "VP": 3.0, "VS": 2.0}  # fmt: skip


def _problem(items):
    """Everything as arrays: rooms and pads of each part in each turn, nets as lists of pads."""
    count = len(items)
    rooms, pads, starts = np.zeros((count, 4, 4)), [], [0]
    nets: dict[str, list[int]] = {}
    index = {}
    for k, item in enumerate(items):
        for t in range(4):
            a, b = turned(item.footprint.room[:2], 90 * t), turned(item.footprint.room[2:], 90 * t)
            rooms[k, t] = (min(a[0], b[0]), min(a[1], b[1]), max(a[0], b[0]), max(a[1], b[1]))
        for pad in item.footprint.pads:
            index[item.ref, pad.name] = len(pads)
            nets.setdefault(item.nets.get(pad.name, ""), []).append(len(pads))
            pads.append([turned(pad.at, 90 * t) for t in range(4)])
        starts.append(len(pads))
    nets.pop("", None)
    lists = [(ends, _NET_WEIGHT.get(net, 1.0)) for net, ends in nets.items() if _NET_WEIGHT.get(net, 1.0) > 0]
    lists += [([index[a, b], index[c, d]], 3.0) for a, b, c, d in NEAR]
    return rooms, np.array(pads), np.array(starts), [one for one in lists if len(one[0]) > 1]


@numba.njit(cache=False)
def _anneal(xy, turn, free, rooms, low, pads, starts, net_pads, net_starts, weight, of_part, of_starts, areas, blocked,
            tall_only, steps, seed, grid, gap, size):  # fmt: skip
    np.random.seed(seed)
    count = len(xy)
    owner = np.zeros(len(pads), np.int64)
    for k in range(count):
        owner[starts[k] : starts[k + 1]] = k

    def span(net):
        x0, x1, y0, y1 = 1e9, -1e9, 1e9, -1e9
        for j in range(net_starts[net], net_starts[net + 1]):
            pad = net_pads[j]
            k = owner[pad]
            x, y = xy[k, 0] * grid + pads[pad, turn[k], 0], xy[k, 1] * grid + pads[pad, turn[k], 1]
            x0, x1, y0, y1 = min(x0, x), max(x1, x), min(y0, y), max(y1, y)
        return weight[net] * (x1 - x0 + y1 - y0)

    def lap(a0, a1, a2, a3, b0, b1, b2, b3, apart):
        w = min(a2, b2) - max(a0, b0) + apart
        h = min(a3, b3) - max(a1, b1) + apart
        if w > 0 and h > 0:
            return min(w, h) * 2.0 + w * h * 0.5
        return 0.0

    def crowd(k, press):
        r = rooms[k, turn[k]]
        x, y = xy[k, 0] * grid, xy[k, 1] * grid
        a0, a1, a2, a3 = x + r[0], y + r[1], x + r[2], y + r[3]
        total = 0.0
        for j in range(count):
            if j != k and j != 0:
                s = rooms[j, turn[j]]
                u, v = xy[j, 0] * grid, xy[j, 1] * grid
                total += lap(a0, a1, a2, a3, u + s[0], v + s[1], u + s[2], v + s[3], gap)
        for j in range(len(blocked)):
            if tall_only[j] and low[k]:
                continue
            total += lap(a0, a1, a2, a3, blocked[j, 0], blocked[j, 1], blocked[j, 2], blocked[j, 3], 0.3)
        m = areas[k]
        total += 1.0 * (max(m[0] - a0, 0.0) + max(m[1] - a1, 0.0) + max(a2 - m[2], 0.0) + max(a3 - m[3], 0.0))
        edge = max(0.6 - a0, 0.0) + max(0.6 - a1, 0.0) + max(a2 - size[0] + 0.6, 0.0) + max(a3 - size[1] + 0.6, 0.0)
        return (total + edge * 12.0) * press

    def cost(k, press):
        total = crowd(k, press)
        for j in range(of_starts[k], of_starts[k + 1]):
            total += span(of_part[j])
        return total

    def pair(a, b, press):
        total = crowd(a, press) + crowd(b, press)
        for j in range(of_starts[a], of_starts[a + 1]):
            total += span(of_part[j])
        for j in range(of_starts[b], of_starts[b + 1]):
            total += span(of_part[j])
        return total

    for step in range(steps):
        share = step / steps
        heat = 60.0 * (1 - share) ** 3 + 0.02
        press = 4.0 + 36.0 * share
        reach = max(2.0, 100.0 * (1 - share) ** 2)
        k = free[np.random.randint(len(free))]
        if np.random.random() < 0.15:
            other = free[np.random.randint(len(free))]
            if other == k:
                continue
            before = pair(k, other, press)
            for d in range(2):
                xy[k, d], xy[other, d] = xy[other, d], xy[k, d]
            after = pair(k, other, press)
            if after > before and np.random.random() > np.exp((before - after) / heat):
                for d in range(2):
                    xy[k, d], xy[other, d] = xy[other, d], xy[k, d]
            continue
        before = cost(k, press)
        x, y, t = xy[k, 0], xy[k, 1], turn[k]
        kind = np.random.random()
        if kind < 0.2:
            turn[k] = np.random.randint(4)
        if kind > 0.1:
            xy[k, 0] += int(np.round((np.random.random() * 2 - 1) * reach))
            xy[k, 1] += int(np.round((np.random.random() * 2 - 1) * reach))
        after = cost(k, press)
        if after > before and np.random.random() > np.exp((before - after) / heat):
            xy[k, 0], xy[k, 1], turn[k] = x, y, t
    wires = 0.0
    for net in range(len(weight)):
        wires += span(net)
    crowded = np.zeros(count)
    for k in range(count):
        crowded[k] = crowd(k, 1.0)
    return wires, crowded


def blocked_boxes(module: Place, footprint) -> tuple[np.ndarray, np.ndarray]:
    """Boxes that parts stay out of, and whether low parts may enter: under the RP2040 board they may."""
    boxes = [shape.COIL_BOX]
    boxes += [(x - shape.HOLE_FREE_MM, y - shape.HOLE_FREE_MM, x + shape.HOLE_FREE_MM, y + shape.HOLE_FREE_MM)
              for x, y in shape.HOLES]  # fmt: skip
    room = module.box(footprint.room)
    strips = [(room[0], room[1], room[0] + 3.1, room[3]), (room[2] - 3.1, room[1], room[2], room[3])]
    tall = [False] * (len(boxes) + 2) + [True]
    return np.array([*boxes, *strips, room]), np.array(tall)


def arrange(steps: int, seed: int = SEED, known: dict[str, Place] | None = None, only: frozenset[str] | None = None):
    """Places of all parts, and what is still crowded. only: parts that may move; else all that are not fixed."""
    items = sorted(board_items.all_items(), key=lambda item: item.ref != "M1")  # the module first
    rooms, pads, starts, lists = _problem(items)
    known = {**(known or {}), **shape.FIXED}
    rng = np.random.default_rng(seed)
    xy, turn = np.zeros((len(items), 2), np.int64), np.zeros(len(items), np.int64)
    areas = np.tile(np.array([0.0, 0.0, shape.WIDTH_MM, shape.HEIGHT_MM]), (len(items), 1))
    for k, item in enumerate(items):
        areas[k] = AREAS.get(item.ref, AREAS.get(item.block or item.ref.split("-")[0], areas[k]))
        place = known.get(item.ref)
        if place:
            xy[k], turn[k] = (place.x, place.y), place.turn // 90
            if item.ref in shape.FIXED:
                areas[k] = (-9, -9, 999, 999)
        else:
            m = areas[k]
            xy[k] = [rng.uniform(m[0], m[2]) / GRID_MM, rng.uniform(m[1], m[3]) / GRID_MM]
    movable = only if only is not None else {item.ref for item in items}
    free = np.array([k for k, item in enumerate(items) if item.ref in movable and item.ref not in shape.FIXED])
    low = np.array([item.footprint.height <= LOW_MM for item in items])
    net_pads = np.array([pad for ends, _ in lists for pad in ends])
    net_starts = np.cumsum([0, *(len(ends) for ends, _ in lists)])
    weight = np.array([w for _, w in lists])
    parts = [[] for _ in items]
    for net, (ends, _) in enumerate(lists):
        for k in {int(np.searchsorted(starts, pad, "right")) - 1 for pad in ends}:
            parts[k].append(net)
    of_part = np.array([net for nets in parts for net in nets])
    of_starts = np.cumsum([0, *(len(nets) for nets in parts)])
    blocked, tall = blocked_boxes(shape.FIXED["M1"], items[0].footprint)
    wires, crowded = _anneal(
        xy, turn, free, rooms, low, pads, starts, net_pads, net_starts, weight, of_part, of_starts, areas, blocked,
        tall, steps, seed, GRID_MM, GAP_MM, np.array([shape.WIDTH_MM, shape.HEIGHT_MM]),
    )  # fmt: skip
    places = {item.ref: Place(int(xy[k, 0]), int(xy[k, 1]), int(turn[k]) * 90) for k, item in enumerate(items)}
    left = {
        item.ref: float(crowded[k]) for k, item in enumerate(items) if crowded[k] > 0 and item.ref not in shape.FIXED
    }
    return places, wires, left


def main() -> int:
    """Anneal; say what is left over."""
    parser = argparse.ArgumentParser(description="Find places for the board's parts.")
    parser.add_argument("--steps", type=float, default=8e6)
    parser.add_argument("--seed", type=int, default=SEED)
    parser.add_argument("--only", nargs="+", metavar="PART", help="move these alone")
    args = parser.parse_args()
    known, only = (read_places(), frozenset(args.only)) if args.only else (None, None)
    places, wires, left = arrange(int(args.steps), args.seed, known, only)
    write_places(places)
    print(f"wires {wires:.0f} mm, crowded: {left}")
    return 0


if __name__ == "__main__":
    sys.exit(main())
