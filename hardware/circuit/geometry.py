"""What a drawing really connects, read back from its lines alone: it must be what the netlist says."""

from __future__ import annotations

from hardware.circuit.model import Block, Point


def _on(point: Point, a: Point, b: Point) -> bool:
    """Whether `point` lies on the straight piece from a to b."""
    cross = (b[0] - a[0]) * (point[1] - a[1]) - (b[1] - a[1]) * (point[0] - a[0])
    inside = all(min(a[i], b[i]) - 1e-9 <= point[i] <= max(a[i], b[i]) + 1e-9 for i in (0, 1))
    return abs(cross) < 1e-9 and inside


def pieces(block: Block) -> list[tuple[Point, Point]]:
    """The straight pieces of wire."""
    return [pair for wire in block.wires for pair in zip(wire, wire[1:])]


def anchors(block: Block) -> list[tuple[Point, str, str]]:
    """(point, net that the data gives it, what it is) of every pin, port, ground and rail symbol."""
    found = [(at, part.pins[pin], f"{part.ref}.{pin}") for part in block.parts for pin, at in part.at.items()]
    found += [(at, net, f"port {net}") for net, at, _, _ in block.ports]
    found += [(at, "0", "ground") for at in block.grounds]
    found += [(at, "AGND", "rail AGND") for at in block.analog_grounds]
    found += [(at, net, f"rail {net}") for net, at, _ in block.rails]
    return found


def problems(block: Block) -> list[str]:
    """Sentences about every place where the drawing and the netlist disagree; empty when they agree."""
    points = {at for at, _, _ in anchors(block)} | {at for wire in block.wires for at in wire}
    parent = {at: at for at in points}

    def root(at: Point) -> Point:
        while parent[at] != at:
            at = parent[at]
        return at

    for a, b in pieces(block):
        for at in points:
            if _on(at, a, b):
                parent[root(at)] = root(a)
    named: dict[Point, dict[str, list[str]]] = {}
    for at, net, what in anchors(block):
        named.setdefault(root(at), {}).setdefault(net, []).append(what)
    out = [f"{block.name}: drawn together: {nets}" for nets in named.values() if len(nets) > 1]
    homes: dict[str, list[tuple[Point, list[str]]]] = {}
    for home, nets in named.items():
        for net, whats in nets.items():
            homes.setdefault(net, []).append((home, whats))
    for net, places in homes.items():
        for _, whats in places:
            symbol = any(w in ("ground", f"rail {net}") or w.startswith("port") for w in whats)
            if len(places) > 1 and not symbol:
                out.append(f"{block.name}: net {net} is drawn in pieces, and {whats} has no symbol that joins it")
    return out


def dots(block: Block) -> list[Point]:
    """Where three or more lines meet: those get a dot."""
    ends: dict[Point, int] = {}
    for a, b in pieces(block):
        ends[a] = ends.get(a, 0) + 1
        ends[b] = ends.get(b, 0) + 1
    for at, _, what in anchors(block):
        if not what.startswith("port"):
            ends[at] = ends.get(at, 0) + 1
    through = {at: sum(2 for a, b in pieces(block) if at not in (a, b) and _on(at, a, b)) for at in ends}
    return sorted(at for at, count in ends.items() if count + through[at] > 2)
