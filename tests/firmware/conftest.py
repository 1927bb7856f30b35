"""pytest collects the wrapper alone: the other files here are MicroPython's."""

from pathlib import Path

collect_ignore = [
    path.name for path in Path(__file__).parent.glob("test_*.py") if path.name != "test_on_micropython.py"
]
