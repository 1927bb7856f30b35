"""package.json: the list of files for MicroPython's own package installer, `mpremote mip install`, in two places.

The one at the top stands where that installer looks in a repository, and no path in it leads upwards, which not every
server takes. The one in firmware/ is for who gives that folder.
"""

from __future__ import annotations

import json
from pathlib import Path

from ringpull.device import firmware_build
from shared_math import VERSION

ROOT = Path(__file__).resolve().parents[2]
# file -> (what leads from it to the modules of firmware/, and to shared_math/)
PAGES = {ROOT / "package.json": ("firmware/", ""), ROOT / "firmware" / "package.json": ("", "../")}


def text(own: str, shared: str) -> str:
    """What stands in one: the files that `ringpull install` brings, as sources, the start last."""
    names = [name for name in firmware_build.sources() if name != firmware_build.START] + [firmware_build.START]
    urls = [[name, (shared if name.startswith("shared_math/") else own) + name] for name in names]
    listed = ",\n".join("  " + json.dumps(one) for one in urls)
    return f'{{\n "version": {json.dumps(VERSION)},\n "deps": [],\n "urls": [\n{listed}\n ]\n}}\n'


def write() -> None:
    """Write both anew."""
    for page, places in PAGES.items():
        page.write_text(text(*places), encoding="utf-8")


if __name__ == "__main__":
    write()
