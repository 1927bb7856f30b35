"""A drawing made of lines, boxes and words, as SVG: the same calls give the same bytes."""

from __future__ import annotations

from dataclasses import dataclass, field
from xml.sax.saxutils import escape

Point = tuple[float, float]

RED, GREEN, BLACK, GREY, BLUE = "#a00000", "#1b6b2a", "#111111", "#777777", "#174a8c"


def _n(value: float) -> str:
    return f"{value:.2f}".rstrip("0").rstrip(".")


@dataclass
class Sheet:
    """width, height: of the page, y downward. Everything is added in the order in which it is drawn."""

    width: float
    height: float
    items: list[str] = field(default_factory=list)

    def line(self, points: list[Point], colour: str = BLACK, width: float = 1.5, dash: str = "") -> None:
        """A broken line."""
        path = " ".join(f"{_n(x)},{_n(y)}" for x, y in points)
        dashed = f' stroke-dasharray="{dash}"' if dash else ""
        self.items.append(
            f'<polyline points="{path}" fill="none" stroke="{colour}" stroke-width="{_n(width)}"{dashed}/>'
        )

    def box(self, corner: Point, size: Point, colour: str = BLACK, fill: str = "none", dash: str = "") -> None:
        """A rectangle from its upper left corner."""
        dashed = f' stroke-dasharray="{dash}"' if dash else ""
        place = f'x="{_n(corner[0])}" y="{_n(corner[1])}" width="{_n(size[0])}" height="{_n(size[1])}"'
        self.items.append(f'<rect {place} fill="{fill}" stroke="{colour}" stroke-width="1.4"{dashed}/>')

    def dot(self, at: Point, radius: float, colour: str = BLACK, fill: str | None = None) -> None:
        """A disc, or with another fill a ring."""
        place = f'cx="{_n(at[0])}" cy="{_n(at[1])}" r="{_n(radius)}"'
        self.items.append(f'<circle {place} fill="{fill or colour}" stroke="{colour}" stroke-width="1.4"/>')

    def text(self, at: Point, words: str, size: float = 12, anchor: str = "start", colour: str = BLACK) -> None:
        """Words on one line."""
        style = f'font-family="DejaVu Sans, sans-serif" font-size="{_n(size)}" text-anchor="{anchor}" fill="{colour}"'
        self.items.append(f'<text x="{_n(at[0])}" y="{_n(at[1])}" {style}>{escape(words)}</text>')

    def svg(self) -> str:
        """The whole drawing on white."""
        size = f'width="{_n(self.width)}" height="{_n(self.height)}" viewBox="0 0 {_n(self.width)} {_n(self.height)}"'
        ground = f'<rect x="0" y="0" width="{_n(self.width)}" height="{_n(self.height)}" fill="white"/>'
        body = "\n".join([ground, *self.items])
        return f'<svg xmlns="http://www.w3.org/2000/svg" {size}>\n{body}\n</svg>\n'
