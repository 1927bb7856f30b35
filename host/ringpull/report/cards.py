"""A card for each pull; if there are very many, only those with events get a card and the others a line."""

from __future__ import annotations

from ringpull.analysis.judge.reasons import Reason, Why
from ringpull.analysis.judge.verdict import hidden
from ringpull.report import across
from ringpull.report.answer_part import Numbered, badge
from ringpull.report.words import DASH, following, listed, live, load, number, quantity, table, text
from ringpull.said import Said, capital
from ringpull.wording import events as event_words
from ringpull.wording.reasons import lean_events, reason, unanswered, unjudged

MOST_CARDS = 24


def state_of(pull, count: int) -> str:
    """The result of a pull in a few words."""
    return unjudged(pull) or lean_events(pull, count)


def mixture(numbers) -> str:
    """Mean and range of lambda in a pull; a dash if it has none."""
    mean, least, most = (
        quantity(value, "lambda", 3) for value in (numbers.lambda_mean, numbers.lambda_min, numbers.lambda_max)
    )
    return DASH if mean == DASH else f"{mean} mean, {least} to {most}"


def untold(pull) -> list[Said]:
    """The reasons that may hide lean events of a pull, and the lean events of a spoiled pull."""
    spoiled = [Reason(Why.SPOILED_LEAN, pull.number, e) for e in pull.spoiled_events]
    return [reason(one) for one in [*spoiled, *hidden(pull)]]


def card(pull, events: list[Numbered], unit: str, note: str, several_sessions: bool, go: bool = True) -> str:
    """One pull. go: with a way to its traces."""
    n = pull.numbers
    session = f"session {pull.pull.session}, " if several_sessions else ""
    open_ = unjudged(pull) or (not events and unanswered(pull))
    kind = "open" if open_ else "lean" if events else "fine"
    facts = [
        ("engine speed", f"{number(n.rpm_from)} to {number(n.rpm_to)} rpm"),
        ("load, highest", load(n.load_max, unit)),
        (
            '<span class="q-name">lambda</span>',
            mixture(n),
        ),
        ("judged", f"{number(n.judged_s, 1)} s"),
    ]
    if n.lost_s:
        facts.append(("not recorded", f"{number(n.lost_s, 2)} s (a gap)"))
    lines = [f"{badge(e)} {following(event_words.event(e.event))}" for e in events]
    hints = [live(event_words.hint(hint)) for e in events for hint in e.event.hints]
    hints += [f"{live(event_words.other(e))}, from {number(e.start_s, 2)} s" for e in n.other_events]
    hints += [live(capital(words)) for words in untold(pull)]
    way = f'<button type="button" class="go" data-pull="{pull.number}">show pull {pull.number} in the traces</button>'
    remark = f'<p class="note">note: {text(note)}</p>' if note else ""
    return (
        f'<article class="card {kind}" id="pull-{pull.number}" tabindex="-1"><h3>Pull {pull.number}'
        f'<span class="state">{state_of(pull, len(events))}</span></h3>'
        f'<p class="quiet">{session}{number(pull.pull.start_s, 2)} to {number(pull.pull.end_s, 2)} s, '
        f"{'marked with the button' if pull.pull.source == 'mark' else 'found in the signals'}</p><dl>"
        + "".join(f"<div><dt>{key}</dt><dd>{value}</dd></div>" for key, value in facts)
        + f"</dl>{listed(lines, kind='events')}{listed(hints, kind='hints')}{remark}"
        + f"{way if go else ''}</article>"
    )


def part(drive, answer, events: list[Numbered], unit: str, notes: dict[str, str]) -> str:
    """The section of all pulls."""
    of_pull: dict[int, list[Numbered]] = {}
    for one in events:
        of_pull.setdefault(one.pull.number, []).append(one)
    pulls = answer.pulls
    few = pulls
    if len(pulls) > MOST_CARDS:
        few = [p for p in pulls if p.number in of_pull][:MOST_CARDS] or pulls[:MOST_CARDS]
    several = len(drive.sessions) > 1
    cards = [card(p, of_pull.get(p.number, []), unit, notes.get(str(p.number), ""), several) for p in few]
    inside = (
        f'<div class="cards">{"".join(cards)}</div>'
        if cards
        else "<p>No pull was marked, and none was found in the signals.</p>"
    )
    inside += across.part(answer, unit)
    if len(pulls) > len(few):
        shown = {p.number for p in few}
        rows = [
            [
                f'<span id="pull-{p.number}">{p.number}</span>',
                f"{number(p.pull.start_s, 1)}",
                f"{number(p.rpm_from)}–{number(p.rpm_to)}",
                quantity(p.numbers.lambda_mean, "lambda", 3),
                quantity(p.numbers.lambda_max, "lambda", 3),
                state_of(p, len(of_pull.get(p.number, []))),
                text(notes.get(str(p.number), "")),
            ]
            for p in pulls
            if p.number not in shown
        ]
        mixture = '<span class="q-name">lambda</span>'
        heads = ["pull", "from s", "rpm", mixture + ", mean", mixture + ", highest", "came to", "note"]
        inside += f"<details><summary>{len(rows)} more pulls</summary>{table(heads, rows, 'the other pulls')}</details>"
    return f'<section id="pulls" aria-labelledby="pulls-title"><h2 id="pulls-title">Pulls</h2>{inside}</section>'
