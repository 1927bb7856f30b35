"""The channels of a configuration's text by their role. This room edits the text, so it keeps what is written."""

from __future__ import annotations

from typing import Any

from ringpull.analysis.drive_state import roles
from ringpull.files import configuration


def channel_for(role: str, config: dict[str, Any]) -> dict[str, Any] | None:
    """The channel of a checked configuration that has this role in the analysis, or None."""
    found = roles.channel_for(role, configuration.channels_of(config["channels"]))
    return None if found is None else found.written


def lambda_channels(config: dict[str, Any]) -> list[dict[str, Any]]:
    """The channels of a checked configuration that measure the exhaust."""
    return [one.written for one in roles.lambda_channels(configuration.channels_of(config["channels"]))]
