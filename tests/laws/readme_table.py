"""README's command table, from the commands' own words: `python tests/laws/readme_table.py` writes it anew."""

import importlib
import re
from pathlib import Path

from ringpull.cli.main import COMMANDS

README = Path(__file__).resolve().parents[2] / "README.md"
PLACE = re.compile(r"(<!-- table: generated[^\n]*-->\n)(.*?)(<!-- table end -->)", re.S)


def table() -> str:
    """One row per command: what it does, and its example."""
    rows = ["| command | does | for example |", "| --- | --- | --- |"]
    for name, does in COMMANDS.items():
        example = importlib.import_module(f"ringpull.cli.commands.{name}").EXAMPLE
        rows.append(f"| `{name}` | {does} | `{example}` |")
    return "\n".join(rows) + "\n"


def shown() -> str:
    """The table as it stands in README."""
    found = PLACE.search(README.read_text(encoding="utf-8"))
    assert found, "README has no place for the table"
    return found[2]


if __name__ == "__main__":
    text = README.read_text(encoding="utf-8")
    README.write_text(PLACE.sub(lambda found: found[1] + table() + found[3], text), encoding="utf-8")
