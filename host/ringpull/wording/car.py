"""What the car's own computer says, in sentences."""

from __future__ import annotations

from typing import Any

from shared_math import bus, bus_states, bus_words

WENT_WELL = (bus_states.SILENT, bus_states.LISTENING, bus_states.ASKING, bus_states.ANSWERED)


def _never(channel: Any) -> str:
    if channel.kind == "can":
        return f"{channel.name}: no frame {channel.config['id']} with it was heard. Look at its id and bits."
    return (
        f"{channel.name}: never given. This car's computer does not offer PID {bus.pid_of(channel.config):02X}, or "
        "refused it: take another value, or leave it out."
    )


def _bus_time(time: Any) -> str:
    rate = f"at {time.kbit} kbit/s" + ("" if time.told else f", twice that at {time.kbit // 2}")
    return (
        f"Questions and answers took {100 * time.mean:.1f} % of the bus's time, {100 * time.most:.1f} % in the busiest "
        f"second ({rate}; every frame counted at its longest)."
    )


def as_json(said: Any) -> dict[str, Any]:
    """How the bus was in a session, for --json."""
    time = said.time
    return {
        "session": said.session,
        "states": [bus_words.sentence(state)[0] for state in said.states],
        "answered_in_ms": said.trip_ms,
        "answers_lost": said.lost,
        "never_given": [channel.name for channel in said.never],
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
