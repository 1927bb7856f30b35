"""What the car's own computer says, in sentences."""

from __future__ import annotations

from typing import Any

from shared_math import bus_states, bus_words
from shared_math.obd import status

ABOUT_TRIMS = "Trims are means in closed loop alone: in open loop they are what closed loop left behind."
LOOP_UNKNOWN = (
    "Whether the trims were followed is not known: log the fuel system's state too (pid 03). In open loop, as under "
    "full load in most cars, they are what closed loop left behind."
)
WENT_WELL = (bus_states.SILENT, bus_states.LISTENING, bus_states.ASKING, bus_states.ANSWERED)


def _never(channel: Any) -> str:
    if channel.kind == "can":
        return f"{channel.name}: no frame {channel.config.frame_id} with it was heard. Look at its id and bits."
    return (
        f"{channel.name}: never given. This car's computer does not offer PID {channel.config.pid:02X}, or "
        "refused it: take another value, or leave it out."
    )


def _bus_time(time: Any) -> str:
    rate = f"at {time.kbit} kbit/s" + ("" if time.told else f", twice that at {time.kbit // 2}")
    return (
        f"Questions and answers took {100 * time.mean:.1f} % of the bus's time, {100 * time.most:.1f} % in the busiest "
        f"second ({rate}; every frame counted at its longest)."
    )


def _trims(said: Any) -> str:
    """What the trims did in closed loop. A trim above 0 adds fuel (SAE J1979, as public copies have it)."""
    named = {0x06: "short", 0x07: "long"}
    each = ", ".join(f"{named[pid]} {value:+.1f} %" for pid, value in said.closed.items())
    total = sum(said.closed.values())
    way = "added" if total >= 0 else "took away"
    return f"In closed loop, {said.closed_s:.0f} s of the session, its trims {way} {abs(total):.1f} % of fuel ({each})."


def fuel_state(states: list[int]) -> str:
    """The states of the fuel system in a pull, the longest first."""
    return "; ".join(status.fuel_state(one) for one in states) or "not told"


def as_json(said: Any) -> dict[str, Any]:
    """How the bus was in a session, for --json."""
    time = said.time
    return {
        "session": said.session,
        "states": [bus_words.sentence(state)[0] for state in said.states],
        "answered_in_ms": said.trip_ms,
        "answers_lost": said.lost,
        "never_given": [channel.name for channel in said.never],
        "closed_loop": {
            "seconds": round(said.closed_s, 1),
            "short_trim": said.closed.get(0x06),
            "long_trim": said.closed.get(0x07),
        },
        "bus_time": time and {"mean": time.mean, "most": time.most, "kbit": time.kbit, "kbit_told": time.told},
    }


def how_it_was(said: Any) -> list[str]:
    """How the bus was in a session, and how good its values are. said: analysis.car.CarSaid."""
    out = []
    for state in said.states:
        if state in WENT_WELL and (state != said.states[-1] or state == bus_states.ANSWERED):
            continue
        what, step = bus_words.sentence(state)
        out.append(what + (f": {step}." if step else "."))
    if said.trip_ms is not None:
        out.append(
            f"The car's computer answered in {said.trip_ms:.0f} ms; a value's time is the middle of that, known to "
            f"half of it. {said.lost} answers were lost."
        )
    if said.time is not None:
        out.append(_bus_time(said.time))
    if said.closed:
        out.append(_trims(said))
    out += [_never(channel) for channel in said.never]
    delay = said.delay
    if delay is not None:
        out.append(
            f"The car's computer tells engine speed {1000 * delay.delay_s:.0f} +/- {1000 * delay.u_s:.0f} ms after the "
            f"tach (95 %, from {delay.stretches} stretches)."
        )
        if delay.disagrees:
            out.append(
                f"Tach and computer differ by {100 * delay.off:.1f} % in engine speed: look at per_rev, and at which "
                "unit answers."
            )
        else:
            out.append(f"Tach and computer agree on engine speed within {100 * delay.off:.1f} %.")
    return out
