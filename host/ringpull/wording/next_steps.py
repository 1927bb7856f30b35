"""What to do next: look at the supply or change the table, in which cell, by which factor."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from ringpull.analysis.instruments.records import Check, Instrument, State
from ringpull.analysis.judge import lamp, needs
from ringpull.analysis.judge.holes import FINE, Hole, still
from ringpull.analysis.judge.reasons import Why
from ringpull.analysis.judge.verdict import ATTENTION, NO_EVENT
from ringpull.said import Said, capital, degc, inner, kpa, say
from ringpull.wording import holes as hole_words
from ringpull.wording import refused
from ringpull.wording.instruments import next_step, untested_boost

MOST_NAMED = 4  # pulls that are listed by number; more are only counted
BELOW_LIMITER_RPM = 200
RICH_SHARE = 0.02  # share of target: a bank richer than this is said to be rich, not on target
MOST_STEP = 0.05  # largest share by which one correction changes the fuel, if the map gives no factor
STOP = say("No more full-throttle pulls until the cause is found.")
AGAIN = say("Then do three pulls under the same conditions and compare them with this drive (ringpull compare).")
THREE_PULLS = say(
    "Do three pulls in one gear, from low engine speed to just below the limiter, pressing the button before each."
)
NO_TABLE = say("Then drive again. Change nothing in the table by this drive.")
LOG_MISSING = say(
    "Log the missing channels. If one of them is logged but never valid, look at its trace, then at its wiring and its "
    "line in logger.json (ringpull check)."
)
KEY_ON = "Key on, engine off: compare the controller's display with the logger once more."
COMES_AND_GOES = "look for an intermittent fault: a loose plug, an injector, a misfire, the sensor's wires"


def next_steps(answer: Any, holes: Sequence[Hole]) -> list[Said]:
    """What to do, in order. answer: analysis.answer.Answer, or an object with its verdict, reasons and pulls."""
    if not any(one.kind is Why.REFUSED_CONFIG for one in answer.reasons):
        return of_answer(answer, holes)
    if answer.reasons[0].kind is not Why.REFUSED_CONFIG:
        return [*of_answer(answer, holes), refused.STEP]
    if answer.verdict == ATTENTION:
        return [STOP, refused.STEP]
    nothing_read = any(one.kind is Why.MISSING for one in answer.reasons)
    return [refused.STEP, *([] if nothing_read else of_answer(answer, holes))]


def of_answer(answer: Any, holes: Sequence[Hole]) -> list[Said]:
    """What to do about an answer, in order, as far as the configurations could be used."""
    if answer.verdict == ATTENTION and holes:
        return [STOP, *of_sensors(answer, holes[0]), *of_target(answer), AGAIN]
    doubted = [one.values["instrument"] for one in answer.reasons if one.kind is Why.DOUBT]
    if answer.verdict == ATTENTION and answer.reasons[0].kind is Why.DOUBT:
        return [
            *mended(doubted),
            *of_lamp(lamp_rests_on(answer)),
            STOP,
            say("Then drive gently, and see that the reading is right, before the next pull."),
        ]
    if answer.verdict == ATTENTION:
        return [STOP, say("Look at the traces at that moment: lambda, load, fuel pressure, supply."), AGAIN]
    if answer.verdict == NO_EVENT:
        return [
            *of_unmarked(answer),
            *of_target(answer),
            *of_boost(answer),
            *of_ground(answer),
            say("Keep this file, to compare later drives with it."),
            say("Repeat after every change to fuel, boost or hardware, and in other weather."),
        ]
    lacking = needs.everywhere([p.judged.columns for p in answer.pulls], needs.LEAN_EVENTS)
    explains_it = any(f.check in (Check.WIRE, Check.KNOWN) for one in doubted for f in one.against)
    if lacking and not explains_it:
        return [LOG_MISSING, THREE_PULLS]
    if doubted:
        return [
            *mended(doubted),
            *([LOG_MISSING] if set(lacking) - {one.role for one in doubted} else []),
            say("Then drive again: nothing in this drive shows that the mixture is right."),
            *of_target(answer),
        ]
    fuel = next((one.values["family"] for one in answer.reasons if one.kind is Why.NO_TARGET), None)
    if fuel is not None:
        return [
            say("Enter the target that whoever built the engine wants (ringpull setup), or judge by a usual one of its "
                f"kind: --target-preset {fuel}-natural, or {fuel}-boosted. Then judge this drive again; it need not be "
                "driven again.")
        ]  # fmt: skip
    if any(one.kind is Why.BEYOND_TARGET for one in answer.reasons):
        return [
            say(
                "Give the whole target: one table up to the highest load and engine speed of these pulls, loads in kPa "
                "absolute or percent of throttle opening, speeds in rpm. Then judge this drive again; it need not be "
                "driven again."
            )
        ]
    return [say("See what was left out, and why."), THREE_PULLS]


def lamp_rests_on(answer: Any) -> list[str]:
    """The contradicted channels by which the lamp warned of what could not be judged."""
    warned = [one.values["warned"] for one in answer.reasons if one.kind is Why.LAMP]
    return list(dict.fromkeys(name for one in warned if one.came_to == lamp.UNJUDGED for name in one.rests_on))


def of_lamp(rests: list[str]) -> list[Said]:
    """What a lamp's word is worth that rests on contradicted channels."""
    if not rests:
        return []
    return [
        say(f"The lean lamp's word rests on {listed(rests)}: mend that first, before you believe the lamp or take it "
            "for false.")
    ]  # fmt: skip


def mended(doubted: Sequence[Instrument]) -> list[Said]:
    """What to do about contradicted instruments, each once."""
    return list(dict.fromkeys(capital(say(f"{one.called}: {next_step(one)}.")) for one in doubted))


def of_sensors(answer: Any, hole: Hole) -> list[Said]:
    """What to do about a hole, and before it about each lambda sensor that is contradicted: by the figures of one that
    is, nothing is changed in the table."""
    against = [one for one in answer.instruments if one.state is State.CONTRADICTED]
    wrong = [one for one in against if one.role == "lambda"]
    references = [one for one in against if one.role == "reference"]
    if references:  # every input is in doubt, the supply's too
        return [*mended([*references, *wrong]), NO_TABLE]
    unmoved = any(still(pull.judged.columns, "fuel_pressure") for pull in answer.pulls)
    if not wrong:
        return of_hole(hole, unmoved)
    mend = [
        say(f"{capital(say(one.called))} can't be believed in this drive: {next_step(one)}. Compare its volts and "
            "values in logger.json with the controller's manual too (ringpull check).")
        for one in {one.called: one for one in wrong}.values()
    ]  # fmt: skip
    supply = hole_words.fell(hole) is not None or any(
        (one.role or one.kind) in ("battery", "duty") for one in hole.hints
    )
    rest = of_hole(hole, unmoved) if supply else [NO_TABLE]
    return [*mend, *rest]


def of_target(answer: Any) -> list[Said]:
    """What a target that nobody configured means for the answer."""
    usual = [pull.judged.target_source.usual for pull in answer.pulls]
    if not any(one is not None and one.name is None for one in usual):
        return []
    return [
        say("No target is configured: the pulls were held against one of common practice, without a source. Enter the "
            "one that whoever built the engine wants (ringpull setup), and judge this drive again.")
    ]  # fmt: skip


def of_ground(answer: Any) -> list[Said]:
    """What else tells a signal ground that broke: where nothing in the log does, only the controller's display."""
    sensors = [one for one in answer.instruments if one.role == "lambda"]
    if sensors and all(any(f.check is Check.WIRE and f.state is State.SOUND for f in one.findings) for one in sensors):
        return [say(KEY_ON)]
    return [
        say(f"{KEY_ON} A signal ground that broke in this drive can make the log 0.2 too rich, and no log shows that.")
    ]


def of_unmarked(answer: Any) -> list[Said]:
    """What to do about runs as fast as the pulls that nobody marked: they may be as lean as any."""
    if not any(one.kind is Why.UNMARKED for one in answer.reasons):
        return []
    return [
        say("Press the button before every full-throttle run, or log throttle or pressure: the runs that nobody marked "
            "are not judged, and this answer says nothing of them.")
    ]  # fmt: skip


def of_boost(answer: Any) -> list[Said]:
    """What to do about a pressure that no evidence tests with boost: the target goes by it there."""
    known = [(one.called, untested_boost(one)) for one in answer.instruments]
    return list(dict.fromkeys(say(capital(say(name)), ": ", words, ".") for name, words in known if words is not None))


def of_hole(hole: Hole, unmoved: bool = False) -> list[Said]:
    """Where to look and what to change for one hole. unmoved: fuel pressure is logged and never changed."""
    moved = {one.role or one.kind: one for one in hole.hints}
    if "never measured" in moved:
        return [say("Check the sensor first: in free air, or with a wire off, it reads lean whatever the engine does.")]
    out = [*of_bank(hole)]
    pressure = hole_words.fell(hole)
    if pressure is not None:
        how = "fell by" if pressure.kind == "moved" else "was low by"
        return [
            *out,
            say("Fuel supply first: pressure ", how, " ", kpa(pressure.size), " there. Check the pump and its supply "
                "voltage, the filter, the lines, the regulator and the level in the tank."),
            say("Leave the table (", hole_words.cell(hole), ") alone until the pressure holds."),
        ]  # fmt: skip
    if "battery" in moved:
        return [
            *out,
            say(f"Supply voltage first: it fell by {moved['battery'].size:.1f} V there, so injectors open later and "
                "the pump slows down. Check the alternator, earth straps, fuses and relays."),
            say("Leave the table (", hole_words.cell(hole), ") alone until the voltage holds."),
        ]  # fmt: skip
    if "duty" in moved:
        return [
            *out,
            say(f"Injector duty reached {moved['duty'].size:.0%}: a richer table would hardly add fuel. Fit larger "
                "injectors, raise the fuel pressure or lower the boost."),
        ]  # fmt: skip
    if "boost" in moved:
        out.append(say("Boost control first: boost was ", kpa(moved["boost"].size), " above its target there."))
    if "intake" in moved:
        out.append(
            say("The intake air warmed by ", degc(moved["intake"].size, change=True), " there: look at that as well.")
        )
    return [*out, *at_limiter(hole), table(hole, unmoved)]


def at_limiter(hole: Hole) -> list[Said]:
    """What to rule out first if engine speed stayed at its highest: a limiter that cuts fuel reads lean."""
    if not hole.at_limiter:
        return []
    return [
        say("First rule out the limiter: if it cuts fuel, lambda reads lean there, and no table mends that. End the "
            f"next pulls {BELOW_LIMITER_RPM} rpm earlier, and leave the table alone if the lean place is then gone.")
    ]  # fmt: skip


def of_bank(hole: Hole) -> list[Said]:
    """Where to look if only one bank is lean: at the parts that the banks do not share."""
    if hole.other != FINE:
        return []
    return [
        say(f"{capital(say(hole.other_label))} was {on_target(hole.other_share)} there. First check the parts of "
            f"{inner(hole.event.bank_label)} alone: injectors, plugs, rail, an exhaust leak before its sensor, the "
            "sensor itself.")
    ]  # fmt: skip


def on_target(share: float) -> str:
    """A bank that is not lean: "on target", or how rich it is. share: its lambda above target as a share of it."""
    return f"{-100 * share:.0f} % rich" if share < -RICH_SHARE else "on target"


def table(hole: Hole, unmoved: bool) -> Said:
    """What to do if no supply fell: what the other pulls show, then cell and factor of the table. unmoved: as in
    `of_hole`."""
    place = say(hole_words.cell(hole), ", ", hole_words.factor(hole, MOST_STEP))
    logged = "fuel_pressure" in hole.held
    begin = "Measure fuel pressure first: this drive does not show that it held"
    if logged:
        begin = "Fuel pressure did not fall"
    elif unmoved:
        begin = "Measure fuel pressure with a gauge first: the logged one does not move, so its sensor may be dead"
    if hole.other == FINE:  # one bank alone: the table is the last thing to change
        shared = f"; it feeds both banks, so {inner(hole.other_label)} becomes as much richer."
        return say(begin, ". Only if those parts prove sound, correct the table: ", place, shared)
    if not hole.fine:
        every = "" if len(hole.pulls) == 1 else ", and every pull that was judged there was lean"
        if logged:
            return say(begin, every, ", so correct the table: ", place, ".")
        return say(begin, every, ". If it holds, correct the table: ", place, ".")
    return say(
        begin, f", {which(hole)} on target there: {COMES_AND_GOES}. If it comes back, correct the table: ", place, "."
    )


def which(hole: Hole) -> str:
    """The pulls that were on target, as the subject of a sentence with its verb."""
    numbers = [str(number) for number in hole.fine]
    if len(hole.fine) == hole.of - len(hole.pulls) > 1:
        return "and the other pulls were"
    if len(numbers) > MOST_NAMED:
        return f"and {len(numbers)} of {hole.of} pulls were"
    return f"and pull{'s' if len(numbers) > 1 else ''} {listed(numbers)} {'were' if len(numbers) > 1 else 'was'}"


def listed(words: list[str]) -> str:
    """The words as a list in a sentence: "1, 2 and 3"."""
    return " and ".join([", ".join(words[:-1]), words[-1]] if len(words) > 1 else words)
