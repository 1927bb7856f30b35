"""host/ANALYSIS.md: its examples run, its table of channels is the code's. As a program it writes that table."""

import contextlib
import io
import re
from pathlib import Path

import pytest

from ringpull.wording import needs

ROOT = Path(__file__).resolve().parents[3]
PAGE = ROOT / "host" / "ANALYSIS.md"
BEGIN = "<!-- needs: written by `python tests/host/analysis/test_analysis_page.py` -->\n"
END = "<!-- needs: end -->"


def table():
    rows = ["| answer | needs | without the rest |", "|---|---|---|"]
    rows += [f"| {answer} | {must} | {better} |" for answer, must, better in needs.table()]
    return "\n".join(rows) + "\n"


def test_table_of_channels_is_the_codes():
    text = PAGE.read_text(encoding="utf-8")
    assert text[text.index(BEGIN) + len(BEGIN) : text.index(END)] == table()


def test_examples_run(monkeypatch):
    monkeypatch.chdir(ROOT)
    blocks = re.findall(r"```python\n(.*?)```", PAGE.read_text(encoding="utf-8"), re.S)
    assert len(blocks) >= 5
    shared = {}
    said = io.StringIO()
    with contextlib.redirect_stdout(said):
        for block in blocks:
            exec(compile(block, str(PAGE), "exec"), shared)
    text = said.getvalue()
    assert text.startswith("attention")
    assert "kW an estimate" in text
    event = shared["ready"] and shared["judge_span"](shared["ready"], 5.0, 11.0).lean_events
    assert len(event) == 1 and event[0].depth == pytest.approx(0.07, abs=0.01)


if __name__ == "__main__":
    page = PAGE.read_text(encoding="utf-8")
    PAGE.write_text(page[: page.index(BEGIN) + len(BEGIN)] + table() + page[page.index(END) :], encoding="utf-8")
