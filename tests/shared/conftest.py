"""Tests here import their shared cases by plain name, as MicroPython does."""

import sys
from pathlib import Path

sys.path.insert(0, str(Path(__file__).parent))
