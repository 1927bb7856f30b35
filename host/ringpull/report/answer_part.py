"""The first page: facts of the drive, the answer in a sentence, its reasons, what to do next, and the cautions."""

from __future__ import annotations

from typing import Any, NamedTuple

from ringpull.analysis.judge.reasons import Why
from ringpull.analysis.judge.verdict import ATTENTION, NO_EVENT
from ringpull.files import names
from ringpull.files.configuration import Configuration
from ringpull.files.dates import driven
from ringpull.report.words import following, listed, live, load, number, text
from ringpull.said import capital, say
from ringpull.wording import first, holes
from ringpull.wording.next_steps import next_steps
from ringpull.wording.reasons import CAUTIONS, reason

MOST_HOLES, MOST_DOUBTS = 3, 3  # that fit on the first screen with the sentence
UNTESTED = (Why.HIDDEN, Why.BLIND, Why.SPOOL_UNJUDGED)
NEVER_CUT = (Why.DOUBT, Why.STAND_IN, Why.CAR_CODES, Why.BEYOND_TARGET)
LONG = 45  # a fact with more characters has a line of its own on paper
WORD = {ATTENTION: "Attention", NO_EVENT: "No lean event found"}
SIGN = {ATTENTION: "!", NO_EVENT: "○"}


class Numbered(NamedTuple):
    """A lean event with its pull and the number that it has throughout the report."""

    number: int
    pull: Any
    event: Any


def numbered(answer) -> list[Numbered]:
    """The lean events of all judged pulls, numbered in order of time."""
    every = [(pull, event) for pull in answer.pulls if not pull.spoiled for event in pull.lean_events]
    return [Numbered(at + 1, pull, event) for at, (pull, event) in enumerate(every)]


def why(answer) -> tuple[list[str], list[str]]:
    """(reasons that make the answer less certain, other reasons) as HTML.

    A contradicted instrument is always in the first list; reasons for which it has no room go to the second.
    """
    doubts = sorted(first.doubts(answer), key=lambda one: one.kind not in NEVER_CUT)
    most = max(MOST_DOUBTS, sum(one.kind in NEVER_CUT for one in doubts))
    doubts, later = doubts[:most], doubts[most:]
    told = (*doubts, *first.told_by_sentence(answer))
    elsewhere = UNTESTED if answer.judged else ()
    rest = [one for one in answer.reasons if one.kind not in elsewhere and one not in told]
    rest = [*(one for one in later if one in rest), *(one for one in rest if one not in later)]
    first_screen, below = ([live(capital(reason(one))) for one in some] for some in (doubts, rest))
    return first_screen, below


def badge(found: Numbered) -> str:
    """The mark of a lean event, which is the same in text, curve and traces."""
    return f'<a class="badge" href="#pull-{found.pull.number}" title="lean event {found.number}">▲{found.number}</a>'


def known_facts(drive) -> list[tuple[str, str]]:
    """(name, value) of the facts for a customer; the value is empty, to be written in by hand, if it isn't recorded."""
    config = drive.sessions[0].config if drive.sessions else Configuration()
    size = ((config.engine.displacement_cc, "cc"), (config.engine.cylinders, "cyl."))
    return [
        ("vehicle", config.vehicle.name),
        ("engine", ", ".join(f"{value} {unit}" for value, unit in size if value is not None)),
        ("fuel", config.fuel.name if config.fuel else ""),
        ("customer", config.customer),
        ("date", driven(drive).words),
        ("operator", config.operator),
        ("conditions", config.conditions),
        ("note", config.note),
    ]


def title(drive) -> str:
    """The title of a drive: vehicle, date and note."""
    facts = dict(known_facts(drive))
    name = facts["vehicle"] or names.of_source(drive.source)
    return ", ".join(words[:80] for words in (name, facts["date"], facts["note"]) if words)


def head(drive) -> str:
    """The title and facts of the drive as HTML."""
    facts = known_facts(drive)
    name = dict(facts)["vehicle"] or names.of_source(drive.source)
    rows = "".join(
        f'<div class="{"blank" if not value else "long" if len(value) > LONG else ""}"><dt>{text(key)}</dt>'
        f"<dd>{text(value) or '&nbsp;'}</dd></div>"
        for key, value in facts
        if key != "vehicle"
    )
    return f'<p class="vehicle">{text(name)}</p><dl class="facts">{rows}</dl>'


def not_tested(answer, unit: str) -> list[str]:
    """What these pulls did not test, as HTML."""
    judged = answer.judged
    if not judged:
        return ["nothing was judged"]
    slow, fast = min(p.rpm_from for p in judged), max(p.rpm_to for p in judged)
    loads = [p.numbers.load_max for p in judged if p.numbers.load_max is not None]
    out = [f"engine speeds below {number(slow)} and above {number(fast)} rpm under load"]
    if loads:
        out.append(f"loads above {load(max(loads), unit)}")
    out += [live(reason(one)) for one in answer.reasons if one.kind in UNTESTED]
    out += ["part throttle, idle and cold running", "other fuel, other weather, other altitude", "knock"]
    return out


def part(answer, events: list[Numbered], unit: str, picture: str = "", against: str = "") -> str:
    """The first screen, and below it the reasons, the cautions and what was not tested, as HTML.

    picture: HTML of the curve. against: HTML of before and after, if two drives are compared.
    """
    kind = {ATTENTION: "lean", NO_EVENT: "fine"}.get(answer.verdict, "open")
    word = WORD.get(answer.verdict, "Not enough data")
    sign = SIGN.get(answer.verdict, "?")
    doubts, rest = why(answer)
    causes = [say(holes.cause(one), ".") for one in answer.holes[:1] if holes.cause(one)]
    more = first.others(answer)
    cut = (
        [f"and {len(more) - MOST_HOLES} more lean places, each with its pulls below"] if len(more) > MOST_HOLES else []
    )
    said = [following(one) for one in [*causes, *more[:MOST_HOLES]]] + cut
    steps = [following(one) for one in next_steps(answer, answer.holes)]
    below = [("Why", rest), ("Cautions", [text(c) for c in CAUTIONS]), ("Not tested", not_tested(answer, unit))]
    columns = "".join(f"<div><h2>{title}</h2>{listed(items)}</div>" for title, items in below if items)
    return (
        f'<section id="answer" class="verdict {kind}" aria-labelledby="answer-word">'
        f'<h1 id="answer-word"><span class="sign" aria-hidden="true">{sign}</span> {word}</h1>'
        f'<p class="sentence">{following(first.sentence(answer))}</p>'
        + "".join(f'<p class="cause">{one}</p>' for one in said)
        + f"{listed(doubts, kind='doubts')}{against}"
        f'<div class="screen">{picture}<div class="next"><h2>What to do next</h2>{listed(steps, "ol")}</div></div>'
        "</section>"
        f'<section id="why" aria-label="why, cautions, not tested" class="three small">{columns}</section>'
    )
