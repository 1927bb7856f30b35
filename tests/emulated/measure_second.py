"""Runs the second rig's stories and writes their part of RESULTS.md, with RINGPULL_UF2 set:
`python tests/emulated/measure_second.py [NAME...]`. With names, only these are run anew and their lines replaced.
"""

from __future__ import annotations

import hashlib
import re
import subprocess
import sys
from datetime import date
from pathlib import Path

HERE = Path(__file__).resolve().parent
sys.path.insert(0, str(HERE))

import image  # noqa: E402
import second_figures  # noqa: E402
import second_rig  # noqa: E402
import second_stories  # noqa: E402  found beside this file

RESULTS = HERE / "RESULTS.md"
HEADING = "## On a second emulator"
NEXT = "\n## "
INTRODUCTION = """
rp2040js 1.4.1 with models of its own for card, flash, converter, PIO and USB, at 125 MHz; the whole firmware, compiled
by mpy-cross -O3; a card of 32 GB in FAT32 with both rings. MicroPython 1.28.0 for RPI_PICO, image sha256 {digest}.
Not modelled: as above.

Command: `RINGPULL_UF2=image.uf2 .venv/bin/python tests/emulated/measure_second.py`

If nothing else is said: four inputs at 200 Hz, tach 200 Hz, full load, a pull marked at 5.0 s, lean from 8.2 to 9.7 s.

- warning: from the first lean sample to the buzzer.
- lamp: edges; those more than 20 ms behind a step's place; those of them that are no change of what it tells, by the
  rows (a new pattern is shown at once, so its first edge may lie anywhere).
- rows: lost by their numbers / told lost by the file, in so many holes. A row that never came onto a card is both.
- faults: told in the rows that were kept.
- back: from the card's return to its first write. Commit: of the firmware.
"""
TABLE = """
| story | warning | lamp | rows lost | faults | back | CPU | least heap | commit |
| --- | --- | --- | --- | --- | --- | --- | --- | --- |
"""
STORIES = """
| story | what it is | what the lamp told for a second or longer |
| --- | --- | --- |
"""
LINE = re.compile(r"\| ([^|]+) \| .* \|$")


def _or_dash(got: dict, key: str, form: str) -> str:
    return form.format(got[key]) if key in got else "-"


def figure_line(name: str, got: dict, commit: str) -> str:
    """The table's line of a story."""
    lamp = f"{got['lamp_edges']} / {got['lamp_edges_late']} / {got['lamp_edges_unexplained']}"
    rows = f"{got['rows_missing']} / {got['rows_told_lost']} in {got['holes']}" if "rows" in got else "no rows"
    cells = [
        name,
        _or_dash(got, "warning_delay_s", "{:.3f} s"),
        lamp,
        rows,
        got.get("faults_told", "-"),
        _or_dash(got, "back_after_s", "{:.2f} s"),
        f"{got['cpu']:.1%}".replace("%", " %"),
        _or_dash(got, "heap_free_bytes", "{} B"),
        commit,
    ]
    return f"| {' | '.join(cells)} |"


def story_line(name: str, got: dict) -> str:
    what = second_stories.STORIES[name][0]
    more = []
    if "longest_turn_ms" in got:
        more.append(f"longest time between two turns of the main loop {got['longest_turn_ms']:.1f} ms")
    if got["resets"]:
        more.append(f"{got['resets']} resets")
    if got.get("pull_rows_missing") is not None:
        more.append(f"{got['pull_rows_missing']} of the pull's {got['pull_rows']} rows not in pulls.rpl")
    return f"| {name} | {'; '.join([what, *more])} | {got['lamp_told']} |"


def section(figures: dict[str, str], stories: dict[str, str], digest: str) -> str:
    """The part of RESULTS.md, from its heading on."""
    order = [name for name in second_stories.STORIES if name in figures]
    first = TABLE + "\n".join(figures[name] for name in order) + "\n"
    second = STORIES + "\n".join(stories[name] for name in order) + "\n"
    return HEADING + "\n" + INTRODUCTION.format(digest=digest) + first + second


def held(part: str) -> tuple[dict[str, str], dict[str, str]]:
    """Lines of both tables as they stand."""
    figures: dict[str, str] = {}
    stories: dict[str, str] = {}
    into = figures
    for line in part.splitlines():
        if line.startswith(STORIES.split("\n")[1]):
            into = stories
        found = LINE.match(line)
        if found and found[1] in second_stories.STORIES:
            into[found[1]] = line
    return figures, stories


def split(text: str) -> tuple[str, str, str]:
    """RESULTS.md before this part, this part, and what follows it."""
    before, heading, rest = text.partition(HEADING)
    if not heading:
        return before.rstrip() + "\n\n", "", ""
    part, mark, after = rest.partition(NEXT)
    return before, heading + part, (mark + after).lstrip("\n")


def write(name: str, got: dict, commit: str, digest: str) -> None:
    """Put a story's lines into RESULTS.md."""
    before, part, after = split(RESULTS.read_text(encoding="utf-8"))
    figures, stories = held(part)
    if set(figures) != set(stories):
        figures, stories = {}, {}
    figures[name] = figure_line(name, got, commit)
    stories[name] = story_line(name, got)
    text = section(figures, stories, digest)
    RESULTS.write_text(before + text + ("\n" + after if after else ""), encoding="utf-8")


def main() -> int:
    uf2 = image.named()
    lacking = image.lacking() if uf2 is None else second_rig.lacking()
    if uf2 is None or lacking:
        print(lacking, file=sys.stderr)
        return 2
    digest = hashlib.sha256(uf2.read_bytes()).hexdigest()[:12]
    for name in sys.argv[1:] or second_stories.STORIES:
        got = second_figures.figures(uf2, name)
        asked = ["git", "log", "-1", "--format=%h", "--", "firmware", "shared_math"]
        commit = subprocess.run(asked, capture_output=True, text=True, cwd=HERE.parents[1]).stdout.strip()
        write(name, got, f"{commit}, {date.today()}", digest)
        print(figure_line(name, got, commit), story_line(name, got), sep="\n", flush=True)
    return 0


if __name__ == "__main__":
    sys.exit(main())
