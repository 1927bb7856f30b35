"""`python -m tests.mutation`: changes the code in small ways, one at a time, and asks whether a test notices.

Works on a copy of the tree. README.md beside this file says how to run it, RESULTS.md what came of it.
"""

from __future__ import annotations

import argparse
import os
import platform
import shutil
import sys
from importlib.metadata import version
from pathlib import Path

HERE = Path(__file__).resolve().parent
ROOT = HERE.parents[1]
SEED = "ringpull"


def arguments() -> argparse.Namespace:
    parser = argparse.ArgumentParser(prog="python -m tests.mutation", description=__doc__.split("\n")[0])
    parser.add_argument("words", nargs="*", help="only modules whose path holds one of these words")
    parser.add_argument("--most", type=int, default=40, help="mutants of one module, sampled by a fixed seed (40)")
    parser.add_argument("--store", type=Path, default=ROOT / "build" / "mutation.jsonl", help="where outcomes are kept")
    parser.add_argument(
        "--first", type=int, help="only so many files of a module's tests, without stories of power cuts"
    )
    parser.add_argument("--again", action="store_true", help="try unexplained survivors once more, nothing else")
    parser.add_argument("--go-on", action="store_true", help="leave out modules of which that many are kept already")
    parser.add_argument("--show", action="store_true", help="show what is kept, run nothing")
    parser.add_argument(
        "--results",
        action="store_true",
        help="write RESULTS.md anew, with what is kept of the modules that were run; run nothing",
    )
    asked = parser.parse_args()
    asked.store = asked.store.resolve()  # the work is done in another folder
    return asked


def main() -> int:
    asked = arguments()
    from tests.mutation import outcomes

    kept = outcomes.Kept(asked.store)
    if asked.results:
        made = f"cosmic-ray {version('cosmic-ray')}, Python {platform.python_version()}"
        results = HERE / "RESULTS.md"
        every = outcomes.of_page(results.read_text()) | kept.outcomes
        results.write_text(outcomes.page(every, HERE / "survivors.toml", made))
        return 0
    if asked.show:
        print("\n".join(outcomes.lines(kept.outcomes, HERE / "survivors.toml", asked.words)))
        return 0
    return run(asked, kept)


def run(asked: argparse.Namespace, kept) -> int:
    from tests.mutation import mutants, outcomes, trial
    from tests.mutation.modules import MODULES

    chosen = {path: suite for path, suite in MODULES.items() if not asked.words or any(w in path for w in asked.words)}
    place, failed = trial.copied(), 0
    known = outcomes.reasons(HERE / "survivors.toml")
    try:
        trial.prepare(place)
        for path, suite in chosen.items():
            source = (place / path).read_text()
            places = mutants.places(source)
            taken = kept.unexplained(path, known) if asked.again else mutants.sample(places, asked.most, SEED + path)
            if not taken or asked.go_on and kept.tried(path) >= len(taken):
                continue
            suite = suite if asked.first is None else suite.first(asked.first)
            log = place / "log.txt"
            outcome, seconds = trial.trial(suite, place, 600.0, log)
            if outcome != trial.PASSED:
                print(
                    f"{path}: its tests fail as it stands:\n{log.read_text(errors='replace')[-2000:]}", file=sys.stderr
                )
                failed = 2
                continue
            kept.begin(path, len(places), asked.again)
            for one in taken:
                mutant = mutants.made(source, one)
                if mutant is None:
                    continue
                trial.put(place / path, mutant.text)
                outcome, _ = trial.trial(suite, place, 5.0 + 5.0 * seconds, log)
                kept.add(path, mutant, outcome)
            trial.put(place / path, source)
            print(kept.line(path), f"({seconds:.1f} s of tests)", flush=True)
    finally:
        os.chdir(ROOT)
        shutil.rmtree(place, ignore_errors=True)
    return failed


if __name__ == "__main__":
    sys.exit(main())
