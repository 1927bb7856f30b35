"""Words of the circuit data: parts on nets, where they are drawn, blocks of them.

Grid points are (x, y), y upward, one unit = one schemdraw unit. Net "0" is ground.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

Point = tuple[float, float]

# One net over all blocks; other nets belong to their block. AGND is ground at the converter, REF the 3.0 V reference
RAILS = ("0", "AGND", "12V", "VP", "VS", "5V", "3V3", "VCH", "VCL", "REF")

_SCALE = {"p": 1e-12, "n": 1e-9, "u": 1e-6, "m": 1e-3, "k": 1e3, "M": 1e6}


def number(value: str) -> float:
    """ "6.8k" -> 6800.0, "470n" -> 4.7e-7. ValueError for anything else."""
    scale = _SCALE.get(value[-1:])
    return float(value) if scale is None else float(value[:-1]) * scale


@dataclass(frozen=True)
class Part:
    """ref: name within its block. stock: key of stock.STOCK. value: ohms or farads, "" where the stock says it all.

    pins: pin name -> net. at: pin name -> grid point where that pin is drawn. label: where the text goes.
    use: what it is for, for whoever solders it. place: "" on the perfboard, else where in the car it sits.
    """

    ref: str
    stock: str
    value: str
    pins: dict[str, str]
    at: dict[str, Point]
    label: str = ""
    use: str = ""
    box: tuple[float, float, float, float] | None = None
    place: str = ""


def two(
    ref: str, stock: str, value: str, nets: tuple[str, str], at: tuple[Point, Point], label: str = "", use: str = ""
):
    """A part of two pins: "a" and "b" (for diodes anode and cathode, for electrolytics plus and minus)."""
    return Part(ref, stock, value, dict(zip("ab", nets)), dict(zip("ab", at)), label, use)


def away(place: str, part: Part) -> Part:
    """The same part, sitting at `place` in the car and joined to the perfboard by a wire."""
    return replace(part, place=place)


def transistor(
    ref: str, stock: str, nets: tuple[str, str, str], centre: Point, label: str = "", use: str = "", flip=False
):
    """Base or gate one unit to the left of `centre` (`flip`: right); first pin above, last below.

    nets: NPN (c, b, e); PNP (e, b, c); P-channel (s, g, d); N-channel (d, g, s), as drawn from top to bottom.
    """
    x, y = centre
    names = {"npn": "cbe", "pnp": "ebc", "pmos": "sgd", "nmos": "dgs"}[stock.split("_")[0]]
    points = ((x, y + 1), (x + 1 if flip else x - 1, y), (x, y - 1))
    return Part(ref, stock, "", dict(zip(names, nets)), dict(zip(names, points)), label, use)


def chip(ref: str, stock: str, box, pins: dict[str, tuple[str, Point]], label: str = "", use: str = ""):
    """A part drawn as a box (left, bottom, right, top); pins: pin name -> (net, point outside the box or on its
    edge)."""
    return Part(ref, stock, "", {k: v[0] for k, v in pins.items()}, {k: v[1] for k, v in pins.items()}, label, use, box)


@dataclass(frozen=True)
class Block:
    """name, title; note: one line under the drawing. ports: (net, point, side, text). grounds, rails: where symbols
    stand.

    analog_grounds: symbols of the net AGND. frames: (left, bottom, right, top) drawn dashed, and the text above it.
    """

    name: str
    title: str
    parts: tuple[Part, ...]
    wires: tuple[tuple[Point, ...], ...]
    ports: tuple[tuple[str, Point, str, str], ...]
    grounds: tuple[Point, ...] = ()
    rails: tuple[tuple[str, Point, str], ...] = ()
    note: str = ""
    analog_grounds: tuple[Point, ...] = ()
    frames: tuple[tuple[tuple[float, float, float, float], str], ...] = ()

    def part(self, ref: str) -> Part:
        """The part called `ref`."""
        return next(p for p in self.parts if p.ref == ref)

    def value(self, ref: str) -> float:
        """Its value in ohms or farads."""
        return number(self.part(ref).value)
