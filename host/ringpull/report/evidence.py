"""The back of the report: what was left out, how well the logger ran, the method and the assumptions."""

from __future__ import annotations

from ringpull.analysis.instruments.records import State
from ringpull.files import names
from ringpull.files.dates import began_words
from ringpull.report.words import DASH, listed, live, load, number, quantity, table, text
from ringpull.wording import assumed, calibrated, masks
from ringpull.wording import instruments as instrument_words
from shared_math import layout

MOST_ROWS = 50
MOST_ACROSS = 4  # sessions


def left_out(answer) -> str:
    """The section of what was left out: seconds of the pulls by mask, with each mask's rule."""
    rows = [
        [text(masks.title(mask)), f"{number(seconds, 2)} s", live(masks.RULES.get(mask, ""))]
        for mask, seconds in sorted(answer.left_out.items(), key=lambda item: -item[1])
    ]
    inside = (
        table(["reason", "seconds of all pulls", "rule"], rows, "left out of judgement")
        if rows
        else ("<p>Nothing was left out of the pulls.</p>")
    )
    return section("left-out", "Left out, and why", inside + "<p>A moment may be left out by several rules.</p>")


def section(key: str, title: str, inside: str) -> str:
    """A section with its heading."""
    return f'<section id="{key}" aria-labelledby="{key}-title"><h2 id="{key}-title">{title}</h2>{inside}</section>'


def instruments(answer) -> str:
    """The section of the evidence for and against each instrument, the contradicted first."""
    listed_first = sorted(answer.instruments, key=lambda one: one.state is not State.CONTRADICTED)
    several = len({one.session for one in listed_first}) > 1
    rows = [
        [
            text(one.called + (f" (session {one.session})" if several else "")),
            text(one.state.value),
            live(instrument_words.evidence(one)),
            text(instrument_words.cause(one) or DASH),
            text(instrument_words.next_step(one) or DASH),
        ]
        for one in listed_first[:MOST_ROWS]
    ]
    heads = ["channel", "state", "evidence in the drive", "likely cause", "what to do"]
    inside = "<p>No instrument could be examined.</p>"
    if rows:
        inside = table(heads, rows, "evidence for and against each instrument")
    return section("instruments", "Instruments", inside)


def _stall_words(stall_ms: int | None) -> str:
    if stall_ms == 0:
        return f"under {layout.STALL_LEAST_MS} ms"
    return _or_untold(stall_ms, " ms")


def _rest_words(rested_s: float) -> str:
    return f"; {number(rested_s / 3600, 1)} h of it at rest, neither judged nor drawn" if rested_s else ""


def _or_untold(figure: int | None, unit: str = "") -> str:
    return "not told" if figure is None else f"{figure}{unit}"


def ran(session, before_utc: str | None) -> list[str]:
    """A table row: how well the logger ran in a session. before_utc: from Drive.before_utc()."""
    timing = session.timing
    return [
        str(session.id),
        text(began_words(session, before_utc) or "clock not set"),
        f"{number(session.duration_s, 1)} s at {number(session.rate_hz)} Hz" + _rest_words(session.rested_s),
        f"{session.rows} read, {session.lost_rows} lost",
        f"{number(timing.late_us_p99)} / {number(timing.late_us_max)} µs",
        ", ".join(f"{text(name.replace('_', ' '))} {count}" for name, count in timing.rejected_edges.items()) or "none",
        _stall_words(timing.stall_ms_max),
        _or_untold(timing.heap_kb_least, " kB"),
        _or_untold(timing.supply_dips),
        text(f"{session.firmware} on {session.board}"),
    ]


def together(damage: list) -> list[list[str]]:
    """Table rows of damaged blocks; neighbouring blocks with the same reason share a row."""
    runs: list[list] = []
    for one in damage:
        last = runs[-1] if runs else None
        if last and (last[0].file, last[0].reason) == (one.file, one.reason) and one.block == last[1] + 1:
            last[1] = one.block
        else:
            runs.append([one, one.block])
    return [
        [text(one.file), str(one.block) if end == one.block else f"{one.block} to {end}", text(one.reason)]
        for one, end in runs
    ]


def calibrations(drive) -> str:
    """When each input was last calibrated or checked, as the sessions' own configurations say."""
    found: dict[tuple[str, str], list[int]] = {}
    for session in drive.sessions:
        for channel in calibrated.inputs(session.config):
            found.setdefault((channel.name, calibrated.last(channel)), []).append(session.id)
    names = [name for name, _ in found]
    rows = []
    for (name, said), sessions in found.items():
        of = "" if names.count(name) == 1 else f" (sessions {sessions[0]} to {sessions[-1]})"
        rows.append([text(name + of), text(said)])
    return table(["input", "last calibrated or checked"], rows[:MOST_ROWS], "calibration of the inputs") if rows else ""


def health(drive) -> str:
    """The section of the logger's health: timing, damage and gaps."""
    heads = ["session", "start", "length", "rows", "lateness, 99 % / most", "pulses rejected as interference"]
    heads += ["longest stall", "least free memory", f"supply below {layout.DIP_V:g} V, times", "firmware"]
    rows = [ran(session, drive.before_utc(session.id)) for session in drive.sessions[:MOST_ROWS]]
    if len(rows) <= MOST_ACROSS:  # transposed, so that the table fits a phone and paper
        heads, rows = (
            [heads[0], *(row[0] for row in rows)],
            [list(one) for one in zip(heads[1:], *(r[1:] for r in rows))],
        )
    blocks = drive.blocks
    out = (
        table(heads, rows, "sessions")
        + calibrations(drive)
        + (f"<p>Blocks: {blocks.read} read, {blocks.damaged} damaged, {blocks.missing} missing.</p>")
    )
    if len(drive.sessions) > MOST_ROWS:
        out += f"<p>{len(drive.sessions) - MOST_ROWS} more sessions are not in this table.</p>"
    gaps = [(s.id, *gap) for s in drive.sessions for gap in s.gaps()]
    if gaps:
        lines = [[str(i), f"{number(a, 2)}", f"{number(b, 2)}", text(why)] for i, a, b, why in gaps[:MOST_ROWS]]
        out += table(["session", "from s", "to s", "why"], lines, f"gaps ({len(gaps)} in all)")
    else:
        out += "<p>No gaps between rows.</p>"
    damage = drive.damage
    if damage:
        out += table(
            ["file", "blocks", "reason"], together(damage)[:MOST_ROWS], f"damaged blocks ({len(damage)} in all)"
        )
    return section("health", "Health of the logger", out)


def by_session(answer) -> str:
    """The table of delay and uncertainty of each session with pulls."""
    rows = [
        [
            str(key),
            f"{number(one['alignment']['tau_s'] * 1000)} ± {number(one['alignment']['tau_u'] * 1000)}",
            text(one["alignment"]["kind"]),
            quantity(one["uncertainty"]["random_95"], "width", 4, base=0.85),
            quantity(one["uncertainty"]["systematic_95"], "width", 4, base=0.85),
        ]
        for key, one in list(answer.sessions.items())[:MOST_ROWS]
    ]
    heads = ["session", "lag, ms", "delay", "random, 95 %", "systematic, 95 %"]
    return table(heads, rows, "delay, lag and uncertainty by session")


def method(drive, answer, unit: str) -> str:
    """The section of the method: alignment, uncertainty and assumptions."""
    alignment, budget = answer.alignment, answer.uncertainty
    out = ""
    if len(answer.sessions) > 1:
        out += "<p>Sessions differ; each was judged with its own delay, lag and uncertainty:</p>" + by_session(answer)
    if alignment:
        out += (
            "<p>A sensor reads gas that was burnt a little earlier. The delay of the exhaust pipe and the lag of the "
            "sensor were removed before anything was judged.</p>"
        )
        for name, one in alignment.get("banks", {"": alignment}).items():
            of_bank = f" of {name}" if name else ""
            out += (
                f"<p>Lag{text(of_bank)} {number(one['tau_s'] * 1000)} ± {number(one['tau_u'] * 1000)} ms; "
                f"source: {live(one['source'])}.</p>"
            )
            rows = [
                [number(rpm), load(at, unit), f"{number(delay * 1000)} ± {number(u * 1000)}"]
                for rpm, at, delay, u in one.get("delay_s_at", [])
            ]
            out += table(["rpm", "load", "delay, ms"], rows, f"delay from injection to sensor{of_bank}")
    if budget:
        rows = [
            [text(p["name"]), text(p["kind"]), quantity(p["u"], "width", 4, base=0.85), text(p["source"])]
            for p in budget.get("parts", [])
        ]
        out += table(
            ["part", "kind", "standard uncertainty", "from"],
            rows,
            f"uncertainty of lambda near {number(budget['at_lambda'], 2)}",
        )
        out += (
            f"<p>Together, for a mean over {number(budget['window_s'], 1)} s: random ± "
            f"{quantity(budget['random_95'], 'width', 4, base=0.85)}, systematic ± "
            f"{quantity(budget['systematic_95'], 'width', 4, base=0.85)} (95 %).</p>"
        )
    out += "<h3>Assumed</h3>" + listed([live(line) for line in assumed.lines(answer.assumptions)])
    out += f'<p class="quiet">Made by Ringpull from {text(names.of_source(drive.source))}.</p>'
    return section("method", "Method and assumptions", out)
