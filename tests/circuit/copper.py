"""Ohms of a net's copper, both sides, measured on the filled board file: squares of a grid as a net of resistors."""

from __future__ import annotations

import re

import numpy as np
from PIL import Image, ImageDraw
from scipy import sparse
from scipy.sparse.linalg import splu

from hardware.board import items, places, rules, shape, tracks
from hardware.board.footprints import GRID_MM

STEP_MM = 0.2
COPPER_OHM_M = 1.72e-8
_BARREL_OHM = 5e-4  # of a plated hole, 1.6 mm long
_POLYGON = re.compile(r'\(filled_polygon\s*\(layer "([^"]+)"\)(.*?)\n    \)', re.S)


def drawn(board: str, net: str):
    """(what is copper on both sides, holes that join them, pad -> place), in steps."""
    wide, high = (int(edge / STEP_MM) + 1 for edge in (shape.WIDTH_MM, shape.HEIGHT_MM))
    sides = [Image.new("1", (wide, high)) for _ in range(2)]
    pens = [ImageDraw.Draw(side) for side in sides]

    def disc(x: float, y: float, radius_mm: float, both: bool) -> None:
        reach = radius_mm / STEP_MM
        for pen in pens if both else pens[:1]:
            pen.ellipse([x - reach, y - reach, x + reach, y + reach], fill=1)

    for zone in re.split(r"\n  \(zone ", board)[1:]:
        if f'(net_name "{net}")' in zone.split("\n", 1)[0]:
            for layer, points in _POLYGON.findall(zone):
                corners = [(float(x) / STEP_MM, float(y) / STEP_MM)
                           for x, y in re.findall(r"\(xy ([-\d.]+) ([-\d.]+)\)", points)]  # fmt: skip
                pens[layer == "B.Cu"].polygon(corners, fill=1)
    holes, pads = [], {}
    for track in tracks.read_tracks():
        if track.net != net:
            continue
        a, b = ((x * GRID_MM / STEP_MM, y * GRID_MM / STEP_MM) for x, y in (track.a, track.b))
        if track.side == "through":
            disc(*a, rules.VIA_MM / 2, True)
            holes.append(a)
        else:
            thick = max(2, round(rules.CLASSES[track.kind].width_mm / STEP_MM))
            pens[track.side == "lower"].line([a, b], fill=1, width=thick)
    stands = places.read_places()
    for item in items.all_items():
        for pad in item.footprint.pads:
            if item.nets.get(pad.name) == net:
                x, y = (edge / STEP_MM for edge in stands[item.ref].point(pad.at))
                disc(x, y, min(pad.size) / 2, pad.drill > 0)
                pads[item.ref, pad.name] = (x, y)
                if pad.drill:
                    holes.append((x, y))
    return np.array([np.array(side) for side in sides]), holes, pads


def ohms(copper: np.ndarray, holes: list, pads: dict, start: tuple[str, str]) -> dict[tuple[str, str], float]:
    """Pad -> ohms from the pad `start`; inf where no copper leads. The others as `drawn` gives them."""
    index = np.full(copper.shape, -1)
    index[copper] = np.arange(copper.sum())
    square = rules.COPPER_MM * 1e-3 / COPPER_OHM_M
    ends, values = [], []
    for one, two in ((np.s_[:, :-1], np.s_[:, 1:]), (np.s_[:, :, :-1], np.s_[:, :, 1:])):
        both = copper[one] & copper[two]
        ends.append(np.array([index[one][both], index[two][both]]))
        values.append(np.full(both.sum(), square))

    def node(at: tuple[float, float], side: int = 0) -> int:
        return int(index[side, round(at[1]), round(at[0])])

    if holes:
        ends.append(np.array([[node(hole), node(hole, 1)] for hole in holes]).T)
        values.append(np.full(len(holes), 1 / _BARREL_OHM))
    a, b = np.hstack(ends)
    count = int(copper.sum())
    joined = sparse.coo_matrix((np.hstack(values), (a, b)), (count, count)).tocsr()
    joined = joined + joined.T
    _, group = sparse.csgraph.connected_components(joined)
    first = node(pads[start])
    kept = np.flatnonzero((group == group[first]) & (np.arange(count) != first))
    place = np.full(count, -1)
    place[kept] = np.arange(len(kept))
    whole = sparse.diags(np.asarray(joined.sum(1)).ravel()) - joined
    solve = splu(whole.tocsr()[kept][:, kept].tocsc()).solve
    out = {}
    for pad, at in pads.items():
        k = place[node(at)]
        current = np.zeros(len(kept))
        current[k] = 1.0
        out[pad] = 0.0 if pad == start else float(solve(current)[k]) if k >= 0 else float("inf")
    return out
