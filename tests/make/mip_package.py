"""firmware/package.json: the list of files for MicroPython's own package installer, `mpremote mip install`."""

from __future__ import annotations

import json
from pathlib import Path

from ringpull.device import firmware_build
from shared_math import VERSION

PAGE = Path(__file__).resolve().parents[2] / "firmware" / "package.json"


def text() -> str:
    """What stands in it: the files that `ringpull install` brings, as sources, the start last."""
    names = [name for name in firmware_build.sources() if name != firmware_build.START] + [firmware_build.START]
    urls = [[name, "../" + name if name.startswith("shared_math/") else name] for name in names]
    listed = ",\n".join("  " + json.dumps(one) for one in urls)
    return f'{{\n "version": {json.dumps(VERSION)},\n "deps": [],\n "urls": [\n{listed}\n ]\n}}\n'


def write() -> None:
    """Write it anew."""
    PAGE.write_text(text(), encoding="utf-8")


if __name__ == "__main__":
    write()
