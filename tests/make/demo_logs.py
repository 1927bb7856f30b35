"""Makes demo_logs/: the firmware's own files from the invented drive, with a MANIFEST.md that says what is in them.

The expected answers come from the model's truth, never from the reader or the analysis. Unused slots at a file's end
are cut off: a reader relies on whole slots only, and a card's file would be mostly empty.

    .venv/bin/python tests/make/demo_logs.py
"""

from __future__ import annotations

import hashlib
import sys
import tempfile
from dataclasses import dataclass, replace
from pathlib import Path

from ringpull.dryrun import run
from ringpull.invented import instruments, scenario, truth

ROOT = Path(__file__).resolve().parents[2]
SLOT = 512
DOUBLE_AT_S = 70.0


@dataclass(frozen=True)
class Log:
    """One folder of demo_logs/. marked: the button is pressed. spoiled: a double press after pull 2. keep: files."""

    folder: str
    seed: int
    keep: tuple[str, ...]
    marked: bool = True
    spoiled: bool = False
    how: str = ""


LOGS = (
    Log("v1_marked", 1, ("drive.rpl", "pulls.rpl", "logger.json"), how="the whole card"),
    Log("v1_pulls_alone", 2, ("pulls.rpl",), how="only the marked pulls' file"),
    Log("v1_unmarked", 3, ("drive.rpl",), marked=False, how="nobody pressed the button"),
    Log("v1_spoiled", 4, ("pulls.rpl",), spoiled=True, how="a double press after pull 2 flagged it spoiled"),
)


def presses(log: Log, drive: scenario.Drive) -> list[tuple[float, float]]:
    """(press, seconds held) of a log's button."""
    if not log.marked:
        return []
    if log.spoiled:
        return sorted([*drive.presses, (DOUBLE_AT_S, 0.1), (DOUBLE_AT_S + 0.25, 0.1)])
    return drive.presses


def used_slots(data: bytes) -> int:
    """Slots up to the last that was ever written."""
    return -(-len(data.rstrip(b"\0")) // SLOT)


def make(log: Log, target: Path) -> tuple[list[str], list[str], str]:
    """Make one folder; (lines of the files' table, lines of the pulls' table, the verdict expected)."""
    drive = scenario.simulate(log.seed)
    drive = replace(drive, presses=presses(log, drive))
    known = truth.truth(drive, log.seed)
    files = []
    with tempfile.TemporaryDirectory() as work:
        signals, card = Path(work) / "signals", Path(work) / "card"
        signals.mkdir()
        instruments.write(drive, signals, log.seed)
        names = [signals / name for name in ("logger.json", "volts.csv", "edges.csv", "buttons.csv")]
        run.dry_run(*names, card, seed=log.seed)
        target.mkdir(parents=True, exist_ok=True)
        for name in log.keep:
            data = (card / name).read_bytes()
            if name.endswith(".rpl"):
                data = data[: used_slots(data) * SLOT]
            (target / name).write_bytes(data)
            digest = hashlib.sha256(data).hexdigest()
            files.append(f"| {log.folder}/{name} | {log.seed} | {len(data)} | {digest} | {log.how} |")
    return files, [expected(log, known, pull) for pull in known["pulls"]], verdict(log)


def expected(log: Log, known: dict, pull: dict) -> str:
    """A line of the pulls' table."""
    start, end, source = pull["start_s"], pull["end_s"], "mark"
    if not log.marked:  # found from the throttle: from opened to closed
        start, end, source = pull["throttle_open_s"], pull["throttle_closed_s"], "found"
    hole = known["hole"]
    here = hole["pull"] == pull["number"]
    lean = f"{hole['rpm_from']} | {hole['rpm_to']} | {hole['depth']}" if here else "- | - | -"
    spoiled = "yes" if here and log.spoiled else "no"
    return f"| {log.folder} | {pull['number']} | {start:.3f} | {end:.3f} | {source} | {spoiled} | {lean} |"


def verdict(log: Log) -> str:
    """What the answer should say: every drive has a lean pull, and a spoiled one that is lean is told as well."""
    return "attention"


def main() -> int:
    target = ROOT / "demo_logs"
    files, pulls, verdicts = [], [], []
    for log in LOGS:
        print(log.folder, flush=True)
        made, lines, word = make(log, target / log.folder)
        files += made
        pulls += lines
        verdicts.append(f"| {log.folder} | {word} |")
    page = "\n".join(
        [
            "# Demo logs",
            "",
            "Ring files of format version 1, written by the firmware from an invented drive, a card folder each.",
            "Made by `tests/make/demo_logs.py`; unused slots at the files' ends are cut off.",
            "What is expected below comes from the model that made the signals, not from the reader.",
            "",
            "## Files",
            "| file | seed | bytes | sha256 | what |",
            "|---|---:|---:|---|---|",
            *files,
            "",
            "## Verdicts",
            "| folder | verdict |",
            "|---|---|",
            *verdicts,
            "",
            "## Pulls",
            "Seconds since power-on. Lean: engine speeds (rpm) between which fuel pressure was missing, and how far",
            "the mean lambda of 0.2 s rose above target.",
            "",
            "| folder | pull | start_s | end_s | source | spoiled | lean from | lean to | depth |",
            "|---|---:|---:|---:|---|---|---:|---:|---:|",
            *pulls,
            "",
        ]
    )
    (target / "MANIFEST.md").write_text(page)
    return 0


if __name__ == "__main__":
    sys.exit(main())
