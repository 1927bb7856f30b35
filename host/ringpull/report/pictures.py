"""The report's pictures as PNG and PDF, in the report's palette."""

from __future__ import annotations

import textwrap
import warnings
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

import numpy as np

from ringpull.analysis.cells import fuelmap, speed_curve
from ringpull.analysis.cells.cell import NOT_MAPPED
from ringpull.analysis.judge.lean_events import LEAST_DEPTH
from ringpull.errors import CannotWrite, MissingPart
from ringpull.files import names
from ringpull.files.outputs import whole
from ringpull.report import compare_part, map_part
from ringpull.report.against import Against
from ringpull.report.answer_part import Numbered, known_facts, not_tested, numbered
from ringpull.report.axes import WIDE as WIDE_PX
from ringpull.report.axes import Axis
from ringpull.report.curve import Mark, chosen, first_chosen, half_width, marks
from ringpull.report.data import judged_columns
from ringpull.report.palette import DASHES, LIGHT, LINES_LIGHT, on_map
from ringpull.wording import first as first_words
from ringpull.wording.next_steps import next_steps
from ringpull.wording.reasons import CAUTIONS

try:
    import matplotlib
except ImportError:
    raise MissingPart(
        "pictures can't be drawn: matplotlib is not installed",
        "it is an extra of ringpull, needed only for PNG and PDF",
        "run pip install '.[pictures]' in the folder that Ringpull was unpacked in",
    ) from None
matplotlib.use("Agg")
from matplotlib.backends.backend_pdf import PdfPages  # noqa: E402
from matplotlib.colors import ListedColormap  # noqa: E402
from matplotlib.figure import Figure  # noqa: E402

A4 = (8.27, 11.69)
WIDE = (10.0, 6.0)
MOST_PULLS = 12
MOST_REASONS = 8
MOST_LETTERS = 100
MOST_LINES = 13  # lines of one text on the first page
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


@contextmanager
def quiet() -> Iterator[None]:
    """Suppress the library's warnings about characters that its font lacks; they are drawn as boxes."""
    with warnings.catch_warnings():
        warnings.filterwarnings("ignore", message="Glyph")
        yield


def dash(at: int):
    """The nth line's dash in matplotlib's form."""
    marks = [float(n) / 2.0 for n in DASHES[at % len(DASHES)].split()]
    return (0, tuple(marks)) if marks else "solid"


def curve(answer, events: list[Numbered], unit: str) -> Figure | None:
    """Lambda against engine speed, with target, uncertainty and load; None if nothing was judged."""
    drawn = speed_curve.of_answer(answer)
    if drawn is None:
        return None
    shown = chosen(drawn.lines, {e.pull.number for e in events})
    figure = Figure(figsize=WIDE, layout="constrained")
    above, below = figure.subplots(2, 1, sharex=True, height_ratios=(3, 1))
    speeds, target = drawn.rpm, drawn.target
    above.plot(speeds, target, color=LIGHT["target"], linestyle=(0, (2, 2)), label="target")
    yet = f"up to {LEAST_DEPTH:.3f} above: not yet an event"
    above.fill_between(speeds, target, target + LEAST_DEPTH, color=LIGHT["edge"], alpha=0.2, linewidth=0, label=yet)
    u = half_width(answer)
    banded = first_chosen(shown, events)
    for at, line in enumerate(shown):
        colour = LINES_LIGHT[at % len(LINES_LIGHT)]
        above.plot(line.rpm, line.mixture, color=colour, linestyle=dash(at), label=f"pull {line.number}")
        if line.number == banded:
            low, high = line.mixture - u, line.mixture + u
            above.fill_between(line.rpm, low, high, color=colour, alpha=0.18, linewidth=0, label=f"+/- {u:.3f}, 95 %")
        below.plot(line.rpm, line.load, color=colour, linestyle=dash(at))
    low, high = above.get_ylim()
    up = Axis(low, high, WIDE_PX.high, 0.0)
    left, right = above.get_xlim()
    across = Axis(left, right, 0.0, WIDE_PX.edge - WIDE_PX.left)
    for one in marks(events, drawn.lines, across, up, -WIDE_PX.top):
        mark(above, one, low, high, across)
    above.set_ylabel("lambda (more is lean)")
    below.set_ylabel(f"load, {unit}" if unit else "load")
    below.set_xlabel("engine speed, rpm")
    above.legend(frameon=False, ncols=6, loc="upper left", bbox_to_anchor=(0, 1.12))
    return figure


def mark(axes, one: Mark, low: float, high: float, across: Axis) -> None:
    """Draw a lean event's number and its bar."""
    rpm = [across.low + x / across.last * (across.high - across.low) for x in (one.left, one.right, one.x)]
    top = high - (one.y + 4) / WIDE_PX.high * (high - low)
    axes.plot(rpm[:2], [top, top], color=LIGHT["lean"], linewidth=1.5)
    words = {"xytext": (0, 3), "textcoords": "offset points", "ha": "center", "fontweight": "bold"}
    axes.annotate(f"▲{one.number}", (rpm[2], top), color=LIGHT["lean"], **words)


def shortened(words: str) -> str:
    """A text cut to one line."""
    line = " ".join(words.split())
    return line if len(line) <= MOST_LETTERS else line[: MOST_LETTERS - 1] + "…"


def pull_traces(drive, pull, events: list[Numbered]) -> Figure:
    """All channels of one pull against time."""
    session = drive.session(pull.pull.session)
    frame = pull.frame
    channels = session.channels
    figure = Figure(figsize=(WIDE[0], 1.0 + 1.15 * len(channels)), layout="constrained")
    panels = np.atleast_1d(figure.subplots(len(channels), 1, sharex=True))
    undone = judged_columns(pull.judged, frame["time_s"].to_numpy())
    sensors = pull.judged.banks or {channel.name: None for channel in channels if channel.kind == "lambda"}
    for at, (axes, channel) in enumerate(zip(panels, channels, strict=True)):
        axes.plot(frame["time_s"], frame[channel.column], color=LINES_LIGHT[0], linewidth=1)
        if channel.name in sensors:
            line = undone.get(channel.name + "_aligned", undone.get("lambda_aligned"))
            axes.plot(frame["time_s"], line, color=LINES_LIGHT[2], linewidth=1.2, linestyle=(0, (5, 1)))
            axes.plot(frame["time_s"], frame["lambda_target"], color=LIGHT["target"], linestyle=(0, (2, 2)))
        for found in events:
            axes.axvspan(found.event.start_s, found.event.end_s, color=LIGHT["lean"], alpha=0.15, linewidth=0)
            if at == 0:
                axes.text(found.event.start_s, axes.get_ylim()[1], f"▲{found.number}", color=LIGHT["lean"], va="top")
        name = channel.label + (f", {channel.unit}" if channel.unit else "")
        axes.set_title(shortened(name), loc="left", fontsize=8, pad=2, color=LIGHT["quiet"])
    panels[-1].set_xlabel("time, s")
    solid = "; lambda as measured (solid), corrected for delay and lag (long dashes), target (short dashes)"
    figure.suptitle(f"pull {pull.number}" + solid, x=0.01, ha="left", fontsize=9)
    return figure


def fuel_map(made: fuelmap.FuelMap) -> Figure:
    """The map of lambda over target by engine speed and load, with factor and passes in each cell."""
    ratio = made.grid("ratio")
    figure = Figure(figsize=(2.4 + 0.56 * len(made.axes.speeds), 1.9 + 0.42 * len(ratio)), layout="constrained")
    axes = figure.subplots()
    colours = ListedColormap([on_map(k / 255)[0] for k in range(256)])
    image = axes.imshow(
        ratio, origin="lower", aspect="auto", cmap=colours, vmin=1 - map_part.SPAN, vmax=1 + map_part.SPAN
    )
    loads = [None] if made.axes.loads is None else [float(v) for v in made.axes.loads]
    places = made.places
    for row, load in enumerate(loads):
        for column, rpm in enumerate(made.axes.speeds):
            cell = places.get((load, float(rpm)))
            if cell is not None:
                ink = LIGHT["quiet"] if cell.state == NOT_MAPPED else on_map(map_part.place(cell.ratio))[1]
                axes.text(column, row, in_cell(cell), ha="center", va="center", fontsize=6, color=ink)
    axes.grid(False)
    axes.set_xticks(range(len(made.axes.speeds)), [f"{v:.0f}" for v in made.axes.speeds])
    axes.set_yticks(range(len(loads)), ["" if v is None else f"{v:.0f}" for v in loads])
    axes.set_xlabel("engine speed, rpm")
    axes.set_ylabel(f"load, {made.load_unit}" if made.load_unit else "load")
    title = "Measured lambda over target; × factor for the fuel; n passes; ! lean event; empty: never visited"
    axes.set_title(title, fontsize=8, loc="left")
    figure.colorbar(image, label="lambda over target (more is lean)")
    return figure


def in_cell(cell) -> str:
    """The text in a cell of the map's picture."""
    event = " !" if cell.lean_event else ""
    if cell.state == NOT_MAPPED:
        return f"not\nmapped{event}"
    factor = f"\n× {cell.factor:.3f}" if np.isfinite(cell.factor) else ""
    return f"{cell.ratio:.3f}{event}{factor}\nn {cell.passes}"


def write_map(made: fuelmap.FuelMap, output: Path) -> Path:
    """Write the fuel map as a picture; the ending of `output` chooses the format. Raises CannotWrite."""
    try:
        with whole(output) as fresh, matplotlib.rc_context(STYLE):
            fuel_map(made).savefig(fresh, dpi=150)
    except ValueError as fault:
        told = str(fault).splitlines()[0]
        raise CannotWrite(
            f"{output} can't be written ({told})", "the ending is mistyped or not a picture's", "use .png"
        ) from None
    return output


def first_page(drive, answer, events: list[Numbered], unit: str, against: Against | None = None) -> list[Figure]:
    """The customer's page of text; two pages if there is much to say."""
    lines: list[tuple[str, str]] = []
    facts = known_facts(drive)
    lines.append(("big", shortened(dict(facts)["vehicle"] or names.of_source(drive.source))[:60]))
    for name, value in facts:
        if name != "vehicle":
            lines += [("plain", line) for line in wrapped(f"{name}: {value or '_' * 30}", MOST_LINES)]
    lines += [("gap", ""), ("big", answer.verdict.capitalize())]
    lines += [("bold", line) for line in wrapped(first_words.sentence(answer), wide=78)]
    reasons = [str(line) for line in first_words.lines(answer)[1:]]
    if len(reasons) > MOST_REASONS:
        reasons = [*reasons[:MOST_REASONS], f"and {len(reasons) - MOST_REASONS} more, in the report"]
    groups = (
        *([] if against is None else [("Before and after", before_and_after(drive, answer, against))]),
        ("Why", reasons),
        ("What to do next", next_steps(answer, answer.holes)),
        ("Cautions", CAUTIONS),
        ("Not tested", [plain(one) for one in not_tested(answer, unit)]),
    )
    for title, items in groups:
        lines += [("gap", ""), ("bold", title)]
        for item in items:
            first, *rest = wrapped(item)
            lines += [("plain", "- " + first), *[("plain", "  " + more) for more in rest]]
    return pages_of(lines)


def wrapped(words: str, most: int = MOST_LINES, wide: int = 86) -> list[str]:
    """A text in at most `most` lines of `wide` characters."""
    lines = textwrap.wrap(words, wide) or [""]
    if len(lines) <= most:
        return lines
    return [*lines[: most - 1], lines[most - 1][: wide - 30] + " ... (more in the report)"]


def pages_of(lines: list[tuple[str, str]]) -> list[Figure]:
    """The pages that hold the lines. lines: (kind, words)."""
    out: list[Figure] = []
    place = 0.0
    for kind, words in lines:
        if place < 0.06:
            out.append(Figure(figsize=A4))
            place = 0.955
        weight = "bold" if kind in ("big", "bold") else "normal"
        out[-1].text(0.08, place, words, fontsize=14 if kind == "big" else 9.5, fontweight=weight, va="top")
        place -= {"big": 0.028, "gap": 0.008}.get(kind, 0.0165)
    return out


def before_and_after(drive, answer, against: Against) -> list[str]:
    """The sentences of the comparison with an earlier drive."""
    compared = against.compared
    return [
        compare_part.heading(compared),
        f"Before ({names.of_source(against.drive.source)}): {compare_part.came_to(against.answer)}. "
        f"After ({names.of_source(drive.source)}): {compare_part.came_to(answer)}.",
        *(compare_part.unlike(one) for one in compared.unlike if one.kind != "target"),
    ]


def plain(words: str) -> str:
    """The text of HTML, without its tags."""
    from html import unescape
    from re import sub

    return unescape(sub(r"<[^>]*>", "", words))


def figures(drive, answer, unit: str) -> Iterator[tuple[str, Figure]]:
    """(name, figure) of all pictures: curve, fuel map, then pulls (if they are many, those with lean events first)."""
    events = numbered(answer)
    drawn = curve(answer, events, unit)
    if drawn is not None:
        yield "lambda-over-speed", drawn
    made = fuelmap.of_drive(drive)
    if made.cells:
        yield "fuel-map", fuel_map(made)
    lean = {e.pull.number for e in events}
    first = sorted(answer.pulls, key=lambda p: p.number not in lean)[:MOST_PULLS]
    for pull in sorted(first, key=lambda p: p.number):
        yield f"pull-{pull.number}", pull_traces(drive, pull, [e for e in events if e.pull.number == pull.number])


def write_pngs(drive, answer, folder: Path) -> list[Path]:
    """Write each picture to `folder` and return the paths. Raises CannotWrite, or OSError if it can't be made."""
    from ringpull.report.page import load_unit

    folder.mkdir(parents=True, exist_ok=True)
    out = []
    with quiet(), matplotlib.rc_context(STYLE):
        for name, figure in figures(drive, answer, load_unit(answer)):
            out.append(folder / f"{name}.png")
            with whole(out[-1]) as fresh:
                figure.savefig(fresh, dpi=150)
    return out


def write_pdf(drive, answer, output: Path, against: Against | None = None) -> Path:
    """Write the customer's page and all pictures to one file. Raises OSError if it can't be written."""
    from ringpull.report.page import load_unit

    unit = load_unit(answer)
    output.parent.mkdir(parents=True, exist_ok=True)
    with quiet(), matplotlib.rc_context(STYLE), PdfPages(output, metadata={"CreationDate": None}) as pages:
        for figure in first_page(drive, answer, numbered(answer), unit, against):
            pages.savefig(figure)
        for _, figure in figures(drive, answer, unit):
            pages.savefig(figure)
    return output
