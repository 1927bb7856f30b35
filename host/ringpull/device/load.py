"""How much of its processor's time a board needs for a configuration, from what was measured: said and judged by
`check`."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

from shared_math import boards, lean_watch, pace
from shared_math.config import schema

MOST_PCT = 85  # beyond this a slow card, a marked pull or a full screen would cost rows


@dataclass(frozen=True)
class Load:
    """share: of the processor's time, 1 being all of it. parts: what it goes to, the largest first, in per cent."""

    share: float
    parts: list[tuple[str, float]]


def predicted(config: dict[str, Any]) -> Load | None:
    """The load of a checked configuration; None for a board on which nothing was measured."""
    costs = boards.COSTS.get(config.get("board", schema.BOARD))
    if costs is None:
        return None
    rate_hz = config.get("rate_hz", schema.RATE_HZ)
    inputs = [channel["input"][0] for channel in config["channels"]]
    slow = [letter for letter, part in (config.get("converters") or {}).items() if part == "ads1115"]
    read = sum(letter in "xy" and letter not in slow for letter in inputs)
    warns = config.get("lean_warning") is not False and not lean_watch.lacking(config)
    parts = {
        "turns of the main loop": turns_hz(rate_hz) * costs["turn_us"],
        "rows": rate_hz * costs["row_us"],
        "inputs of external converters": rate_hz * read * costs["converter_us"],
        "the lean warning": pace.LOOKS_HZ * costs["look_us"] if warns else 0.0,
        "the screen": 1e6 * costs["screen_share"] if config.get("screen") else 0.0,
    }
    shares = {what: us * costs["spread"] / 1e6 for what, us in parts.items() if us}
    return Load(sum(shares.values()), sorted(((w, 100 * s) for w, s in shares.items()), key=lambda part: -part[1]))


def turns_hz(rate_hz: int) -> float:
    """Turns of the main loop in a second, as firmware/logger.py makes them."""
    if rate_hz > pace.SLOWER_FROM_HZ:
        return pace.SLOW_TURNS_HZ
    return min(rate_hz, pace.MOST_TURNS_HZ)


def refusal(config: dict[str, Any]) -> tuple[str, str, str] | None:
    """(what is too much, why, what to do) where the board would not keep up with a configuration; else None."""
    load = predicted(config)
    if load is None or 100 * load.share <= MOST_PCT:
        return None
    most = "; ".join(f"{what} {pct:.0f} %" for what, pct in load.parts[:3])
    rate_hz = config.get("rate_hz", schema.RATE_HZ)
    return (
        f"This would take {100 * load.share:.0f} % of the board's processor, and {MOST_PCT} % is what can be kept up: "
        "rows"
        " would be lost all the time",
        most + " (from what was measured on an emulated board, with room for what it does not model)",
        f'a lower "rate_hz" than {rate_hz}'
        + (f", such as {_kept_up(config)}" if _kept_up(config) else "")
        + ", or fewer inputs on external converters",
    )


def _kept_up(config: dict[str, Any]) -> int | None:
    """The highest usual rate that the board keeps up with, below the one asked for."""
    for rate_hz in (800, 500, 400, 250, 200, 100, 50, 20):
        if rate_hz < config.get("rate_hz", schema.RATE_HZ):
            load = predicted({**config, "rate_hz": rate_hz})
            if load is not None and 100 * load.share <= MOST_PCT:
                return rate_hz
    return None
