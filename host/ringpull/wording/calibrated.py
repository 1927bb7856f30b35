"""When an input was last calibrated or checked, in words."""

from __future__ import annotations

from typing import Any

from shared_math import channels


def inputs(config: dict[str, Any]) -> list[dict[str, Any]]:
    """The channels of a configuration that can be calibrated or checked."""
    kinds = (*channels.ANALOG_KINDS, *channels.PULSE_KINDS)
    return [one for one in config.get("channels", ()) if one.get("kind") in kinds]


def last(channel: dict[str, Any]) -> str:
    """Of a channel of the configuration that a session was recorded with."""
    parts = []
    calibration = channel.get("calibration")
    if calibration:
        day = calibration.get("date")
        parts.append(f"calibrated on {day}" if day else "calibrated, on a day that nobody noted")
    if channel.get("checked"):
        parts.append(f"checked against a known signal on {channel['checked']}")
    if parts:
        return ", ".join(parts)
    return "never calibrated" if channel["kind"] in channels.ANALOG_KINDS else "never checked"


def as_json(channel: dict[str, Any]) -> dict[str, Any]:
    """channel; calibrated: the day, "unknown" where none was noted, or null; checked: the day or null."""
    calibration = channel.get("calibration")
    return {
        "channel": channel["name"],
        "calibrated": calibration.get("date", "unknown") if calibration else None,
        "checked": channel.get("checked"),
    }
