"""The assumptions behind an answer, as sentences."""

from __future__ import annotations

from collections.abc import Iterable

from ringpull.analysis.drive_state.target import Source
from ringpull.analysis.drive_state.under_load import Rule
from ringpull.analysis.drive_state.usual_targets import Usual
from ringpull.analysis.judge.reasons import Assumed, Assumption
from ringpull.said import Figure, Said, joined, kpa, say
from ringpull.wording import delay, events, needs


def assumption(one: Assumption) -> Said:
    """The sentence for one assumption."""
    v = one.values
    if one.kind is Assumed.TARGET:
        return say("target: ", target(v["source"]))
    if one.kind is Assumed.LOAD:
        return say("under load: ", load_rule(v["rule"]))
    if one.kind is Assumed.LEAN_EVENT:
        return say("lean event: ", events.RULE)
    if one.kind is Assumed.SPOOL:
        return say("spool-up: ", events.SPOOL_RULE)
    if one.kind is Assumed.DELAY:
        return say(f"delay and lag{'' if v['bank'] is None else ' of ' + v['bank']}: ", delay.source(v["source"]))
    if one.kind is Assumed.WITHOUT:
        return needs.WITHOUT[v["answer"], v["role"]]
    if one.kind is Assumed.ONE_TARGET:
        return say(
            "the target is one number: while boost builds up the mixture is rightly leaner, and will read as lean"
        )
    if one.kind is Assumed.PART:
        return say(f"{v['part'].name}: ", v["part"].source)
    return say("two banks: the leaner one is judged; the mean of a bank hides a single lean cylinder")


def lines(assumptions: Iterable[Assumption]) -> list[Said]:
    """The sentences for the assumptions, without repeats."""
    return list(dict.fromkeys(assumption(one) for one in assumptions))


def load_rule(rule: Rule) -> Said:
    """How a row is known to be under load."""
    signs = []
    if rule.throttle_pct is not None:
        signs.append(say(f"throttle at least {rule.throttle_pct:.0f} %"))
    if rule.full_kpa is not None:
        signs.append(say("manifold pressure at least ", kpa(rule.full_kpa), ", less in thinner air"))
    if rule.rising_rpm_s is not None:
        signs.append(say(f"engine speed rising by at least {rule.rising_rpm_s:.0f} rpm a second"))
    flat = ""
    if rule.no_vacuum:
        which = (
            "only boost pressure shows load" if rule.full_kpa is not None else "manifold pressure does not show load"
        )
        flat = f"; the engine makes no vacuum at idle, so {which}"
    return say(joined(signs, ", or "), flat)


def target(source: Source) -> Said:
    """The source of a target."""
    if source.usual is not None:
        return _usual(source.usual)
    return say("configured" + (f", chosen by {', '.join(source.channels)}" if source.channels else ""))


def _usual(usual: Usual) -> Said:
    full = [Figure(value, "lambda", 2) for value in usual.full]
    kind = "boosted" if usual.boosted else "naturally aspirated"
    if usual.name is None and not usual.pressure_known:
        kind += " unless manifold pressure shows boost"
    begins = "no target configured: " if usual.name is None else f"preset {usual.name}: "
    by = (
        (" to ", full[-1], " at full load, depending on the ethanol channel")
        if usual.family is None
        else (f" at full load for {usual.family}",)
    )
    return say(begins, full[0], *by, f", {kind} (common practice, no source)")
