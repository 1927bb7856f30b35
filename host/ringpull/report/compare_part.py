"""Before and after, if two drives are given: did the change work, and what changed at each engine speed."""

from __future__ import annotations

import numpy as np

from ringpull.analysis.cells import compare
from ringpull.analysis.cells.drive_comparison import DriveComparison, LeanPulls, Unlike
from ringpull.files import names
from ringpull.report import compare_words
from ringpull.report.against import Against
from ringpull.report.answer_part import WORD
from ringpull.report.axes import Axis, Frame, band, both, path
from ringpull.report.words import listed, live, number, table, text


def lean_pulls(compared: DriveComparison) -> str:
    """The sentence that counts the lean pulls of each drive."""
    before, after = compared.lean
    return f"before {_count(before, True)}, after {_count(after, not before.judged)}"


def _count(side: LeanPulls, whole: bool) -> str:
    """whole: whether it has to say what is counted."""
    if not side.judged:
        return "no pull could be judged"
    of = f" pull{'' if side.judged == 1 else 's'} lean" if whole else ""
    return f"{side.lean} of {side.judged}{of}{_banks(side)}"


def _banks(side: LeanPulls) -> str:
    """Whose lean events they are."""
    return f" ({', '.join(side.banks)})" if side.banks else ""


def unlike(one: Unlike) -> str:
    """The sentence for a difference between the pulls themselves."""
    words = {
        "target": "unlike targets: {0:.3f} on average before, {1:.3f} after; each drive is judged by its own, so what "
        "differs may be the target alone. Give one for both (--target)",
        "ramp": "unlike pulls: engine speed rose by {0:.0f} rpm/s before, {1:.0f} after (another gear, road or load)",
        "load": "unlike pulls: load was {0:.0f} {2} before, {1:.0f} {2} after",
        "intake": "unlike pulls: intake air was at {0:.0f} {2} before, {1:.0f} {2} after",
        "coolant": "unlike pulls: coolant was at {0:.0f} {2} before, {1:.0f} {2} after",
    }[one.kind]
    return words.format(one.before, one.after, one.unit)


def own_targets(compared: DriveComparison) -> list[str]:
    """The sentence to be read before any other: that each drive is judged by a target of its own."""
    return [unlike(one) for one in compared.unlike if one.kind == "target"]


def told(compared: DriveComparison) -> list[str]:
    """All sentences about a comparison but for unlike targets, unlike pulls first."""
    pulls = [unlike(one) for one in compared.unlike if one.kind != "target"]
    return [*pulls, *compare_words.of_drives(compared)]


def sentence(compared: DriveComparison) -> str:
    """The result of the comparison in one sentence. By unlike targets it claims nothing of the change itself."""
    verdict = compared.result.verdict
    if verdict == compare.NOT_ENOUGH:
        return "There is not enough data to compare before and after."
    if own_targets(compared):
        came_to = {
            compare.BETTER: "After, the mixture was nearer to a target of its own than before",
            compare.WORSE: "After, the mixture was further from a target of its own than before, or leaner than it",
            compare.NONE: "Over targets of their own, the drives show no difference at any engine speed",
        }.get(verdict, "Some speeds were nearer to a target of their own than before, others further from it or leaner")
        return f"{came_to}: that does not show what the change did."
    return {
        compare.BETTER: "The change brought the mixture nearer to target.",
        compare.WORSE: "The change took the mixture further from target, or leaner than it.",
        compare.NONE: "The data show no difference of the mean mixture at any engine speed.",
    }.get(verdict, "Some speeds are nearer to target than before, others further from it or leaner.")


def heading(compared: DriveComparison) -> str:
    """What the comparison came to: unlike targets, the count of lean pulls, the result."""
    first = [f"{words[0].upper()}{words[1:]}." for words in [*own_targets(compared), lean_pulls(compared)]]
    return " ".join([*first, sentence(compared)])


def picture(compared: DriveComparison) -> str:
    """The picture of lambda over target before and after, with its interval."""
    bins = [b for b in compared.result.bins if np.isfinite(b.before) or np.isfinite(b.after)]
    if len(bins) < 2:
        return ""
    name = "Lambda over target by engine speed, before and after: " + sentence(compared)
    return (
        both(lambda frame: panel(frame, bins), lambda frame: frame.top + frame.high + frame.bottom, name)
        + '<p class="legend"><span><svg viewBox="0 0 28 10"><path style="stroke:var(--line-0)" stroke-dasharray="8 3" '
        'd="M0 5H28"/></svg> before; a difference within the band could be chance</span><span><svg viewBox="0 0 28 '
        '10">'
        '<path style="stroke:var(--line-1)" d="M0 5H28"/></svg> after</span><span>◆ changed</span></p>'
    )


def panel(frame: Frame, bins: list[compare.Bin]) -> str:
    """The panel in one frame, as SVG."""
    rpm = np.array([b.rpm for b in bins])
    before, after = np.array([b.before for b in bins]), np.array([b.after for b in bins])
    half = np.array([(b.high - b.low) / 2.0 for b in bins])
    lines = np.concatenate([before, after, [0.99, 1.01]])
    lines = lines[np.isfinite(lines)]
    # a very wide interval runs out of the picture, so that it does not flatten the lines
    room = max(0.02, 1.5 * float(np.ptp(lines)))
    low, high = max(float(lines.min()) - room, 0.0), float(lines.max()) + room
    every = np.concatenate([lines, np.clip(np.concatenate([before - half, before + half]), low, high)])
    every = every[np.isfinite(every)]
    floor = frame.top + frame.high
    across = Axis(float(rpm.min()), float(rpm.max()), frame.left, frame.edge)
    up = Axis(float(every.min()), float(every.max()), floor, frame.top)
    gap = 2.5 * float(np.diff(rpm).min())
    out = []
    for tick in up.ticks(5):
        y = float(up(tick))
        out.append(f'<path class="grid" d="M{frame.left} {y:.1f}H{frame.edge}"/>')
        out.append(f'<text x="{frame.left - 6}" y="{y + 4:.1f}" text-anchor="end">{tick:.2f}</text>')
    for tick in across.ticks(frame.ticks):
        x = float(across(tick))
        out.append(f'<text x="{x:.1f}" y="{floor + 16}" text-anchor="middle">{tick:.0f}</text>')
    one = float(up(1.0))
    out.append(f'<path class="target-line" d="M{frame.left} {one:.1f}H{frame.edge}"/>')
    low, high = (np.clip(before + side * half, every.min(), every.max()) for side in (-1.0, 1.0))
    ground = band(rpm, low, high, across, up, gap)
    out.append(f'<path class="u-band" style="fill:var(--line-0)" d="{ground}"/>')
    out.append(f'<path style="stroke:var(--line-0)" stroke-dasharray="8 3" d="{path(rpm, before, across, up, gap)}"/>')
    out.append(f'<path style="stroke:var(--line-1)" d="{path(rpm, after, across, up, gap)}"/>')
    for b in bins:
        if b.changed and np.isfinite(b.after):
            x, y = float(across(b.rpm)), float(up(b.after))
            out.append(f'<text x="{x:.1f}" y="{y - 8:.1f}" text-anchor="middle">◆</text>')
    out.append(
        f'<text class="axis-name" x="{frame.left - 36}" y="{frame.top - 10}">lambda over target</text>'
        f'<text class="axis-name" x="{frame.middle:.0f}" y="{floor + 34}" text-anchor="middle">engine speed, rpm</text>'
    )
    return "".join(out)


def rows(compared: DriveComparison) -> list[list[str]]:
    """The rows of the table of bins."""
    labels = compared.labels
    return [
        [
            number(b.rpm),
            f"{b.pulls[0]} / {b.pulls[1]}",
            number(b.before, 3),
            number(b.after, 3),
            number(b.difference, 3, sign=True),
            f"{number(b.low, 3, sign=True)} to {number(b.high, 3, sign=True)}",
            text(b.verdict if b.bank is None else f"{b.verdict}, {labels.get(b.bank, b.bank)}"),
        ]
        for b in compared.result.every_bin
    ]


def words(answer) -> str:
    """The verdict as the report shows it."""
    return WORD.get(answer.verdict, "Not enough data")


def came_to(answer) -> str:
    """A drive's verdict with the number of its lean events."""
    events = sum(len(p.lean_events) for p in answer.judged)
    pulls = f"{len(answer.judged)} judged pull{'' if len(answer.judged) == 1 else 's'}"
    if not events:
        return f"{words(answer)}, {pulls}"
    return f"{words(answer)}, {events} lean event{'' if events == 1 else 's'} in {pulls}"


def summary(drive, answer, against: Against) -> str:
    """Before and after in a few lines for the first page."""
    compared, result = against.compared, against.compared.result
    known = [b for b in result.bins if np.isfinite(b.difference)]
    better, worse = (sum(b.verdict == verdict for b in known) for verdict in (compare.BETTER, compare.WORSE))
    some = known and (better or worse) and not own_targets(compared)
    at = (
        f" Of {len(known)} engine speeds {better} are nearer to target and {worse} further from it or leaner."
        if some
        else ""
    )
    return (
        f'<div class="against"><h2>Before and after</h2><p><strong>{text(heading(compared))}</strong>{at} '
        f"Before ({text(names.of_source(against.drive.source))}): {came_to(against.answer)}. "
        f"After ({text(names.of_source(drive.source))}): {came_to(answer)}.</p></div>"
    )


def part(compared: DriveComparison) -> str:
    """The section of the comparison: picture and table."""
    heads = ["rpm", "pulls", "before", "after", "difference", "95 %", "came to"]
    return (
        '<section id="compare" aria-labelledby="compare-title"><h2 id="compare-title">Before and after, by engine '
        "speed</h2>"
        f'<p class="sentence">{text(heading(compared))}</p>{picture(compared)}'
        f"{table(heads, rows(compared), 'lambda over target by engine speed')}"
        f"{listed([live(w) for w in told(compared)], kind='small')}</section>"
    )
