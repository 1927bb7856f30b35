"""Pictures of a season: margins by month and speed, and the rates of its cells."""

from __future__ import annotations

from math import isfinite

import numpy as np

from ringpull.report.axes import Axis, Frame, both
from ringpull.report.palette import on_map
from ringpull.report.words import number, text
from ringpull.shelf.questions.found import Row

SPAN = 0.08  # of the colours: from so much richer than target to so much leaner
LINE = 17  # pixels of a cell's line


def months(rows: list[Row]) -> str:
    """A table of months down and speeds across: how far the mean stood from target, lean events marked."""
    if not rows:
        return "<p>Nothing under load was judged.</p>"
    speeds = sorted({row["rpm"] for row in rows})
    known = {(row["month"], row["rpm"]): row for row in rows}
    lines = []
    for month in sorted({row["month"] for row in rows}):
        squares = "".join(square(known.get((month, rpm))) for rpm in speeds)
        lines.append(f'<tr><th scope="row">{text(month)}</th>{squares}</tr>')
    head = "".join(f'<th scope="col">{number(rpm)}</th>' for rpm in speeds)
    scale = "".join(
        f'<span style="background:{on_map(k / 8)[0]};color:{on_map(k / 8)[1]}">{100 * (1 - k / 4) * SPAN:+.0f} %</span>'
        for k in range(9)
    )
    return (
        '<p class="quiet">How far below target lambda stood, % of it, mean of the drives; months down, engine speed in '
        'rpm across.</p><div class="scroll"><table class="map"><thead><tr><td class="corner">month</td>'
        f"{head}</tr></thead><tbody>{''.join(lines)}</tbody></table></div>"
        f'<p class="legend"><span class="scale">{scale}</span><span>below 0 it is leaner than target</span>'
        "<span>! so many lean events; dashed edge: one drive alone; empty: never judged</span></p>"
    )


def square(row: Row | None) -> str:
    """A month at a speed."""
    if row is None:
        return "<td></td>"
    told = f"{row['month']}, {row['rpm']} rpm: {row['drives']} drives, {row['pulls']} pulls"
    margin, events = row["margin"], row["events"]
    mark = f'<span class="surely"> !{events}</span>' if events else ""
    if not isfinite(margin):
        return f'<td><div class="cell few" title="{text(told)}">{mark}</div></td>'
    ground, ink = on_map(0.5 - margin / SPAN / 2.0)
    few = " few" if row["drives"] < 2 else ""
    told += f"; margin {100 * margin:+.1f} %, least {100 * row['least']:+.1f} %"
    return (
        f'<td><div class="cell{few}" style="background:{ground};color:{ink};text-align:center" title="{text(told)}">'
        f"{100 * margin:+.1f}{mark}</div></td>"
    )


def rates(rows: list[Row]) -> str:
    """Every cell's rate a year with its 95 % interval, drawn as a line each; what is called stands out."""
    known = [row for row in rows if isfinite(row["rate"])]
    if not known:
        return ""
    known.sort(key=lambda row: (row["bank"], row["rpm"], row["load"] or 0))
    ends = 100 * np.array([[row["low"], row["high"]] for row in known])
    reach = float(max(2.0, np.percentile(np.abs(ends), 90), max(abs(100 * row["rate"]) for row in known) * 1.2))
    called = [row for row in known if row["called"]]
    words = f"rates of {len(known)} cells, {len(called)} of them called"

    def total(frame: Frame) -> int:
        return frame.top + LINE * len(known) + frame.bottom

    return both(lambda frame: drawn(frame, known, reach), total, words)


def drawn(frame: Frame, rows: list[Row], reach: float) -> str:
    """The lines in one frame."""
    left = frame.left + 74
    across = Axis(-reach, reach, left, frame.edge)
    bottom = frame.top + LINE * len(rows)
    out = []
    for tick in across.ticks(min(frame.ticks, 8)):
        x = float(across(tick))
        out.append(f'<path class="grid" d="M{x:.1f} {frame.top}V{bottom}"/>')
        out.append(f'<text x="{x:.1f}" y="{bottom + 16}" text-anchor="middle">{tick:+g}</text>')
    zero = float(across(0.0))
    out.append(f'<path class="target-line" d="M{zero:.1f} {frame.top}V{bottom}"/>')
    for at, row in enumerate(rows):
        y = frame.top + LINE * (at + 0.5)
        colour = (
            "var(--lean)" if row["called"] and row["rate"] > 0 else "var(--line-0)" if row["called"] else "var(--edge)"
        )
        low, high = (float(across(min(max(100 * row[key], -reach), reach))) for key in ("low", "high"))
        load = "" if row["load"] is None else f", {row['load']} {row['load_unit'] or ''}".rstrip()
        weight = ' font-weight="700"' if row["called"] else ""
        out.append(
            f'<text x="{left - 8}" y="{y + 4:.1f}" text-anchor="end"{weight}>{text(str(row["rpm"]) + load)}</text>'
        )
        out.append(f'<path style="stroke:{colour}" d="M{low:.1f} {y:.1f}H{high:.1f}"/>')
        middle = float(across(100 * row["rate"]))
        radius = 5 if row["called"] else 3
        out.append(f'<circle cx="{middle:.1f}" cy="{y:.1f}" r="{radius}" style="fill:{colour}"/>')
    out.append(f'<path class="frame" d="M{left} {frame.top}V{bottom}H{frame.edge}"/>')
    out.append(
        f'<text class="axis-name" x="{(left + frame.edge) / 2:.0f}" y="{bottom + 34}" text-anchor="middle">'
        "% a year; to the right it gets leaner</text>"
    )
    out.append(f'<text class="axis-name" x="{left - 8}" y="{frame.top - 8}" text-anchor="end">rpm, load</text>')
    return "".join(out)
