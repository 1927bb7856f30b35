"""What became of each mutant: kept in a file, one a line, and shown as a page."""

from __future__ import annotations

import json
import re
import subprocess
import tomllib
from dataclasses import asdict, dataclass
from pathlib import Path

from tests.mutation.mutants import Mutant, Place
from tests.mutation.trial import FAILED, PASSED


@dataclass
class Module:
    """A module's run. places: that could be changed. commit: of the tree. mutants: (what was changed, outcome)."""

    places: int
    commit: str
    mutants: list[dict]

    @property
    def survivors(self) -> list[dict]:
        return [one for one in self.mutants if one["outcome"] == PASSED]


def commit() -> str:
    done = subprocess.run(
        ["git", "log", "-1", "--format=%h of %cs"],
        capture_output=True,
        text=True,
        check=True,
        cwd=Path(__file__).parent,
    )
    return done.stdout.strip()


class Kept:
    """The outcomes in `path`, JSON lines. A module that is run anew replaces what was there of it."""

    def __init__(self, path: Path) -> None:
        self.path = path
        self.outcomes: dict[str, Module] = {}
        self.commit = commit()  # of the tree as it is copied, which may go on while this runs
        if path.exists():
            for line in path.read_text().splitlines():
                told = json.loads(line)
                module = told.pop("module")
                self.outcomes[module] = Module(**told)

    def unexplained(self, module: str, known: dict[tuple[str, str, str], str]) -> list[Place]:
        """The survivors that `known` (see `reasons`) does not explain."""
        held = self.outcomes.get(module)
        return [Place(**one["place"]) for one in held.survivors if not _why(module, one, known)] if held else []

    def tried(self, module: str) -> int:
        return len(self.outcomes[module].mutants) if module in self.outcomes else 0

    def begin(self, module: str, places: int, again: bool) -> None:
        """again: what is known of a mutant stays until it was tried."""
        held = self.outcomes[module].mutants if again else []
        self.outcomes[module] = Module(places, self.commit, held)

    def add(self, module: str, mutant: Mutant, outcome: str) -> None:
        told = asdict(mutant) | {"outcome": outcome}
        del told["text"]
        held = self.outcomes[module].mutants
        held[:] = [one for one in held if one["place"] != told["place"]] + [told]
        self.path.parent.mkdir(parents=True, exist_ok=True)
        lines = [json.dumps({"module": name} | asdict(one)) for name, one in self.outcomes.items()]
        self.path.write_text("\n".join(lines) + "\n")

    def line(self, module: str) -> str:
        known = self.outcomes[module]
        killed = len(known.mutants) - len(known.survivors)
        return f"{module}: {killed} of {len(known.mutants)} noticed"


def reasons(path: Path) -> dict[tuple[str, str, str], str]:
    """(module, line, changed line) -> why no test can or need notice it."""
    told = tomllib.loads(path.read_text()) if path.exists() else {}
    return {
        (module, one["before"], after): one["why"]
        for module, listed in told.items()
        for one in listed
        for after in ([one["after"]] if isinstance(one["after"], str) else one["after"])
    }


def _why(module: str, mutant: dict, known: dict[tuple[str, str, str], str]) -> str | None:
    return known.get((module, mutant["before"], mutant["after"]))


def lines(outcomes: dict[str, Module], explained: Path, words: list[str]) -> list[str]:
    """Survivors that nothing explains, to be read on a terminal."""
    known, out = reasons(explained), []
    for module, one in sorted(outcomes.items()):
        if words and not any(word in module for word in words):
            continue
        open_ones = [m for m in one.survivors if not _why(module, m, known)]
        out.append(f"{module}: {len(one.mutants)} tried, {len(one.survivors)} survived, {len(open_ones)} unexplained")
        for mutant in open_ones:
            out += [f"  {mutant['line']}: {mutant['before']}", f"  {' ' * len(str(mutant['line']))}> {mutant['after']}"]
    return out


def of_page(text: str) -> dict[str, Module]:
    """What a page that `page` made tells of its modules: counts, and the survivors' lines. So a run of some modules
    leaves the others' rows as they are."""
    out: dict[str, Module] = {}
    for line in text.splitlines():
        cells = [one.replace("\\|", "|").strip() for one in re.split(r"(?<!\\)\|", line)[1:-1]]
        if not cells or not cells[0].endswith(".py"):
            continue
        if len(cells) == 7:
            killed = [{"outcome": FAILED} for _ in range(int(cells[3]))]
            out[cells[0]] = Module(int(cells[1]), cells[6], killed)
        else:
            before, after = (one.strip("`") for one in cells[2:4])
            survivor = {"line": int(cells[1]), "before": before, "after": after, "outcome": PASSED}
            out[cells[0]].mutants.append(survivor)
    return out


PAGE = """# What the mutation tier found

{head}
Written by `python -m tests.mutation --results` from the last run of each module; README.md says what is changed and how
it is sampled.
"Explained" are survivors of which `survivors.toml` says why no test can notice them, or need not; "open" are the rest.

{runs}

## Survivors

| module | line | as it stands | changed | why it stays |
|---|---|---|---|---|
"""


def _cell(text: str) -> str:
    return "`" + text.replace("|", "\\|").replace("`", "'") + "`"


def _share(figures: list[int]) -> float:
    """Killed of tried."""
    return figures[2] / max(1, figures[1])


def page(outcomes: dict[str, Module], explained: Path, made: str) -> str:
    """RESULTS.md. made: with what it was measured."""
    known = reasons(explained)
    rooms: dict[str, list[int]] = {}
    runs = ["| module | places | tried | killed | explained | open | commit |", "|---|---|---|---|---|---|---|"]
    rows = []
    for module, one in sorted(outcomes.items()):
        open_ones = 0
        for mutant in one.survivors:
            why = _why(module, mutant, known)
            open_ones += why is None
            cells = [module, str(mutant["line"]), _cell(mutant["before"]), _cell(mutant["after"]), why or "open"]
            rows.append("| " + " | ".join(cells) + " |")
        survived, tried = len(one.survivors), len(one.mutants)
        figures = [one.places, tried, tried - survived, survived - open_ones, open_ones]
        room = module.rsplit("/", 1)[0]
        rooms[room] = [a + b for a, b in zip(rooms.get(room, [0] * len(figures)), figures)]
        runs.append(f"| {module} | {' | '.join(map(str, figures))} | {one.commit} |")
    runs += [f"| **{room}** | {' | '.join(map(str, sums))} | {_share(sums):.1%} |" for room, sums in rooms.items()]
    sums = [sum(column) for column in zip([0] * 5, *rooms.values())]
    head = f"{sums[1]} mutants of {len(outcomes)} modules, {_share(sums):.1%} killed, {sums[3]} explained, "
    head += f"{sums[4]} open; {made}. The bold rows are the sums of a folder, with the share that was killed.\n"
    return PAGE.format(head=head, runs="\n".join(runs)) + "\n".join(rows) + "\n"
