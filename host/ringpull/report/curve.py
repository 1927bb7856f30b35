"""The picture of the answer: lambda of all pulls against engine speed, with target, uncertainty and load."""

from __future__ import annotations

from collections.abc import Collection, Sequence
from dataclasses import dataclass
from typing import NamedTuple

import numpy as np

from ringpull.analysis.cells.speed_curve import STEP_RPM, PullCurve, SpeedCurve
from ringpull.analysis.judge.lean_events import LEAST_DEPTH
from ringpull.report.answer_part import Numbered
from ringpull.report.axes import Axis, Frame, band, both, path
from ringpull.report.palette import DASHES, LINES_LIGHT
from ringpull.report.words import quantity, text

GAP_RPM = 1.5 * STEP_RPM  # a line does not join points that are further apart
MOST_LEADER = 40.0  # longest leader to a label, in units of the drawing
MOST_LINES = 12
MOST_MARKED = 4  # if there are more events, some marks may have to be left out
SPAN, BELOW = 0.28, 0.04  # lambda: the picture's height (a hole of 0.1 fills a third), its start below the least target
MARK_WIDE, MARK_HIGH = 30.0, 22.0  # size of a lean event's number with its bar, in pixels


def chosen(lines: Sequence[PullCurve], lean: Collection[int]) -> list[PullCurve]:
    """The lines that are drawn individually: all, or if there are many, those with lean events first.

    lean: the numbers of the pulls with lean events.
    """
    first = sorted(lines, key=lambda line: line.number not in lean)[:MOST_LINES]
    return sorted(first, key=lambda line: line.number)


def of_pull(line: PullCurve, drawing: Drawing) -> str:
    """The CSS classes of what is shown only while the line's pull is chosen."""
    return f"of-pull pull-{line.number}{' chosen' if line.number == drawing.first else ''}"


def style(at: int, number: int = 0, first: int = -1) -> str:
    """Colour and dash of the nth line, so that lines never differ by colour alone.

    number: the line's pull. first: the pull that is chosen.
    """
    dash = DASHES[at % len(DASHES)]
    kind = f"pull-line pull-{number}{' chosen' if number == first else ''}"
    return f'class="{kind}" style="stroke:var(--line-{at % len(LINES_LIGHT)})" stroke-dasharray="{dash}"'


def spread_labels(places: list[float], bottom: float = np.inf, least: float = 14.0) -> list[float]:
    """The heights of labels, moved apart so that none covers another, and up so that the last is above `bottom`."""
    order = np.argsort(places)
    out = list(places)
    for before, this in zip(order, order[1:]):
        out[this] = max(out[this], out[before] + least)
    for at, this in enumerate(order[::-1]):
        out[this] = min(out[this], bottom - at * least)
    return out


def part(drawn: SpeedCurve | None, answer, events: list[Numbered], unit: str) -> str:
    """The picture of the first screen with its heading and legend."""
    start = '<div id="curve" class="picture"><h2><span class="q-name">Lambda</span> against engine speed</h2>'
    if drawn is None:
        return f"{start}<p>Nothing under load could be judged, so there is nothing to draw.</p></div>"
    return f"{start}{picture(answer, drawn, events, unit)}</div>"


def half_width(answer) -> float:
    """Half-width of the 95 % interval of a short mean, including the systematic part."""
    return float(np.hypot(answer.uncertainty.get("random_95", 0.0), answer.uncertainty.get("systematic_95", 0.0)))


@dataclass(frozen=True)
class Drawing:
    """What the panels show.

    shown: the lines that are drawn individually. u: half-width of a line's band. first: the number of the pull whose
    band is shown until another is chosen.
    """

    curve: SpeedCurve
    shown: list[PullCurve]
    events: list[Numbered]
    u: float
    unit: str
    first: int


def picture(answer, drawn: SpeedCurve, events: list[Numbered], unit: str) -> str:
    """The two panels as SVG, with their legend."""
    lean = {e.pull.number for e in events}
    shown = chosen(drawn.lines, lean)
    drawing = Drawing(drawn, shown, events, half_width(answer), unit, first_chosen(shown, events))

    def total(frame: Frame) -> int:
        return frame.top + frame.high + frame.gap + frame.low + frame.bottom

    banks = len(answer.pulls[0].judged.banks)
    words = description(drawn.lines, events)
    return both(lambda frame: panels(frame, drawing), total, words) + legend(drawing, banks)


def first_chosen(shown: Sequence[PullCurve], events: list[Numbered]) -> int:
    """The number of the pull whose uncertainty is drawn at first: the leanest pull that is drawn, else the first."""
    drawn = {line.number for line in shown}
    lean = [one for one in events if one.pull.number in drawn]
    return max(lean, key=lambda one: one.event.depth).pull.number if lean else shown[0].number


def heights(drawing: Drawing) -> tuple[float, float]:
    """The least and most lambda of the picture: all of the lines if they fit in SPAN, else the range around the target
    that includes the deepest event."""
    lines = drawing.curve.lines
    values = np.concatenate([v[np.isfinite(v)] for line in lines for v in (line.mixture, line.target)])
    low, high = float(values.min()) - drawing.u, float(values.max()) + drawing.u
    if high - low > SPAN:
        targets = np.concatenate([line.target[np.isfinite(line.target)] for line in lines])
        low = max(low, float(targets.min()) - BELOW)
        deepest = max((one.event.target + one.event.depth for one in drawing.events), default=0.0)
        high = max(low + SPAN, deepest + drawing.u)
    return float(np.floor(low * 50) / 50), float(np.ceil(high * 50) / 50 + 0.02)


def panels(frame: Frame, drawing: Drawing) -> str:
    """The panels in one frame, as SVG."""
    drawn, shown, u = drawing.curve, drawing.shown, drawing.u
    speeds = np.concatenate([line.rpm for line in drawn.lines])
    across = Axis(np.floor(speeds.min() / 500) * 500, np.ceil(speeds.max() / 500) * 500, frame.left, frame.edge)
    up = Axis(*heights(drawing), frame.top + frame.high, frame.top)
    out = [
        grid(frame, across, up, frame.top, frame.high, "lambda"),
        f'<clipPath id="in-{frame.name}"><rect x="{frame.left}" y="{frame.top}" width="{frame.edge - frame.left}" '
        f'height="{frame.high}"/></clipPath><g clip-path="url(#in-{frame.name})">',
    ]
    x, target = drawn.rpm, drawn.target
    out.append(f'<path class="limit-band" d="{band(x, target, target + LEAST_DEPTH, across, up, GAP_RPM)}"/>')
    if len(drawn.lines) > len(shown):
        out.append(f'<path class="all-band" d="{band(x, drawn.least, drawn.most, across, up, GAP_RPM)}"/>')
    for at, line in enumerate(shown):
        ground = band(line.rpm, line.mixture - u, line.mixture + u, across, up, GAP_RPM)
        colour = f"fill:var(--line-{at % len(LINES_LIGHT)})"
        out.append(f'<path class="u-band {of_pull(line, drawing)}" style="{colour}" d="{ground}"/>')
    out.append(f'<path class="target-line" d="{path(x, target, across, up, GAP_RPM)}"/>')
    out += [
        f'<path {style(at, line.number, drawing.first)} d="{path(line.rpm, line.mixture, across, up, GAP_RPM)}"/>'
        for at, line in enumerate(shown)
    ]
    placed = marks(drawing.events, drawn.lines, across, up, frame.top)
    out.append("</g>" + "".join(drawn_mark(one) for one in placed))
    out.append(line_labels(frame, shown, across, up))
    out.append(load_panel(frame, shown, across, drawing.unit))
    out.append(
        f'<text class="axis-name" x="{frame.middle:.0f}" y="{frame.top + frame.high + frame.gap + frame.low + 34}" '
        'text-anchor="middle">engine speed, rpm</text>'
    )
    return "".join(out)


def grid(frame: Frame, across: Axis, up: Axis, top: float, high: float, kind: str) -> str:
    """The frame, grid lines and ticks of a panel."""
    out = []
    most = 6 if high > 200 else 3
    live = kind in ("lambda", "pressure", "temperature")
    scale = f' data-q="{kind}" data-low="{up.low:.6g}" data-high="{up.high:.6g}" data-most="{most}"' if live else ""
    place = f' data-top="{up.last:.1f}" data-bottom="{up.first:.1f}" data-left="{frame.left}" data-edge="{frame.edge}"'
    out.append(f'<g class="ticks"{scale}{place if live else ""}>')
    for tick in up.ticks(most):
        y = float(up(tick))
        out.append(f'<path class="grid" d="M{frame.left} {y:.1f}H{frame.edge}"/>')
        shown = f"{tick:.2f}" if kind == "lambda" else f"{tick:.0f}"
        out.append(f'<text x="{frame.left - 6}" y="{y + 4:.1f}" text-anchor="end">{shown}</text>')
    out.append("</g>")
    for tick in across.ticks(frame.ticks):
        x = float(across(tick))
        out.append(f'<path class="grid" d="M{x:.1f} {top}V{top + high}"/>')
        if kind != "lambda":
            out.append(f'<text x="{x:.1f}" y="{top + high + 16}" text-anchor="middle">{tick:.0f}</text>')
    out.append(f'<path class="frame" d="M{frame.left} {top}V{top + high}H{frame.edge}"/>')
    if kind == "lambda":
        out.append(f'<text class="axis-name q-name" x="{frame.left - 36}" y="{top - 10}">lambda</text>')
        out.append(f'<text class="axis-name" x="{frame.left + 6}" y="{top + 14}">↑ lean</text>')
        out.append(f'<text class="axis-name" x="{frame.left + 6}" y="{top + high - 6}">↓ rich</text>')
    return "".join(out)


class Mark(NamedTuple):
    """The place of a lean event's mark: its number at (x, y), a bar from left to right below it."""

    number: int
    x: float
    y: float
    left: float
    right: float


def marks(events: list[Numbered], lines: Sequence[PullCurve], across: Axis, up: Axis, top: float) -> list[Mark]:
    """The marks of the events, above their deepest points. A mark that would cover another is moved above it; a mark
    that would go beyond `top` is left out."""
    out: list[Mark] = []
    of_pull = {line.number: line for line in lines}
    for found in events:
        line, event = of_pull.get(found.pull.number), found.event
        if line is None or not np.isfinite(event.deepest_rpm):
            continue
        near = (line.rpm >= event.rpm_from - STEP_RPM) & (line.rpm <= event.rpm_to + STEP_RPM)
        inside = near & np.isfinite(line.mixture)
        if not inside.any():
            continue
        left, right, x = (float(across(rpm)) for rpm in (event.rpm_from, event.rpm_to, event.deepest_rpm))
        ends = min(left, x - MARK_WIDE / 2), max(right, x + MARK_WIDE / 2)
        y = float(up(line.mixture[inside].max())) - 14
        for other in sorted(out, key=lambda one: -one.y):
            apart = ends[1] < min(other.left, other.x - MARK_WIDE / 2) or ends[0] > max(
                other.right, other.x + MARK_WIDE / 2
            )
            if not apart and abs(other.y - y) < MARK_HIGH:
                y = other.y - MARK_HIGH
        if y >= top + MARK_HIGH / 2:
            out.append(Mark(found.number, x, y, left, right))
    return out


def drawn_mark(one: Mark) -> str:
    """A mark as SVG."""
    return (
        f'<g class="lean-mark"><path d="M{one.left:.1f} {one.y + 6:.1f}v-4H{one.right:.1f}v4"/><text x="{one.x:.1f}" '
        f'y="{one.y - 4:.1f}" text-anchor="middle">▲{one.number}</text></g>'
    )


def line_labels(frame: Frame, shown: Sequence[PullCurve], across: Axis, up: Axis) -> str:
    """The labels with the number of each pull, at the end of its line. One that ends well within the frame has it right
    there: a leader across to the side would read as data that nobody recorded."""
    ends = [np.flatnonzero(np.isfinite(line.mixture))[-1] for line in shown]
    at_x = [float(across(line.rpm[end])) for line, end in zip(shown, ends, strict=True)]
    at_y = [float(up(line.mixture[end])) for line, end in zip(shown, ends, strict=True)]
    aside = [number for number, x in enumerate(at_x) if frame.edge - x <= MOST_LEADER]
    places = dict(zip(aside, spread_labels([at_y[number] for number in aside], frame.top + frame.high), strict=True))
    out = []
    for number, (line, x, y) in enumerate(zip(shown, at_x, at_y, strict=True)):
        if number in places:
            label_x, label_y = frame.edge + 14, places[number] + 4
            out.append(f'<path {style(number)} d="M{x + 3:.1f} {y:.1f}L{frame.edge + 11} {places[number]:.1f}"/>')
        else:
            label_x, label_y = x + 4, y - 16
        out.append(
            f'<text class="line-name" x="{label_x:.1f}" y="{label_y:.1f}" fill="currentColor">pull {line.number}</text>'
        )
    return "".join(out)


def load_panel(frame: Frame, shown: Sequence[PullCurve], across: Axis, unit: str) -> str:
    """The lower panel: load against the same engine speeds."""
    loads = np.concatenate([line.load[np.isfinite(line.load)] for line in shown])
    top = frame.top + frame.high + frame.gap
    if not len(loads):
        return f'<text class="axis-name" x="{frame.left}" y="{top + 20}">no load channel was logged</text>'
    low, high = np.floor(loads.min() / 10) * 10 - 10, np.ceil(loads.max() / 10) * 10 + 10
    up = Axis(float(low), float(high), top + frame.low, top)
    kind = {"kPa": "pressure", "degC": "temperature"}.get(unit, "plain")
    lines = "".join(f'<path {style(at)} d="{path(e.rpm, e.load, across, up, GAP_RPM)}"/>' for at, e in enumerate(shown))
    name = f'<tspan class="q-unit" data-q="{kind}">{text(unit)}</tspan>'
    return (
        grid(frame, across, up, top, frame.low, kind)
        + lines
        + (f'<text class="axis-name" x="{frame.left - 36}" y="{top - 8}">load, {name}</text>')
    )


def description(lines: Sequence[PullCurve], events: list[Numbered]) -> str:
    """The picture described in words, for readers who can't see it."""
    told = [f"Lambda of {len(lines)} pulls against engine speed, with their target."]
    for found in events[:6]:
        event = found.event
        told.append(
            f"Lean event {found.number} in pull {found.pull.number}: {event.rpm_from:.0f} to {event.rpm_to:.0f} rpm, "
            f"lambda {event.depth:.3f} above target."
        )
    return " ".join(told)


def legend(drawing: Drawing, banks: int) -> str:
    """The legend of lines and bands."""
    count, shown, events = len(drawing.curve.lines), len(drawing.shown), len(drawing.events)
    out = [
        '<span><svg viewBox="0 0 28 10"><path class="target-line" d="M0 5H28"/></svg> target</span>',
        '<span><svg viewBox="0 0 28 10"><path class="limit-band" d="M0 0H28V10H0Z"/></svg> up to '
        f"{quantity(LEAST_DEPTH, 'difference', 3, base=0.85)} above target: not yet an event</span>",
    ]
    if events:
        where_room = "; a mark that has no room is left out" if events > MOST_MARKED else ""
        out.append(f"<span>▲ lean event with its number; the bar spans its engine speeds{where_room}</span>")
    if banks > 1:
        out.append(f"<span>the leaner of {banks} banks at each moment</span>")
    options = "".join(
        f'<option value="{number}"{" selected" if number == drawing.first else ""}>pull {number}</option>'
        for number in (line.number for line in drawing.shown)
    )
    pull = f'<select id="of-pull" aria-label="pull whose uncertainty is drawn">{options}</select>'
    at = next(at for at, line in enumerate(drawing.shown) if line.number == drawing.first)
    out.append(
        f'<span><svg viewBox="0 0 28 10"><path class="u-band" id="of-pull-key" d="M0 0H28V10H0Z" '
        f'style="fill:var(--line-{at % len(LINES_LIGHT)})"/></svg> of '
        f"{pull} ± {quantity(drawing.u, 'width', 3, base=0.85)}, 95 %</span>"
    )
    if count > shown:
        out.append(f"<span>{shown} of {count} pulls drawn individually, those with lean events first</span>")
        out.append(
            '<span><svg viewBox="0 0 28 10"><path class="all-band" d="M1 1H27V9H1Z"/></svg> range of all pulls</span>'
        )
    return f'<p class="legend">{"".join(out)}</p>'
