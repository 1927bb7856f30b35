"""pyright over the host with the PC's types and over the firmware with the board's: `python tests/laws/check_types.py`.

shared_math is checked with the PC's types: the board's stubs are wrong about staticmethod and dict.update.
"""

import json
import subprocess
import sys
import sysconfig
from pathlib import Path

ROOT = Path(__file__).resolve().parents[2]
STUBS = sysconfig.get_path("purelib")

COMMON = {"pythonVersion": "3.11", "typeCheckingMode": "basic", "venvPath": str(ROOT), "venv": ".venv"}
# Paths are told from build/, where the configurations are written
PROJECTS = {
    "host": {"include": ["../host", "../shared_math"], "extraPaths": ["../host", ".."]},
    "firmware": {
        "include": ["../firmware"],
        # The stubs know no arguments for functions compiled by viper, and no words of PIO programs
        "ignore": ["../firmware/**/viper_*.py", "../firmware/drivers/pio_*.py", "../shared_math"],
        "extraPaths": ["../firmware", ".."],
        "typeshedPath": STUBS,
        "stubPath": STUBS,
        "reportMissingModuleSource": "none",
        # Code without annotations: what starts as None is taken for None for ever
        **dict.fromkeys(("reportOptionalMemberAccess", "reportOptionalSubscript", "reportOptionalCall"), "none"),
    },
}


def check(name: str) -> int:
    """Exit code of pyright on one of the projects."""
    config = ROOT / "build" / f"pyright-{name}.json"
    config.parent.mkdir(exist_ok=True)
    config.write_text(json.dumps({**COMMON, **PROJECTS[name]}, indent=1))
    print(f"pyright {name}", flush=True)
    return subprocess.run([sys.executable, "-m", "pyright", "-p", str(config)], cwd=ROOT).returncode


if __name__ == "__main__":
    sys.exit(max([check(name) for name in PROJECTS]))
