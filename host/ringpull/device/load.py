"""The share of a board's processor time that a configuration takes, from measurements. `check` judges by it."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

from shared_math import boards, bus, lean_watch, pace, speed
from shared_math import channels as descriptions
from shared_math.config import schema
from shared_math.obd import replies

MOST_PCT = 85  # above this a slow card, a marked pull or a full screen would cost rows
REMARKED_PCT = 40  # half of that: a board that was not measured may be slower
ASKED = "questions to the car's computer"
ON_THIS = "from measurements on an emulated board, with a margin for what it does not model"
ON_ANOTHER = "not measured on this board: figures of an emulated RP2040 that runs the same drivers"


@dataclass(frozen=True)
class Load:
    """share: share of the processor's time, 0 to 1 or more. parts: its parts in per cent, the largest first.

    measured: whether the figures were measured on this board, not on one that is no faster.
    """

    share: float
    parts: list[tuple[str, float]]
    measured: bool


def predicted(config: dict[str, Any]) -> Load:
    """The load of a checked configuration, with pulses at their highest rate."""
    board = config.get("board", schema.BOARD)
    costs = boards.COSTS[boards.COSTS_OF.get(board, "generic")]
    rate_hz = config.get("rate_hz", schema.RATE_HZ)
    inputs = [channel.get("input", "bus")[0] for channel in config["channels"]]
    slow = [letter for letter, part in (config.get("converters") or {}).items() if part == "ads1115"]
    read = sum(letter in "xy" and letter not in slow for letter in inputs)
    own = inputs.count("a")
    edges_hz = sum(interrupts_hz(channel, config, board in boards.STAMPING) for channel in config["channels"])
    warns = config.get("lean_warning") is not False and not lean_watch.lacking(config)
    parts = {
        "turns of the main loop": turns_hz(rate_hz) * costs["turn_us"],
        "rows": rate_hz * (costs["row_us"] + own * costs["input_us"]),
        "pulses that interrupt": edges_hz * costs["edge_us"],
        "inputs of external converters": rate_hz * read * costs["converter_us"],
        "the lean warning": looks_hz(rate_hz) * costs["look_us"] if warns else 0.0,
        "the screen": 1e6 * costs["screen_share"] if config.get("screen") else 0.0,
        ASKED: asking_us(config, costs),
    }
    shares = {what: us * costs["spread"] / 1e6 for what, us in parts.items() if us}
    parted = sorted(((what, 100 * share) for what, share in shares.items()), key=lambda part: -part[1])
    return Load(sum(shares.values()), parted, board in boards.COSTS and board != "generic")


def asking_us(config: dict[str, Any], costs: dict[str, float]) -> float:
    """Microseconds a second that the questions to the car's computer take, whether it answers several values at once
    or one: how it answers is known in the car alone."""
    hz: dict[int, float] = {}
    for channel in descriptions.from_the_bus(config):
        if channel["kind"] == "obd":
            pid = bus.pid_of(channel)
            hz[pid] = max(hz.get(pid, 0.0), channel.get("hz", bus.usual_hz(channel)))
    values = sum(hz.values())
    shares = []
    for together in (1, replies.MOST_AT_ONCE):
        questions = min(pace.QUESTIONS_HZ, values / together)
        shares.append(questions * (costs["question_us"] + together * costs["value_us"]))
    return max(shares)


def interrupts_hz(channel: dict[str, Any], config: dict[str, Any], stamping: bool) -> float:
    """The most interrupts a second of a pulse input: 0 if edges are timed in hardware."""
    if channel["kind"] == "pulse_width":  # both edges of each pulse
        crank = descriptions.crank_of(config["channels"]) or {}
        strokes = speed.strokes_of(config.get("engine", {}))
        per_cycle = channel.get("per_cycle", schema.DEFAULTS["pulse_width"]["per_cycle"])
        return 2 * per_cycle * crank.get("max_rpm", speed.MAX_RPM) / 60 / (strokes / 2)
    if channel["kind"] not in descriptions.PULSE_KINDS or stamping:
        return 0.0
    return 1e6 / speed.channel_shortest_us(channel)


def turns_hz(rate_hz: int) -> float:
    """Turns of the main loop a second, as in firmware/logger.py."""
    if rate_hz > pace.SLOWER_FROM_HZ:
        return pace.SLOW_TURNS_HZ
    return min(rate_hz, pace.MOST_TURNS_HZ)


def looks_hz(rate_hz: int) -> float:
    """Looks at lambda in a second, as firmware/panel/panel.py takes them: one a turn where it turns seldom."""
    return pace.SLOW_TURNS_HZ if rate_hz > pace.SLOWER_FROM_HZ else pace.LOOKS_HZ


def refusal(config: dict[str, Any]) -> tuple[str, str, str] | None:
    """(what is too much, why, what to do) if the board can't keep up with a configuration; else None."""
    load = predicted(config)
    if 100 * load.share <= MOST_PCT:
        return None
    most = "; ".join(f"{what} {pct:.0f} %" for what, pct in load.parts[:3])
    rate_hz = config.get("rate_hz", schema.RATE_HZ)
    return (
        f"This would take {100 * load.share:.0f} % of the board's processor time, but at most {MOST_PCT} % can be "
        f"used: {'rows could be lost' if load.parts[0][0] == ASKED else 'rows would be lost all the time'}",
        f"{most} ({ON_THIS if load.measured else ON_ANOTHER})",
        f'a lower "rate_hz" than {rate_hz}'
        + (f", such as {_kept_up(config)}" if _kept_up(config) else "")
        + ", or fewer inputs on external converters"
        + (
            ', or a lower "hz" of the values that the car\'s computer is asked for' if ASKED in dict(load.parts) else ""
        ),
    )


def remark(config: dict[str, Any]) -> tuple[str, str, str] | None:
    """(what, why, what to do) if a high load was not measured on this board; else None."""
    load = predicted(config)
    if load.measured or 100 * load.share <= REMARKED_PCT:
        return None
    most = "; ".join(f"{what} {pct:.0f} %" for what, pct in load.parts[:3])
    return (
        f"This may take {100 * load.share:.0f} % of the board's processor time; it was not measured on this board",
        f"{most} ({ON_ANOTHER})",
        "see whether `ringpull info` counts lost rows after the first drive; if so, lower rate_hz or use fewer inputs",
    )


def _kept_up(config: dict[str, Any]) -> int | None:
    """The highest usual rate below the configured one that the board can keep up with."""
    for rate_hz in (800, 500, 400, 250, 200, 100, 50, 20):
        if rate_hz < config.get("rate_hz", schema.RATE_HZ):
            load = predicted({**config, "rate_hz": rate_hz})
            if 100 * load.share <= MOST_PCT:
                return rate_hz
    return None
