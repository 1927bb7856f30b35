"""The first page: who and what, the answer in a sentence, its reasons, what to do next, and the cautions."""

from __future__ import annotations

from typing import Any, NamedTuple

from ringpull.analysis.judge import needs
from ringpull.analysis.judge.lean_events import LEAST_DEPTH
from ringpull.analysis.judge.reasons import Why
from ringpull.analysis.judge.verdict import ATTENTION, NO_EVENT
from ringpull.report.words import DASH, listed, live, load, mixture_name, number, quantity, text
from ringpull.said import capital
from ringpull.wording import events as event_words
from ringpull.wording.instruments import next_step
from ringpull.wording.reasons import CAUTIONS, reason

MOST_EVENTS = 4
MOST_NAMED = 4  # pulls
LONG = 45  # letters of a fact that has a line of its own on paper
THREE_PULLS = "Drive three pulls in one gear, from low speed to the limit, a press of the button before each."
WORD = {ATTENTION: "Attention", NO_EVENT: "No lean event found"}
SIGN = {ATTENTION: "!", NO_EVENT: "○"}


class Numbered(NamedTuple):
    """A lean event with the number it has all over the report, and its pull."""

    number: int
    pull: Any
    event: Any


def numbered(answer) -> list[Numbered]:
    """The lean events of all pulls that are judged, numbered through in the order of time."""
    every = [(pull, event) for pull in answer.pulls if not pull.spoiled for event in pull.lean_events]
    return [Numbered(at + 1, pull, event) for at, (pull, event) in enumerate(every)]


def target_at(pull, event) -> float:
    """The target where an event is deepest."""
    columns = pull.judged.columns
    row = columns.rows(event.deepest_s, event.deepest_s + 2 * columns.period_s).start
    return float(pull.judged.target[min(row, len(columns) - 1)])


def where(pull, event, unit: str) -> str:
    """By how much, where and for how long, as HTML."""
    base = target_at(pull, event)
    least = "at least " if event.bound else ""
    at_load = (
        ""
        if event.load_from is None
        else f", load {load(event.load_from, unit, bare=True)} to {load(event.load_to, unit)}"
    )
    return (
        f"{least}{quantity(event.depth, 'difference', 3, base=base)} ± "
        f"{quantity(event.depth_u, 'width', 3, base=base)} "
        f"(random) ± {quantity(event.systematic_u, 'width', 3, base=base)} (systematic) "
        f"{mixture_name()} against target {quantity(base, 'lambda', 2)}, at "
        f"{number(event.deepest_rpm)} rpm ({number(event.rpm_from)} to {number(event.rpm_to)} rpm{at_load}), "
        f"for {number(event.length_s, 2)}&nbsp;s"
        f"{'' if event.bank is None else ', on ' + text(event.bank)}"
    )


def headline(answer, events: list[Numbered], unit: str) -> str:
    """The answer in a sentence."""
    judged = answer.judged
    if answer.verdict == ATTENTION and events:
        deepest = max(events, key=lambda n: n.event.depth)
        lean = sorted({n.pull.number for n in events})
        more = f" {len(lean)} of {len(judged)} pulls were lean somewhere." if len(lean) > 1 else ""
        return f"Pull {deepest.pull.number} was lean: {where(deepest.pull, deepest.event, unit)}.{more}"
    if answer.verdict == NO_EVENT:
        slow, fast = min(p.rpm_from for p in judged), max(p.rpm_to for p in judged)
        pulls = "1 pull" if len(judged) == 1 else f"{len(judged)} pulls"
        return f"No lean event found in {pulls}, {number(slow)} to {number(fast)} rpm."
    if answer.verdict == ATTENTION:
        return f"{live(capital(reason(answer.reasons[0])))}."
    doubted = list(dict.fromkeys(one.values["instrument"].channel for one in answer.reasons if one.kind is Why.DOUBT))
    if doubted:
        return f"No answer: {text(joined(doubted))} {'is' if len(doubted) == 1 else 'are'} contradicted by the drive."
    if judged:
        what = "No lean event in what was judged, but a lean event elsewhere in these pulls would not show: "
        return f"{what}{live(reason(answer.reasons[0]))}."
    return "There is not enough here for an answer."


def reasons(answer, events: list[Numbered], unit: str) -> list[str]:
    """The reasons as HTML; those about events carry numbers that follow the units."""
    out = []
    for one in answer.reasons:
        found = next((n for n in events if one.kind is Why.LEAN and n.event is one.event), None)
        if found is None:
            out.append(live(reason(one)))
        elif found.number <= MOST_EVENTS:
            hints = "".join(f" {live(capital(event_words.hint(hint)))}." for hint in found.event.hints)
            out.append(f"{badge(found)} pull {found.pull.number}: {where(found.pull, found.event, unit)}.{hints}")
    if len(events) > MOST_EVENTS:
        out.insert(MOST_EVENTS, f"and {len(events) - MOST_EVENTS} more lean events, each with its pull below")
    return out


def badge(found: Numbered) -> str:
    """The mark of a lean event, the same in text, curve and traces."""
    return f'<a class="badge" href="#pull-{found.pull.number}" title="lean event {found.number}">▲{found.number}</a>'


def next_steps(answer, events: list[Numbered]) -> list[str]:
    """What to do now, in order."""
    if answer.verdict == ATTENTION and events:
        deepest = max(events, key=lambda n: n.event.depth)
        steps = ["Do no more full-throttle pulls until the cause is found.", look_first(answer, deepest)]
        deepest = deepest.event
        steps.append(
            f"If fuel supply is sound, enrich the table around {number(deepest.deepest_rpm)} rpm in small steps."
        )
        steps.append("Then repeat three pulls under the same conditions and compare with this drive.")
        return steps
    if answer.verdict == ATTENTION:
        return [
            "Do no more full-throttle pulls until the cause is found.",
            "Look at the traces at that moment: lambda, load, fuel pressure, supply.",
            "Then repeat three pulls under the same conditions and compare with this drive.",
        ]
    if answer.verdict == NO_EVENT:
        return [
            "Keep this file: it is the drive that later ones are compared with.",
            "Repeat after every change to fuel, boost or hardware, and in other weather.",
        ]
    steps = ["Look below at what was left out and why."]
    if needs.everywhere([p.judged.columns for p in answer.pulls], needs.LEAN_EVENTS):
        steps = [
            "Log what is missing. A channel that is logged but never valid: look at its trace below, then at its "
            "wiring "
            "and its line in logger.json (ringpull check)."
        ]
        return [*steps, THREE_PULLS]
    doubted = [one.values["instrument"] for one in answer.reasons if one.kind is Why.DOUBT]
    if doubted:
        return [
            *dict.fromkeys(f"{one.channel}: {next_step(one)}." for one in doubted),
            "Then drive again: nothing of this drive says that the mixture is right.",
        ]
    return [*steps, THREE_PULLS]


def joined(words: list[str]) -> str:
    """ "1, 2 and 3"."""
    return " and ".join([", ".join(words[:-1]), words[-1]] if len(words) > 1 else words)


def look_first(answer, found: Numbered) -> str:
    """Where to look, by what the other pulls did at the speeds of an event."""
    speeds = found.event.rpm_from, found.event.rpm_to
    others = [(p.number, p.excess_between(*speeds)) for p in answer.judged if p.number != found.pull.number]
    there = [(number, excess) for number, excess in others if excess is not None]
    fine = [str(number) for number, excess in there if excess < LEAST_DEPTH / 2.0]
    if not there:
        return "No other pull was judged at those speeds: look at fuel pressure first, then at the table."
    if not fine:
        return "Every pull that was judged at those speeds shows it: look at fuel pressure first, then at the table."
    if len(others) == len(fine) > 1:
        which = "The other pulls were"
    elif len(fine) > MOST_NAMED:
        which = f"{len(fine)} of the {len(there)} other pulls that were judged at those speeds were"
    else:
        which = f"Pull{'s' if len(fine) > 1 else ''} {joined(fine)} {'were' if len(fine) > 1 else 'was'}"
    return (
        f"{which} on target there, so look for what comes and goes first: fuel pressure, pump supply, a loose plug, "
        "the "
        "level in the tank; look at the traces at the event."
    )


def known_facts(drive) -> list[tuple[str, str]]:
    """(name, value) of what a customer wants on paper; what was not recorded is left to be written in by hand."""
    config = drive.sessions[0].config if drive.sessions else {}
    vehicle = config.get("vehicle") or {}
    engine = config.get("engine") or {}
    words = [
        f"{engine[key]} {unit}" for key, unit in (("displacement_cc", "cc"), ("cylinders", "cyl.")) if key in engine
    ]
    dates = [s.start_utc for s in drive.sessions if s.start_utc]
    return [
        ("vehicle", vehicle.get("name") or ""),
        ("engine", ", ".join(words)),
        ("fuel", (config.get("fuel") or {}).get("name") or ""),
        ("customer", config.get("customer") or ""),
        ("date", dates[0] if dates else ""),
        ("operator", config.get("operator") or ""),
        ("conditions", config.get("conditions") or ""),
        ("note", config.get("note") or ""),
    ]


def head(drive) -> str:
    """Title and the facts of the drive."""
    facts = known_facts(drive)
    name = dict(facts)["vehicle"] or drive.source.name
    rows = "".join(
        f'<div class="{"blank" if not value else "long" if len(value) > LONG else ""}"><dt>{text(key)}</dt>'
        f"<dd>{text(value) or '&nbsp;'}</dd></div>"
        for key, value in facts
        if key != "vehicle"
    )
    return f'<p class="vehicle">{text(name)}</p><dl class="facts">{rows}</dl>'


def not_tested(answer, unit: str) -> list[str]:
    """What these pulls say nothing about, as HTML."""
    judged = answer.judged
    if not judged:
        return ["nothing was judged"]
    slow, fast = min(p.rpm_from for p in judged), max(p.rpm_to for p in judged)
    loads = [p.numbers.load_max for p in judged if p.numbers.load_max is not None]
    out = [f"engine speeds below {number(slow)} and above {number(fast)} rpm under load"]
    if loads:
        out.append(f"loads above {load(max(loads), unit)}")
    out += [live(reason(one)) for one in answer.reasons if one.kind in (Why.HIDDEN, Why.BLIND, Why.SPOOL_UNJUDGED)]
    out += ["part throttle, idle and cold running", "other fuel, other weather, other altitude", "knock"]
    return out


def part(answer, events: list[Numbered], unit: str, against: str = "") -> str:
    """The whole first section. against: HTML of before and after, where there are two drives."""
    kind = {ATTENTION: "lean", NO_EVENT: "fine"}.get(answer.verdict, "open")
    word = WORD.get(answer.verdict, "Not enough data")
    sign = SIGN.get(answer.verdict, "?")
    return (
        f'<section id="answer" class="verdict {kind}" aria-labelledby="answer-word">'
        f'<h1 id="answer-word"><span class="sign" aria-hidden="true">{sign}</span> {word}</h1>'
        f'<p class="sentence">{headline(answer, events, unit)}</p>{against}'
        f'<div class="pair"><div><h2>Why</h2>{listed(reasons(answer, events, unit)) or DASH}</div>'
        f"<div><h2>What to do next</h2>{listed([text(s) for s in next_steps(answer, events)], 'ol')}</div></div>"
        f'<div class="pair small"><div><h2>Cautions</h2>{listed([text(c) for c in CAUTIONS])}</div>'
        f"<div><h2>Not tested</h2>{listed(not_tested(answer, unit))}</div></div></section>"
    )
