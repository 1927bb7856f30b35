"""The evidence of a drive for or against its instruments, as sentences, with likely cause and next step."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from math import isfinite
from typing import Any

from ringpull.analysis.instruments.records import Cause, Check, Finding, Instrument, State
from ringpull.analysis.instruments.trust import StandIn
from ringpull.said import Figure, Said, capital, joined, kpa, lam, say
from shared_math import plausible

Figures = Mapping[str, Any]  # the figures of a finding: numbers, sometimes a unit or a name


def _lambda(value: float, digits: int = 2) -> Figure:
    return Figure(value, "lambda", digits)


def _times(count: float) -> str:
    return "once" if count == 1 else f"{count:.0f} times"


def _moves(f: Figures) -> Said:
    return say("stood still at ", _lambda(f["at"], 3), f" for {f['seconds']:.1f} s while the load moved")


def _stuck(f: Figures) -> Said:
    where = f" {f['times']:.0f} times" if f["times"] > 1 else ""
    return say(
        f"stood still{where} under load for {f['seconds']:.1f} s in all, at ", _lambda(f["at"], 3),
        f", while engine speed went from {f['rpm_low']:.0f} to {f['rpm_high']:.0f} rpm",
    )  # fmt: skip


def _cuts(f: Figures) -> Said:
    return say(f"answered {f['answered']:.0f} of {f['cuts']:.0f} fuel cuts")


def _quick(f: Figures) -> Said:
    words = []
    if isfinite(f["tail_s"]):
        words.append(f"takes {f['tail_s']:.1f} s to settle after a fuel cut")
    if isfinite(f["behind_s"]):
        words.append(f"follows its target {f['behind_s']:.1f} s late")
    return say(" and ".join(words))


def _rich(f: Figures) -> Said:
    return say("reads ", lam(f["off"], sign=True), f" off its target under load, over {f['seconds']:.1f} s")


def _cruise(f: Figures) -> Said:
    return say(
        "reads ", _lambda(f["lambda"]), f" over {f['seconds']:.0f} s of steady cruise where the target is ",
        _lambda(f["target"]),
    )  # fmt: skip


def _steps(f: Figures) -> Said:
    return say(
        f"jumped {_times(f['steps'])} in {f['seconds']:.0f} s under load, faster than gas and sensor can, by up to ",
        lam(f["largest"], 2),
    )


def _dead(f: Figures) -> Said:
    return say(f"gave no reading, or the rich end of its range, for {f['seconds']:.1f} s while the engine ran")


def _in_air(f: Figures) -> Said:
    return say(f"was at the lean end of its range for {100 * f['share']:.0f} % of the time the engine ran")


def _banks(f: Figures) -> Said:
    return say("moves by ", lam(f["own"]), ", the other bank by ", lam(f["other"]), ", and not together")


def _twins(f: Figures) -> Said:
    return say("reads the same as the other bank, to within ", lam(f["apart"], 4))


def _ambient(f: Figures) -> Said:
    around = (
        say("the ambient channel reads ", kpa(f["around"]))
        if isfinite(f["around"])
        else say(f"the surrounding air has {plausible.AMBIENT_LEAST_KPA} to ", kpa(plausible.AMBIENT_MOST_KPA))
    )
    return say("reads ", kpa(f["kpa"]), " with the engine stopped, but ", around)


def _limits(f: Figures) -> Said:
    return say(
        f"reads {f['least']:.1f} to ", kpa(f["most"], 1), " with the engine running: impossible for manifold pressure"
    )


def _follows(f: Figures) -> Said:
    return say(
        f"did not follow {f['failed']:.0f} of {f['closings'] + f['openings']:.0f} closings and openings of the "
        f"throttle: {f['closed']:.0f} with it closed, ", kpa(f["full"]), " with it wide open",
    )  # fmt: skip


def _prompt(f: Figures) -> Said:
    return say(f"took {f['seconds']:.1f} s to fall by half after {f['closings']:.0f} closings of the throttle")


def _at_idle(f: Figures) -> Said:
    return say(
        f"reads {f['high']:.0f} at {f['failed']:.0f} of {f['idles']:.0f} idles, and ", kpa(f["low"]), " at the others"
    )  # fmt: skip


def _boost(f: Figures) -> Said:
    return say(
        "reads ", kpa(f["shown"]), " where injector time and lambda tell of ", kpa(f["told"]),
        f", by what they tell below the pressure of the surrounding air ({f['seconds']:.1f} s)",
    )  # fmt: skip


def _swings(f: Figures) -> Said:
    return say(
        f"stays between {f['low']:.1f} and {f['high']:.1f} while engine speed goes from {f['rpm_low']:.0f} to "
        f"{f['rpm_high']:.0f} rpm"
    )


def _top(f: Figures) -> Said:
    return say("stayed at ", kpa(f["at"]), f", the top of its range, for {f['seconds']:.1f} s")


def _flat(f: Figures) -> Said:
    return say(f"stayed flat at {f['at']:.3g} for {f['seconds']:.1f} s, below the top of its range")


def _coarse(f: Figures) -> Said:
    return say(f"moves in steps of {f['step']:.2g}")


def _breaks(f: Figures) -> Said:
    return say(f"dropped out {_times(f['breaks'])}, for {f['seconds']:.1f} s in all while the engine ran")


def _closes(f: Figures) -> Said:
    return say(
        f"reads {f['rest']:.0f} to {f['open']:.0f} % at {f['moments']:.0f} moments when the engine shows that it is "
        "closed"
    )


def _opens(f: Figures) -> Said:
    if f["rises"]:
        return say(f"read closed while the engine pulled {_times(f['rises'])}")
    full = say(" while the manifold reached ", kpa(f["kpa"])) if isfinite(f["kpa"]) else say("")
    return say(f"opened to {f['most']:.0f} % at most", full)


def _idle(f: Figures) -> Said:
    least, most = plausible.IDLE_LEAST_RPM, plausible.IDLE_MOST_RPM
    return say(f"reads {f['rpm']:.0f} rpm at idle; engines idle at {least} to {most}")


def _agrees(f: Figures) -> Said:
    return say(f"{f['other']} reads {f['ratio']:.2f} times as high")


def _gear(f: Figures) -> Said:
    return say(
        f"engine speed is {f['ratio']:.1f} rpm per km/h under load; the nearest configured gear has {f['nearest']:.1f}"
    )


def _supply(f: Figures) -> Said:
    return say(f"reads {f['volts']:.1f} V with the engine running")


def _wire(f: Figures) -> Said:
    against = "its signal wire has against the logger's own ground"
    if isfinite(f["share"]):
        return say(f"reads {f['share']:.2f} of the volts that {against}, for {f['seconds']:.1f} s")
    return say(f"differs by {f['apart_v']:.2f} V from what {against}, for {f['seconds']:.1f} s")


def _known(f: Figures) -> Said:
    value = f"reads {f['value']:.4g}" if isfinite(f["value"]) else "gives no reading"
    return say(f"{value} for {f['seconds']:.1f} s where it must read {f['low']:g} to {f['high']:g}")


AGAINST: dict[Check, Callable[[Figures], Said]] = {
    Check.MOVES: _moves,
    Check.STUCK: _stuck,
    Check.CUTS: _cuts,
    Check.QUICK: _quick,
    Check.RICH: _rich,
    Check.CRUISE: _cruise,
    Check.STEPS: _steps,
    Check.DEAD: _dead,
    Check.IN_AIR: _in_air,
    Check.BANKS: _banks,
    Check.TWINS: _twins,
    Check.AMBIENT: _ambient,
    Check.LIMITS: _limits,
    Check.FOLLOWS: _follows,
    Check.PROMPT: _prompt,
    Check.AT_IDLE: _at_idle,
    Check.BOOST: _boost,
    Check.SWINGS: _swings,
    Check.TOP: _top,
    Check.FLAT: _flat,
    Check.COARSE: _coarse,
    Check.BREAKS: _breaks,
    Check.CLOSES: _closes,
    Check.OPENS: _opens,
    Check.IDLE: _idle,
    Check.AGREES: _agrees,
    Check.GEAR: _gear,
    Check.SUPPLY: _supply,
    Check.WIRE: _wire,
    Check.KNOWN: _known,
}
FOR: dict[Check, Callable[[Figures], Said]] = {
    Check.MOVES: lambda f: say("moves with the load"),
    Check.CUTS: _cuts,
    Check.QUICK: _quick,
    Check.CRUISE: _cruise,
    Check.AMBIENT: lambda f: say("reads ", kpa(f["kpa"]), " with the engine stopped"),
    Check.FOLLOWS: lambda f: say(f"follows {f['closings'] + f['openings']:.0f} closings and openings of the throttle"),
    Check.BOOST: lambda f: say("goes with injector time and lambda up to ", kpa(f["to"])),
    Check.SWINGS: lambda f: say("moves with the engine"),
    Check.CLOSES: lambda f: say(f"reads {round(f['rest'])} % when closed"),
    Check.OPENS: lambda f: say(f"opens to {f['most']:.0f} %"),
    Check.IDLE: lambda f: say(f"reads {f['rpm']:.0f} rpm at idle"),
    Check.AGREES: lambda f: say(f"agrees with {f['other']}"),
    Check.GEAR: lambda f: say("fits the configured gears"),
    Check.SUPPLY: _supply,
    Check.BANKS: lambda f: say("moves with the other bank"),
    Check.WIRE: lambda f: say("agrees with its signal wire against the logger's own ground"),
    Check.KNOWN: lambda f: say(f"reads {f['value']:.4g}, as it must"),
}
CAUSES = {
    Cause.WIRING: "a wire is off, shorted or on the wrong input",
    Cause.POWER: "the controller has no power, is heating again, or a wire is off",
    Cause.LOOSE: "a loose contact",
    Cause.SENSOR: "the sensor or its controller is stuck, aged or too slow",
    Cause.SCALE: "the configured scale is not the controller's, its ground is offset, air leaks in, or the target is "
    "wrong for this engine",
    Cause.GAUGE: "a gauge pressure (above the surrounding air) is configured as absolute",
    Cause.UNIT: "the configured values are not in kPa",
    Cause.FIGURES: "the configured volts and values belong to another sensor",
    Cause.RANGE: "the signal is clipped: the true value is higher",
    Cause.HOSE: "the hose to the manifold is off, leaks or is blocked, or the engine makes no vacuum there",
    Cause.BOOST: "the hose leaks or is throttled under boost, or the configured volts and values hold only up to the "
    "surrounding air",
    Cause.REST: "the configured closed position is not the sensor's, the sensor is reversed, or the throttle sticks",
    Cause.PULSES: "the configured pulses per turn (or per metre) are not the sensor's",
    Cause.SUPPLY: "the alternator does not charge, or the channel's divider is configured wrongly",
    Cause.GROUND: "its ground core is broken, loose, or touches ground, or the input that checks it is not wired",
    Cause.REFERENCE: "the converter's reference has moved, the supply is too low, or that channel's wire is loose",
}
NEXT = {
    Cause.WIRING: "measure the voltage at the logger's terminal while the sensor's value changes",
    Cause.POWER: "look at the controller's own lamp or display with the engine running, then check its supply and "
    "output wire",
    Cause.LOOSE: "wiggle the plugs with the engine idling and watch the live values",
    Cause.SENSOR: "check the sensor in free air and on a fuel cut; replace it if it does not respond at once",
    Cause.SCALE: "compare with the controller's own display, and correct volts and values in logger.json",
    Cause.GAUGE: "add the air pressure to the channel's values in logger.json; with the engine off it must read the "
    "air's pressure",
    Cause.UNIT: "write the values in kPa: 1 bar is 100, 1 psi is 6.895",
    Cause.FIGURES: "take volts and values from the sensor's data sheet; with the engine off it must read the air's "
    "pressure",
    Cause.RANGE: "fit a sensor with a larger range, or a divider that passes the whole signal",
    Cause.HOSE: "check the hose at both ends; an engine without vacuum needs a target by throttle",
    Cause.BOOST: "compare with a gauge or a second sensor on the same hose at steady boost, then mend the hose, or "
    "volts and values in logger.json",
    Cause.REST: "note the voltage with the pedal up and fully down, and put both in logger.json",
    Cause.PULSES: "compare with the car's own instrument at idle, and correct per_rev (per_metre)",
    Cause.SUPPLY: "measure the battery voltage with the engine running",
    Cause.GROUND: "mend its controller's ground core, then compare with that controller's display, before and "
    "after the drive; where that input was never built (block W0), take its channel out of logger.json",
    Cause.REFERENCE: "measure that voltage; until it reads as expected, every analog channel is in doubt",
}
STANDS = {
    "pressure": "manifold pressure gives the load instead",
    "throttle": "the throttle gives the load instead",
    "full throttle": "the throttle gives the load instead, and at full throttle the manifold is taken to be at the "
    "pressure of the surrounding air",
    "other bank": "the other bank is judged alone",
}


def evidence(one: Instrument) -> Said:
    """The evidence of the drive for or against an instrument."""
    if one.state is State.NOT_TESTED:
        return untested_boost(one) or say("nothing in this drive tests it")
    words = AGAINST if one.state is State.CONTRADICTED else FOR
    findings = one.against or tuple(f for f in one.findings if f.state is State.SOUND and f.check in FOR)
    # Three are enough: a signal that stands still fails every check
    said = [words[finding.check](finding.figures) for finding in findings[:3]]
    said += [words[one.check](one.figures) for one in findings[3:] if one.check is Check.BOOST]
    told = joined(said, "; ") if said else say("no evidence against it")
    untested = untested_boost(one)
    return told if untested is None else say(told, "; ", untested)


def untested_boost(one: Instrument) -> Said | None:
    """That nothing in the drive tests a pressure with boost, which it reached; None where that does not matter."""
    reached = [f.figures["kpa"] for f in one.findings if f.check is Check.BOOST and "kpa" in f.figures]
    if one.state is State.CONTRADICTED or not reached:
        return None
    return say(
        "above the pressure of the surrounding air (up to ", kpa(float(reached[0])), ") nothing in this drive tests "
        "it: hold a gauge or a second sensor on the same hose against it at steady boost",
    )  # fmt: skip


def _first(one: Instrument) -> Finding | None:
    return one.against[0] if one.against else None


def cause(one: Instrument) -> str:
    """The likely cause of a contradiction; empty without one."""
    first = _first(one)
    return "" if first is None or first.cause is None else CAUSES[first.cause]


def next_step(one: Instrument) -> str:
    """What to do about a contradiction; empty without one."""
    first = _first(one)
    return "" if first is None or first.cause is None else NEXT[first.cause]


def doubt(one: Instrument) -> Said:
    """The sentence that reports a contradicted instrument."""
    return say(f"{one.called} is contradicted: ", evidence(one), f"; likely cause: {cause(one)}; {next_step(one)}")


def stand_in(one: StandIn) -> Said:
    """The sentence that names what replaces a contradicted instrument."""
    return say(f"{one.called} is not used: {STANDS[one.by]}")


def as_json(one: Instrument) -> dict:
    """The instrument as in `info --json` and `report --json`."""
    return {
        "channel": one.channel,
        "bank": one.bank,
        "state": one.state.value,
        "evidence": str(evidence(one)),
        "cause": cause(one),
        "next": next_step(one),
        "session": one.session,
        "checks": [{"check": finding.check.value, "state": finding.state.value} for finding in one.findings],
    }


def lines(instruments: list[Instrument]) -> list[str]:
    """Lines for a terminal, one for each instrument; the contradicted first, with cause and next step below."""
    out = []
    for one in sorted(instruments, key=lambda one: one.state is not State.CONTRADICTED):
        out.append(f"{one.called}: {one.state.value}: {evidence(one)}")
        if one.state is State.CONTRADICTED:
            out += [f"  likely cause: {cause(one)}", f"  what to do: {capital(say(next_step(one)))}"]
    return out
