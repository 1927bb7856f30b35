"""The answer as lines for a terminal, shared by all commands that print it."""

from __future__ import annotations

import shutil
import textwrap
from collections.abc import Iterable

from ringpull.wording import first
from ringpull.wording.next_steps import next_steps
from ringpull.wording.reasons import CAUTIONS, lean_events, unjudged

WIDE, NARROW = 110, 80  # characters


def answer_lines(found) -> list[str]:
    """All of an analysis.answer.Answer: pulls, verdict with sentence, cause and reasons, next steps, cautions."""
    several = len({pull.pull.session for pull in found.pulls}) > 1
    return [*[pull_line(pull, several) for pull in found.pulls], "", *verdict_lines(found), "", *CAUTIONS]


def verdict_lines(found) -> list[str]:
    """The verdict with its sentence, cause and reasons, and the next steps."""
    return [
        f"Verdict: {found.verdict}",
        *items(dict.fromkeys([*first.lines(found), *states(found)])),
        "What to do next:",
        *items(next_steps(found, found.holes)),
    ]


def states(found) -> list[str]:
    """How long each channel was in one of its configured states, over the sessions that have pulls."""
    seconds: dict[tuple[str, str], float] = {}
    for columns in {id(p.judged): p.judged.columns for p in found.pulls}.values():
        for key, flags in columns.states.items():
            seconds[key] = seconds.get(key, 0.0) + float(flags.sum()) * columns.period_s
    return [f"{channel} was in state {state!r} for {s:.1f} s" for (channel, state), s in seconds.items() if s > 0]


def items(sentences: Iterable[str]) -> list[str]:
    """The sentences as list items, wrapped to the width of the window."""
    wide = max(NARROW, min(WIDE, shutil.get_terminal_size((WIDE, 24)).columns))
    wrap = textwrap.TextWrapper(wide, initial_indent="  - ", subsequent_indent="    ", break_on_hyphens=False)
    return [line for sentence in sentences for line in wrap.wrap(sentence)]


def pull_line(pull, with_session: bool = False) -> str:
    """The line for one analysis.answer.PullAnswer. with_session: whether to name its session."""
    n = pull.numbers
    session = f" of session {pull.pull.session}" if with_session else ""
    head = f"pull {pull.number}{session}: {pull.pull.start_s:.2f}-{pull.pull.end_s:.2f} s"
    why = unjudged(pull)
    if why is not None:
        return f"{head}, {why}"
    load = "" if n.load_max is None else f", load up to {n.load_max:.0f} {pull.judged.columns.load_unit}".rstrip()
    long_s = pull.pull.end_s - pull.pull.start_s
    return (
        f"{head}, {n.rpm_from:.0f}-{n.rpm_to:.0f} rpm{load}, lambda mean {n.lambda_mean:.3f} "
        f"({n.lambda_min:.3f} to {n.lambda_max:.3f}), {n.judged_s:.1f} of {long_s:.1f} s judged: "
        f"{lean_events(pull, len(pull.lean_events))}"
    )
