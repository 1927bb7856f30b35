"""Where the delay and the lag that are removed come from, as a sentence."""

from __future__ import annotations

from ringpull.analysis.delay.identify import LEAST_EVENTS
from ringpull.analysis.delay.origin import FromEvents, LagApart, NotFromEvents, Origin, Unfit


def source(one: Origin | None) -> str:
    """Where delay and lag come from."""
    if one is None:
        return "stated defaults"
    return _from_events(one) if isinstance(one, FromEvents) else _not_from_events(one)


def _not_from_events(one: NotFromEvents) -> str:
    told = f"not identified: {_volume(one)}, {_lag(one)}"
    return told if one.unfit is None else f"not identifiable from this drive ({_unfit(one.unfit, one.events)}); {told}"


def _unfit(why: Unfit, events: int) -> str:
    return {
        Unfit.NO_PRESSURE: "no manifold pressure, so no flow",
        Unfit.NO_SIGNAL: "no lambda or no engine speed",
        Unfit.FEW_EVENTS: f"{events} usable events, {LEAST_EVENTS} needed",
        Unfit.UNCERTAIN: f"the delay from its {events} events is too uncertain",
    }[why]


def _volume(one: NotFromEvents) -> str:
    given = "from the configuration" if one.volume_configured else "assumed (the engine's displacement)"
    return f"exhaust volume {one.volume_l:.2f} l {given}"


def _lag(one: NotFromEvents) -> str:
    given = "from the configuration" if one.lag_configured else "assumed: treated as a delay"
    return f"lag {1000 * one.lag_s:.0f} ms {given}"


def _from_events(one: FromEvents) -> str:
    out = f"identified from {_counted(one)}; the delay is counted from {one.zero.value}"
    if not one.lag_shown:
        out += f"; they do not show the lag well enough: {one.otherwise.lag_s * 1000:.0f} ms as configured or assumed"
    if one.lag_apart is not None:
        out += f"; {_apart(one.lag_apart)}"
    if not one.zero.is_injection:
        out += "; so the delay from these events is an estimate and is not used: the delay that was removed has "
        out += _volume(one.otherwise)
    if one.seen > one.used:
        out += f"; of {one.seen} events at most {one.most} of each kind, spread over the drive, were used"
    return out


def _counted(one: FromEvents) -> str:
    kinds = (
        (one.cuts, "fuel cut", "fuel cuts"),
        (one.ends, "end of a cut", "ends of cuts"),
        (one.steps, "step of target lambda", "steps of target lambda"),
        (one.tails, "fall after a cut", "falls after cuts"),
    )
    told = [f"{count} {single if count == 1 else several}" for count, single, several in kinds if count]
    return " and ".join([", ".join(told[:-1]), told[-1]] if len(told) > 1 else told)


def _apart(one: LagApart) -> str:
    return (
        f"the configured lag is {1000 * one.configured_s:.0f} ms, but this drive shows "
        f"{1000 * one.found_s:.0f} +/- {1960 * one.u_s:.0f} ms, which was used; correct tau_ms"
    )
