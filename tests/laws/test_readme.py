"""README holds: its table is the commands' own, and every command it shows runs."""

import os
import re
import shlex
import shutil
import subprocess
import sys

import documents
import pytest
import readme_table
from trees import ROOT
from truth import desk

README = (ROOT / "README.md").read_text(encoding="utf-8")
LINES = [line for line in documents.shell_lines(README) if line not in documents.over_usb(README)]
MAKE = [line for line in LINES if line.startswith("make ")]
RINGPULL = [line for line in LINES if line.startswith(".venv/bin/ringpull ")]


def test_the_table_is_the_commands_own():
    assert readme_table.shown() == readme_table.table(), "write it anew: python tests/laws/readme_table.py"


def test_every_line_is_run_by_a_test_here():
    assert MAKE and RINGPULL
    assert sorted(LINES) == sorted(MAKE + RINGPULL)


def test_the_way_over_usb_is_the_guides():
    """test_over_usb.py runs it."""
    guide = [line.replace(" PORT", "") for line in documents.over_usb(documents.text("host/docs/guide.md"))]
    assert [line.removeprefix(".venv/bin/") for line in documents.over_usb(README)][-len(guide) :] == guide


def test_the_prices_are_those_of_the_part_lists():
    hardware = (ROOT / "hardware" / "README.md").read_text(encoding="utf-8")
    row = next(line for line in hardware.splitlines() if line.startswith("| on RP2040 |"))
    dollars = [round(float(price)) for price in re.findall(r"(\d+\.\d\d) USD", row)]
    assert f"| price of the parts, RP2040 board | {dollars[0]} USD | {dollars[1]} USD |" in README


def test_it_is_one_page():
    """What does not fit belongs on a page of its own."""
    without_table = readme_table.PLACE.sub("", README)
    assert len(without_table.split()) <= 1300


@pytest.mark.parametrize("line", MAKE)
def test_make_knows(line):
    """Dry: `make test` would run this test again. That the demo runs is the next test's business."""
    done = subprocess.run([*shlex.split(line), "-n"], cwd=ROOT, capture_output=True, text=True)
    assert done.returncode == 0, done.stderr
    assert f"run.py {line.split()[1]}" in done.stdout


@pytest.mark.parametrize("made", [False, pytest.param(True, marks=pytest.mark.slow)], ids=["kept_card", "demo"])
def test_the_lines_on_the_demos_card(made, tmp_path, monkeypatch):
    """In their order, in a folder of their own: what `make demo` calls, as it is installed, then README's lines. Unless
    made, on a kept card like the demo's; test_demo.py runs the demo."""
    monkeypatch.chdir(tmp_path)
    if made:
        command = os.path.join(os.path.dirname(sys.executable), "ringpull")
        done = subprocess.run([command, "demo", "-o", "build/demo"], capture_output=True, text=True)
        assert done.returncode == 0 and done.stdout.strip(), done.stdout + done.stderr
    else:
        shutil.copytree(ROOT / "demo_logs" / "v1_marked", "build/demo/card")
    for line in RINGPULL:
        done = desk.command(*shlex.split(line)[1:])
        assert done.returncode == 0, f"{line}\n{done.stdout}{done.stderr}"
        assert done.stdout.strip(), line


def test_the_python_example(tmp_path, monkeypatch, capsys):
    """On a card like the demo's."""
    (code,) = re.findall(r"```python\n(.*?)```", README, re.S)
    monkeypatch.chdir(tmp_path)
    exec(compile(code.replace("build/demo/card", str(ROOT / "demo_logs" / "v1_marked")), "README.md", "exec"), {})
    assert capsys.readouterr().out.strip()
