"""Every folder of demo_logs/ decodes to what its MANIFEST.md expects; those figures come from the model's truth."""

import hashlib
from pathlib import Path

import pytest

import ringpull
from ringpull.analysis.answer import answer

LOGS = Path(__file__).resolve().parents[3] / "demo_logs"
MOST_BYTES = 1_000_000
MARK_S = 0.006  # a mark lies within one row of the press
FOUND_S = 0.2
EDGE_RPM = 200.0  # at 750 rpm a second this is a quarter of a second
DEPTH = 0.01


def table(title: str) -> list[dict[str, str]]:
    """A table of MANIFEST.md as a list of dictionaries."""
    part = (LOGS / "MANIFEST.md").read_text().split(f"\n## {title}\n")[1].split("\n## ")[0]
    lines = [line.strip().strip("|").split("|") for line in part.splitlines() if line.startswith("|")]
    head = [name.strip() for name in lines[0]]
    return [dict(zip(head, (cell.strip() for cell in line), strict=True)) for line in lines[2:]]


def verdicts() -> dict[str, str]:
    return {line["folder"]: line["verdict"] for line in table("Verdicts")}


@pytest.fixture(scope="module")
def answers():
    return {folder: answer(ringpull.read(LOGS / folder)) for folder in verdicts()}


def test_manifest_lists_every_file_with_its_digest():
    listed = {line["file"]: line["sha256"] for line in table("Files")}
    there = {
        path.relative_to(LOGS).as_posix(): hashlib.sha256(path.read_bytes()).hexdigest()
        for path in LOGS.rglob("*")
        if path.is_file() and path.name != "MANIFEST.md"
    }
    assert there == listed
    assert sum(path.stat().st_size for path in LOGS.rglob("*") if path.is_file()) < MOST_BYTES


def test_verdicts(answers):
    assert {folder: found.verdict for folder, found in answers.items()} == verdicts()


@pytest.mark.parametrize("line", table("Pulls"), ids=lambda line: f"{line['folder']}-{line['pull']}")
def test_pull_is_as_expected(answers, line):
    pull = next(p for p in answers[line["folder"]].pulls if p.number == int(line["pull"]))
    marked = line["source"] == "mark"
    assert pull.pull.source == line["source"]
    assert pull.pull.spoiled == (line["spoiled"] == "yes")
    assert pull.pull.start_s == pytest.approx(float(line["start_s"]), abs=MARK_S if marked else FOUND_S)
    by_press = marked and int(line["pull"]) < 3
    assert pull.pull.end_s == pytest.approx(float(line["end_s"]), abs=MARK_S if by_press else FOUND_S)
    if line["lean from"] == "-":
        assert pull.lean_events == []
    elif line["spoiled"] == "no":
        (event,) = pull.lean_events
        assert event.rpm_from == pytest.approx(float(line["lean from"]), abs=EDGE_RPM)
        assert event.rpm_to == pytest.approx(float(line["lean to"]), abs=EDGE_RPM)
        assert event.depth == pytest.approx(float(line["depth"]), abs=DEPTH)


def test_no_pull_more_than_expected(answers):
    for folder, found in answers.items():
        expected = [int(line["pull"]) for line in table("Pulls") if line["folder"] == folder]
        assert [pull.number for pull in found.pulls] == expected
