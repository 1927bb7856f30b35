"""Pictures for elsewhere, PNG and PDF, in the report's own palette."""

from __future__ import annotations

import os
import textwrap
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import matplotlib
import numpy as np

from ringpull.analysis.lean import LEAST_DEPTH
from ringpull.errors import CannotWrite
from ringpull.report import compare_part, map_part
from ringpull.report.answer_part import Numbered, known_facts, next_steps, not_tested, numbered
from ringpull.report.curve import MOST_BANDS, Line, chosen, line_of, over_speeds
from ringpull.report.data import judged_columns
from ringpull.report.palette import DASHES, LIGHT, LINES_LIGHT, on_map

matplotlib.use("Agg")
from matplotlib.backends.backend_pdf import PdfPages  # noqa: E402
from matplotlib.colors import ListedColormap  # noqa: E402
from matplotlib.figure import Figure  # noqa: E402

A4 = (8.27, 11.69)
WIDE = (10.0, 6.0)
MOST_PULLS = 12
MOST_REASONS = 8
STYLE: Any = {
    "font.size": 9,
    "axes.edgecolor": LIGHT["edge"],
    "axes.grid": True,
    "grid.color": LIGHT["rule"],
    "grid.linewidth": 0.6,
    "axes.spines.top": False,
    "axes.spines.right": False,
    "text.color": LIGHT["text"],
    "axes.labelcolor": LIGHT["quiet"],
    "pdf.fonttype": 42,
    "text.parse_math": False,
}


def dash(at: int):
    """The nth line's dash as matplotlib has it."""
    marks = [float(n) / 2.0 for n in DASHES[at % len(DASHES)].split()]
    return (0, tuple(marks)) if marks else "solid"


def curve(answer, events: list[Numbered], unit: str) -> Figure | None:
    """Lambda against engine speed with target, uncertainty and load; None where nothing was judged."""
    lean = {e.pull.number for e in events}
    lines = [line for p in answer.pulls if not p.spoiled and (line := line_of(p, p.number in lean)) is not None]
    if not lines:
        return None
    shown = chosen(lines)
    figure = Figure(figsize=WIDE, layout="constrained")
    above, below = figure.subplots(2, 1, sharex=True, height_ratios=(3, 1))
    speeds, target = over_speeds(lines, "target")
    above.plot(speeds, target, color=LIGHT["target"], linestyle=(0, (2, 2)), label="target")
    above.fill_between(speeds, target, target + LEAST_DEPTH, color=LIGHT["edge"], alpha=0.2, linewidth=0)
    u = float(np.hypot(answer.uncertainty.get("random_95", 0.0), answer.uncertainty.get("systematic_95", 0.0)))
    for at, line in enumerate(shown):
        colour = LINES_LIGHT[at % len(LINES_LIGHT)]
        above.plot(line.rpm, line.mixture, color=colour, linestyle=dash(at), label=f"pull {line.number}")
        if len(shown) <= MOST_BANDS:
            low, high = line.mixture - u, line.mixture + u
            above.fill_between(line.rpm, low, high, color=colour, alpha=0.12, linewidth=0)
        below.plot(line.rpm, line.load, color=colour, linestyle=dash(at))
    for found in events[:40]:
        mark(above, found, lines)
    above.set_ylabel("lambda (more is lean)")
    below.set_ylabel(f"load, {unit}" if unit else "load")
    below.set_xlabel("engine speed, rpm")
    above.legend(frameon=False, ncols=6, loc="upper left", bbox_to_anchor=(0, 1.12))
    return figure


def mark(axes, found: Numbered, lines: list[Line]) -> None:
    """A lean event's number over its speeds."""
    line = next((one for one in lines if one.number == found.pull.number), None)
    if line is None:
        return
    inside = (line.rpm >= found.event.rpm_from) & (line.rpm <= found.event.rpm_to) & np.isfinite(line.mixture)
    if inside.any():
        top = float(line.mixture[inside].max()) + 0.008
        axes.plot([found.event.rpm_from, found.event.rpm_to], [top, top], color=LIGHT["lean"], linewidth=1.5)
        axes.annotate(
            f"▲{found.number}",
            (found.event.deepest_rpm, top),
            xytext=(0, 3),
            textcoords="offset points",
            ha="center",
            color=LIGHT["lean"],
            fontweight="bold",
        )


def pull_traces(drive, pull, events: list[Numbered]) -> Figure:
    """Every channel of one pull over time."""
    session = drive.session(pull.pull.session)
    frame = pull.frame
    channels = session.channels
    figure = Figure(figsize=(WIDE[0], 1.0 + 1.15 * len(channels)), layout="constrained")
    panels = np.atleast_1d(figure.subplots(len(channels), 1, sharex=True))
    for at, (axes, channel) in enumerate(zip(panels, channels, strict=True)):
        axes.plot(frame["time_s"], frame[channel.column], color=LINES_LIGHT[0], linewidth=1)
        if channel.kind == "lambda" and at == 0:
            undone = judged_columns(pull.judged, frame["time_s"].to_numpy())["lambda_aligned"]
            axes.plot(frame["time_s"], undone, color=LINES_LIGHT[2], linewidth=1.2, linestyle=(0, (5, 1)))
            axes.plot(frame["time_s"], frame["lambda_target"], color=LIGHT["target"], linestyle=(0, (2, 2)))
        for found in events:
            axes.axvspan(found.event.start_s, found.event.end_s, color=LIGHT["lean"], alpha=0.15, linewidth=0)
            if at == 0:
                axes.text(found.event.start_s, axes.get_ylim()[1], f"▲{found.number}", color=LIGHT["lean"], va="top")
        axes.set_ylabel(channel.label + (f"\n{channel.unit}" if channel.unit else ""))
    panels[-1].set_xlabel("time, s")
    solid = "; lambda as measured (solid), delay and lag undone (long dashes), target (short dashes)"
    figure.suptitle(f"pull {pull.number}" + solid, x=0.01, ha="left", fontsize=9)
    return figure


def fuel_map(made, unit: str = "") -> Figure:
    """Measured over target by speed and load; in each cell that, the factor for the fuel, and the passes."""
    ratio, factor, passes = made.grid("ratio"), made.grid("factor"), made.grid("passes")
    figure = Figure(figsize=(2.4 + 0.56 * len(made.speeds), 1.9 + 0.42 * len(ratio)), layout="constrained")
    axes = figure.subplots()
    colours = ListedColormap([on_map(k / 255)[0] for k in range(256)])
    image = axes.imshow(
        ratio, origin="lower", aspect="auto", cmap=colours, vmin=1 - map_part.SPAN, vmax=1 + map_part.SPAN
    )
    for row, column in np.argwhere(np.isfinite(ratio)):
        known = np.isfinite(factor[row, column])
        words = f"\n× {factor[row, column]:.3f}" if known else ""
        ink = on_map(map_part.place(ratio[row, column]))[1]
        told = f"{ratio[row, column]:.3f}{words}\nn {passes[row, column]:.0f}"
        axes.text(column, row, told, ha="center", va="center", fontsize=6, color=ink)
    axes.grid(False)
    axes.set_xticks(range(len(made.speeds)), [f"{v:.0f}" for v in made.speeds])
    loads = [] if made.loads is None else made.loads
    axes.set_yticks(range(len(loads)), [f"{v:.0f}" for v in loads])
    axes.set_xlabel("engine speed, rpm")
    axes.set_ylabel(f"load, {unit}" if unit else "load")
    axes.set_title("Measured lambda over target; × factor for the fuel; n passes", fontsize=9, loc="left")
    figure.colorbar(image, label="measured over target, more is lean")
    return figure


def write_map(made, output: Path) -> Path:
    """The fuel map as a picture; its ending says which kind. Raises CannotWrite."""
    try:
        with matplotlib.rc_context(STYLE):
            fuel_map(made).savefig(output, dpi=150)
    except (OSError, ValueError) as fault:
        told = (os.strerror(fault.errno) if isinstance(fault, OSError) and fault.errno else str(fault)).splitlines()[0]
        raise CannotWrite(
            f"{output} can't be written ({told})", "a slip in the path or its ending", "give another"
        ) from None
    return output


def first_page(drive, answer, events: list[Numbered], unit: str, against=None) -> Figure:
    """What a customer takes home, as a page of text. against: (drive, answer) of before."""
    figure = Figure(figsize=A4)
    lines: list[tuple[str, str]] = []
    facts = known_facts(drive)
    lines.append(("big", dict(facts)["vehicle"] or drive.source.name))
    lines += [("plain", f"{name}: {value or '_' * 30}") for name, value in facts if name != "vehicle"]
    lines += [("gap", ""), ("big", answer.verdict.capitalize())]
    reasons = [*answer.reasons[:MOST_REASONS]]
    if len(answer.reasons) > MOST_REASONS:
        reasons.append(f"and {len(answer.reasons) - MOST_REASONS} more, in the report")
    groups = (
        *([] if against is None else [("Before and after", before_and_after(drive, answer, against))]),
        ("Why", reasons),
        ("What to do next", next_steps(answer, events)),
        ("Cautions", answer.cautions),
        ("Not tested", [plain(one) for one in not_tested(answer, unit)]),
    )
    for title, items in groups:
        lines += [("gap", ""), ("bold", title)]
        for item in items:
            wrapped = textwrap.wrap(item, 96) or [""]
            lines += [("plain", "- " + wrapped[0]), *[("plain", "  " + more) for more in wrapped[1:]]]
    place = 0.955
    for kind, words in lines:
        size = 14 if kind == "big" else 9.5
        weight = "bold" if kind in ("big", "bold") else "normal"
        figure.text(0.08, place, words[:110], fontsize=size, fontweight=weight, va="top")
        place -= {"big": 0.028, "gap": 0.008}.get(kind, 0.0165)
    return figure


def before_and_after(drive, answer, against) -> list[str]:
    """The comparison with an earlier drive in lines."""
    before, judged = against
    return [
        compare_part.sentence(compare_part.compared(before, drive)),
        f"Before ({before.source.name}): {compare_part.words(judged)}. "
        f"After ({drive.source.name}): {compare_part.words(answer)}.",
    ]


def plain(words: str) -> str:
    """HTML without its elements."""
    from html import unescape
    from re import sub

    return unescape(sub(r"<[^>]*>", "", words))


def figures(drive, answer, unit: str) -> Iterator[tuple[str, Figure]]:
    """(name, figure) of all pictures: the curve, the fuel map, then the pulls, those with lean events first where they are many."""
    events = numbered(answer)
    drawn = curve(answer, events, unit)
    if drawn is not None:
        yield "lambda-over-speed", drawn
    made = map_part.made_from(answer)
    if made is not None:
        yield "fuel-map", fuel_map(made, unit)
    lean = {e.pull.number for e in events}
    first = sorted(answer.pulls, key=lambda p: p.number not in lean)[:MOST_PULLS]
    for pull in sorted(first, key=lambda p: p.number):
        yield f"pull-{pull.number}", pull_traces(drive, pull, [e for e in events if e.pull.number == pull.number])


def write_pngs(drive, answer, folder: Path) -> list[Path]:
    """Each picture as a file in `folder`; their paths. OSError where they can't be written."""
    from ringpull.report.page import load_unit

    folder.mkdir(parents=True, exist_ok=True)
    out = []
    with matplotlib.rc_context(STYLE):
        for name, figure in figures(drive, answer, load_unit(answer)):
            out.append(folder / f"{name}.png")
            figure.savefig(out[-1], dpi=150)
    return out


def write_pdf(drive, answer, output: Path, against=None) -> Path:
    """All pictures in one file, led by the page for the customer. OSError where it can't be written."""
    from ringpull.report.page import load_unit

    unit = load_unit(answer)
    output.parent.mkdir(parents=True, exist_ok=True)
    with matplotlib.rc_context(STYLE), PdfPages(output, metadata={"CreationDate": None}) as pages:
        pages.savefig(first_page(drive, answer, numbered(answer), unit, against))
        for _, figure in figures(drive, answer, unit):
            pages.savefig(figure)
    return output
