"""Finds tracks for all nets and writes tracks.csv: `python -m hardware.board.route`; with `--again` it begins with
those that are there, after a small change.

Nets may first cross each other at a price that rises from round to round, until every crossing is gone (negotiated
congestion, McMurchie and Ebeling 1995). Ground comes last, into what room is left, so that every ground pad is joined
by a track before anything is poured.
"""

from __future__ import annotations

import csv
import sys
from dataclasses import dataclass, field

import numpy as np

from hardware.board import items as board_items
from hardware.board import maze, rules, shape
from hardware.board.footprints import GRID_MM, Box, Pad
from hardware.board.places import analog_box, read_places
from hardware.board.tracks import TRACKS, Track, read_tracks

WIDE, HIGH = int(shape.WIDTH_MM / GRID_MM) + 1, int(shape.HEIGHT_MM / GRID_MM) + 1
CELLS = WIDE * HIGH
SPARE_MM = 0.01  # beyond every clearance, for rounding
LOWER_COST = 115  # of a hundred: tracks prefer the upper side, the ground below stays whole
ROUNDS = 150
_STITCH = 8  # cells between vias that join the ground above and below
_NEAR = 3  # cells; at 0.635 mm the widest tracks' distance
LAST = "GND"
_FIRST_PRESS, _LAST_PRESS, _MORE_PRESS, _HISTORY = 12, 60, 6, 30


@dataclass(frozen=True)
class Copper:
    """A pad where it stands."""

    name: tuple[str, str]
    net: str
    box: Box
    round: bool
    both: bool

    @property
    def middle(self) -> tuple[float, float]:
        return (self.box[0] + self.box[2]) / 2, (self.box[1] + self.box[3]) / 2


@dataclass
class Route:
    """paths: net class and cells of each piece of track."""

    paths: list[tuple[str, list[int]]] = field(default_factory=list)

    def vias(self) -> list[int]:
        """Cells of the upper layer where it goes through."""
        return sorted({min(a, b) for _, path in self.paths for a, b in zip(path, path[1:]) if abs(a - b) == CELLS})


def pads_of_board() -> list[Copper]:
    """Every pad's copper, with the net it is on ("" for none)."""
    places = read_places()
    out = []
    for item in board_items.all_items():
        place = places[item.ref]
        for pad in item.footprint.pads:
            w, h = pad.size
            box = place.box((pad.at[0] - w / 2, pad.at[1] - h / 2, pad.at[0] + w / 2, pad.at[1] + h / 2))
            out.append(Copper((item.ref, pad.name), item.nets.get(pad.name, ""), box, _is_round(pad), pad.drill > 0))
    return out


def _is_round(pad: Pad) -> bool:
    return pad.shape == "circle"


class Field:
    """What stands in the way of one net class: pads and edges for good, tracks of others for now."""

    def __init__(self, own: rules.NetClass, pads: list[Copper]):
        self.own = own
        self.half = own.width_mm / 2
        self.hard = np.zeros(2 * CELLS, np.int16)
        self.hard_via = np.zeros(2 * CELLS, np.int16)
        self.used = np.zeros(2 * CELLS, np.int16)
        self.used_via = np.zeros(2 * CELLS, np.int16)
        for pad in pads:
            self.pad(pad, 1)
        self._edges()

    def reach(self, net: str) -> float:
        return max(self.own.clear_mm, rules.class_of(net).clear_mm) + SPARE_MM

    def pad(self, pad: Copper, by: int) -> None:
        """Put a pad's forbidden surroundings in, or take them out."""
        clear = self.reach(pad.net)
        for target, half in ((self.hard, self.half), (self.hard_via, rules.VIA_MM / 2)):
            for layer in (0, 1) if pad.both else (0,):
                if pad.round:
                    radius = (pad.box[2] - pad.box[0]) / 2
                    x, y = pad.middle
                    maze.stamp(
                        target, WIDE, HIGH, layer, x / GRID_MM, y / GRID_MM, (radius + clear + half) / GRID_MM, by
                    )
                else:
                    box = [edge / GRID_MM for edge in pad.box]
                    maze.stamp_box(target, WIDE, HIGH, layer, *box, (clear + half) / GRID_MM, by)

    def no_via(self, pad: Copper, by: int) -> None:
        """Keep vias out of a pad without a hole, also those of its own net: they would draw its solder away."""
        if not pad.both:
            box = [edge / GRID_MM for edge in pad.box]
            maze.stamp_box(self.hard_via, WIDE, HIGH, 0, *box, (rules.VIA_MM / 2 + SPARE_MM) / GRID_MM, by)

    def _edges(self) -> None:
        for target, half in ((self.hard, self.half), (self.hard_via, rules.VIA_MM / 2)):
            grid = target.reshape(2, HIGH, WIDE)
            y, x = np.mgrid[0:HIGH, 0:WIDE] * GRID_MM
            free = shape.EDGE_MM + half + SPARE_MM
            outside = (x < free) | (y < free) | (x > shape.WIDTH_MM - free) | (y > shape.HEIGHT_MM - free)
            for hx, hy in shape.HOLES:
                outside |= (x - hx) ** 2 + (y - hy) ** 2 < (shape.HOLE_FREE_MM + half) ** 2
            left, top, right, low = shape.COIL_BOX
            if self.own.name == "coil":
                deep = shape.COIL_MM + half + SPARE_MM
                outside |= (x > right - deep) | (y < top + deep) | (y > low - deep)
            else:
                outside |= (x < right + half) & (y > top - half) & (y < low + half)
            grid[:, outside] += 1

    def track(self, net: str, route: Route, by: int) -> None:
        """Put a route of another net in, or take it out."""
        clear = self.reach(net)
        for target, half in ((self.used, self.half), (self.used_via, rules.VIA_MM / 2)):
            seen = set()
            for name, path in route.paths:
                radius = (rules.CLASSES[name].width_mm / 2 + clear + half) / GRID_MM
                for k, cell in enumerate(path):
                    layer, rest = divmod(cell, CELLS)
                    y, x = divmod(rest, WIDE)
                    points = [(layer, float(x), float(y))]
                    if k and path[k - 1] // CELLS == layer:
                        v, u = divmod(path[k - 1] % CELLS, WIDE)
                        if u != x and v != y:
                            points.append((layer, (x + u) / 2, (y + v) / 2))
                    for point in points:
                        if (name, point) not in seen:
                            seen.add((name, point))
                            maze.stamp(target, WIDE, HIGH, point[0], point[1], point[2], radius, by)
            for cell in route.vias():
                y, x = divmod(cell, WIDE)
                for layer in (0, 1):
                    around = (rules.VIA_MM / 2 + clear + half) / GRID_MM
                    maze.stamp(target, WIDE, HIGH, layer, float(x), float(y), around, by)


class Router:
    """All nets and the fields of all classes."""

    def __init__(self):
        self.pads = pads_of_board()
        self.of_net: dict[str, list[Copper]] = {}
        for pad in self.pads:
            if pad.net:
                self.of_net.setdefault(pad.net, []).append(pad)
        self.fields = {name: Field(one, self.pads) for name, one in rules.CLASSES.items()}
        self.routes: dict[str, Route] = {}
        self.history = np.zeros(2 * CELLS, np.int64)
        self.heap, self.keys = np.zeros(40 * CELLS, np.int64), np.zeros(40 * CELLS, np.int64)

    def order(self) -> list[str]:
        """Wide and short nets first."""
        nets = [net for net, pads in self.of_net.items() if len(pads) > 1 and net != LAST]
        return sorted(nets, key=lambda net: (net == "AGND", -rules.class_of(net).width_mm, self._span(net), net))

    def _span(self, net: str) -> float:
        xs, ys = zip(*(pad.middle for pad in self.of_net[net]))
        return max(xs) - min(xs) + max(ys) - min(ys)

    def _cells(self, pad: Copper) -> list[int]:
        """Grid cells inside the pad's copper, by a margin that leaves a track's end on it."""
        x, y = pad.middle
        u, v = round(x / GRID_MM), round(y / GRID_MM)
        return [v * WIDE + u, CELLS + v * WIDE + u] if pad.both else [v * WIDE + u]

    def take_out(self, net: str) -> None:
        route = self.routes.pop(net, None)
        if route:
            for one in self.fields.values():
                one.track(net, route, -1)

    def put_in(self, net: str, route: Route) -> None:
        self.routes[net] = route
        for one in self.fields.values():
            one.track(net, route, 1)

    def conflicts(self, net: str) -> list[int]:
        """Cells of the net's route that come too near to other routes."""
        route, cells = self.routes[net], set()
        for name in sorted({name for name, _ in route.paths}):
            own = self.fields[name]
            own.track(net, route, -1)
            cells |= {cell for one, path in route.paths if one == name for cell in path if own.used[cell] > 0}
            cells |= {c for c in route.vias() if own.used_via[c] > 0 or own.used_via[c + CELLS] > 0}
            own.track(net, route, 1)
        return sorted(cells)

    def route(self, net: str, press: int) -> bool:
        """Find tracks for a net anew, the current's way first. False where a pad can't be reached at any price."""
        self.take_out(net)
        main = rules.MAIN.get(net, ())
        pads = sorted(self.of_net[net], key=lambda pad: (pad.name not in main, pad.name))
        tree = np.zeros(2 * CELLS, np.int8)
        tree[self._cells(pads[0])] = 1
        wide = [pad for pad in pads[1:] if not main or pad.name in main]
        thin = [pad for pad in pads[1:] if pad not in wide]
        route = Route()
        complete = self._join(rules.class_of(net), pads, tree, wide, route, press)
        complete = self._join(rules.branch_of(net), pads, tree, thin, route, press) and complete
        self.put_in(net, route)
        return complete

    def _join(self, own: rules.NetClass, pads, tree, waiting, route: Route, press: int) -> bool:
        """Join the waiting pads to the tree with tracks of that class."""
        room = self.fields[own.name]
        for pad in pads:
            room.pad(pad, -1)
            room.no_via(pad, 1)
        goals = [self._cells(pad) for pad in waiting]
        complete = True
        while goals:
            goal = np.zeros(2 * CELLS, np.int8)
            for cells in goals:
                goal[cells] = 1
            path = maze.search(WIDE, HIGH, tree, goal, room.hard, room.hard_via, room.used, room.used_via, self.history,
                               press, LOWER_COST, self.heap, self.keys)  # fmt: skip
            if not len(path):
                complete = False
                break
            reached = next(cells for cells in goals if int(path[0]) in cells)
            goals.remove(reached)
            tree[path] = 1
            tree[reached] = 1
            if len(path) > 1:
                route.paths.append((own.name, [int(cell) for cell in path]))
        for pad in pads:
            room.pad(pad, 1)
            room.no_via(pad, -1)
        return complete

    def take_over(self) -> None:
        """Begin with what tracks.csv holds; nets that are not in it, or run into a part, are routed anew."""
        routes: dict[str, Route] = {}
        for track in read_tracks():
            if track.net in self.of_net:
                path = cells_of(track)
                kind = track.kind or rules.branch_of(track.net).name
                routes.setdefault(track.net, Route()).paths.append((kind, path))
        for net, route in sorted(routes.items()):
            if not self._hits_a_part(net, route):
                self.put_in(net, route)

    def _hits_a_part(self, net: str, route: Route) -> bool:
        """Whether a piece of the route comes too near to a pad or edge, as after a part was moved."""
        hit = False
        for kind, path in route.paths:
            room = self.fields[kind]
            for pad in self.of_net[net]:
                room.pad(pad, -1)
            hit = hit or any(room.hard[cell] > 0 for cell in path)
            for pad in self.of_net[net]:
                room.pad(pad, 1)
        ends = {cell for _, path in route.paths for cell in path}
        return hit or any(not ends.intersection(self._cells(pad)) for pad in self.of_net[net])

    def run(self, say=print) -> list[str]:
        """Route everything, ground last; the nets that are still in conflict or incomplete."""
        order = self.order()
        press = _LAST_PRESS if self.routes else _FIRST_PRESS
        broken = [net for net in order if net not in self.routes and not self.route(net, press)]
        if LAST not in self.routes:
            self._settle(order, press, say)
            if not self.route(LAST, _LAST_PRESS):
                broken.append(LAST)
        order.append(LAST)
        self._settle(order, _LAST_PRESS, say)
        self._stitch()
        return broken + [net for net in order if self.conflicts(net)]

    def _stitch(self) -> None:
        """Join the ground poured above and below wherever there is room and pour, so that no part of it is an island.

        Vias of an earlier stitching are left out first.
        """
        own, extra = self.fields[rules.class_of(LAST).name], []
        paths = self.routes[LAST].paths
        self.take_out(LAST)
        ends = {cell for _, path in paths if not _is_via(path) for cell in path}
        route = Route([(name, path) for name, path in paths if not _is_via(path) or ends.intersection(path)])
        poured = self._poured(own, route)
        self.put_in(LAST, route)
        left, top, right, low = (edge / GRID_MM for edge in analog_box())
        for y in range(_STITCH // 2, HIGH, _STITCH):
            for x in range(_STITCH // 2, WIDE, _STITCH):
                cell = y * WIDE + x
                taken = (
                    own.hard_via[cell] + own.hard_via[cell + CELLS] + own.used_via[cell] + own.used_via[cell + CELLS]
                )
                inside = left < x < right and top < y < low
                if taken == 0 and not inside and poured[cell] and poured[cell + CELLS]:
                    extra.append((own.own.name, [cell, cell + CELLS]))
        self.take_out(LAST)
        self.put_in(LAST, Route(route.paths + extra))

    def _poured(self, own: Field, route: Route) -> np.ndarray:
        """Where ground's pour reaches from its pads and tracks: cells free for a track of ground, side by side."""
        for pad in self.of_net[LAST]:
            own.pad(pad, -1)
        free = (own.hard == 0) & (own.used == 0)
        for pad in self.of_net[LAST]:
            own.pad(pad, 1)
        start = np.zeros(2 * CELLS, np.int8)
        for pad in self.of_net[LAST]:
            start[self._cells(pad)] = 1
        start[[cell for _, path in route.paths for cell in path]] = 1
        return maze.flood(WIDE, HIGH, start, free)

    def _settle(self, order: list[str], press: int, say) -> None:
        """Route nets in conflict anew, at a rising price, until none is left."""
        for count in range(1, ROUNDS + 1):
            bad = {net: cells for net in order if (cells := self.conflicts(net))}
            say(f"round {count}: {len(bad)} nets in conflict, {sum(map(len, bad.values()))} cells")
            if not bad:
                return
            for cells in bad.values():
                self.history[cells] += _HISTORY
            crowd = {cell for cells in bad.values() for cell in cells}
            for net in order:
                if (net in bad and self.conflicts(net)) or (count % 5 == 0 and self._is_near(net, crowd)):
                    self.route(net, press + _MORE_PRESS * count)

    def _is_near(self, net: str, crowd: set[int]) -> bool:
        """Whether the net passes so near to one of the cells that it may be what the other net can't get by."""
        cells = {cell for _, path in self.routes[net].paths for cell in path}
        return any(
            cell + dy * WIDE + dx in cells
            for cell in crowd
            for dy in range(-_NEAR, _NEAR + 1)
            for dx in range(-_NEAR, _NEAR + 1)
        )


def _is_via(path: list[int]) -> bool:
    return len(path) == 2 and abs(path[0] - path[1]) == CELLS


def cells_of(track: Track) -> list[int]:
    """The cells of a row of tracks.csv, from end to end."""
    (x, y), (u, v) = track.a, track.b
    if track.side == "through":
        return [y * WIDE + x, CELLS + y * WIDE + x]
    steps = max(abs(u - x), abs(v - y))
    first = CELLS if track.side == "lower" else 0
    return [first + (y + (v - y) * k // steps) * WIDE + x + (u - x) * k // steps for k in range(steps + 1)]


def straight_pieces(path: list[int]) -> list[tuple[int, tuple[int, int], tuple[int, int]]]:
    """(layer, from, to) in grid steps, steps of one direction joined."""
    out = []
    for a, b in zip(path, path[1:]):
        if abs(a - b) == CELLS:
            continue
        layer = a // CELLS
        start, end = ((c % CELLS % WIDE, c % CELLS // WIDE) for c in (a, b))
        if out and out[-1][0] == layer and out[-1][2] == start:
            before = out[-1]
            d = (before[2][0] - before[1][0], before[2][1] - before[1][1])
            e = (end[0] - start[0], end[1] - start[1])
            if d[0] * e[1] == d[1] * e[0] and d[0] * e[0] + d[1] * e[1] > 0:
                out[-1] = (layer, before[1], end)
                continue
        out.append((layer, start, end))
    return out


def cut_where_joined(pieces):
    """The pieces, cut wherever another one of the same side begins or ends in their middle."""
    ends = {(layer, point) for _, layer, a, b in pieces for point in (a, b)}
    out = set()
    for name, layer, a, b in pieces:
        steps = max(abs(b[0] - a[0]), abs(b[1] - a[1]))
        dx, dy = (b[0] - a[0]) // steps, (b[1] - a[1]) // steps
        line = [(a[0] + k * dx, a[1] + k * dy) for k in range(steps + 1)]
        stops = [point for point in line if point in (a, b) or (layer, point) in ends]
        out |= {(name, layer, one, two) for one, two in zip(stops, stops[1:])}
    return out


def write_tracks(routes: dict[str, Route]) -> None:
    """tracks.csv: tracks and vias in grid steps."""
    with TRACKS.open("w", newline="") as file:
        writer = csv.writer(file, lineterminator="\n")
        writer.writerow(["net", "class", "side", "x1", "y1", "x2", "y2"])
        for net, route in sorted(routes.items()):
            pieces = {
                (name, layer, *sorted((a, b))) for name, path in route.paths for layer, a, b in straight_pieces(path)
            }
            for name, layer, a, b in sorted(cut_where_joined(pieces)):
                writer.writerow([net, name, "lower" if layer else "upper", *a, *b])
            for cell in route.vias():
                writer.writerow([net, "", "through", cell % WIDE, cell // WIDE, cell % WIDE, cell // WIDE])


def main() -> int:
    """Route, write, say what is left."""
    router = Router()
    if "--again" in sys.argv[1:]:
        router.take_over()
    left = router.run(lambda text: print(text, flush=True))
    write_tracks(router.routes)
    print(f"left: {left}" if left else "every net is routed, none comes too near to another")
    return 1 if left else 0


if __name__ == "__main__":
    sys.exit(main())
