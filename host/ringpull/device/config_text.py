"""A configuration as the text of logger.json."""

from __future__ import annotations

import json
from typing import Any


def as_text(config: dict[str, Any]) -> str:
    """JSON with a line for each key and each channel."""
    lines = [f" {json.dumps(key)}: {json.dumps(value)}" for key, value in config.items() if key != "channels"]
    channels = ",\n".join(f"  {json.dumps(channel)}" for channel in config["channels"])
    return "{\n" + ",\n".join([*lines, f' "channels": [\n{channels}]']) + "\n}\n"
