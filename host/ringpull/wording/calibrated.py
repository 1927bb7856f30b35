"""When an input was last calibrated or checked, in words."""

from __future__ import annotations

from typing import Any

from ringpull.files.configuration import Configuration, ConfiguredChannel
from shared_math import channels


def inputs(config: Configuration) -> list[ConfiguredChannel]:
    """The channels of a configuration that can be calibrated or checked."""
    kinds = (*channels.ANALOG_KINDS, *channels.PULSE_KINDS)
    return [one for one in config.channels if one.kind in kinds]


def last(channel: ConfiguredChannel) -> str:
    """Of a channel of the configuration that a session was recorded with."""
    parts = []
    if channel.calibration:
        day = channel.calibration.date
        parts.append(f"calibrated on {day}" if day else "calibrated, on a day that nobody noted")
    if channel.checked:
        parts.append(f"checked against a known signal on {channel.checked}")
    if parts:
        return ", ".join(parts)
    return "never calibrated" if channel.kind in channels.ANALOG_KINDS else "never checked"


def as_json(channel: ConfiguredChannel) -> dict[str, Any]:
    """channel; calibrated: the day, "unknown" where none was noted, or null; checked: the day or null."""
    made = channel.calibration
    return {
        "channel": channel.name,
        "calibrated": None if made is None else "unknown" if made.date is None else made.date,
        "checked": channel.checked,
    }
