"""Many made-up files, by number: `python -m tests.fuzz reader 1000000`, `python -m tests.fuzz commands 10000`.

Prints a line now and then, and every fault with the number that repeats it: `... reader 1 --first NUMBER`.
"""

from __future__ import annotations

import argparse
import sys
import tempfile
import time
from pathlib import Path

HERE = Path(__file__).resolve().parent
sys.path[:0] = [str(HERE), str(HERE.parent)]

import case_limits  # noqa: E402
import made_files  # noqa: E402

FAST = Path("/dev/shm")
MOST_FAULTS = 30


def reader(folder: Path):
    """A case of the reader."""
    import file_readers

    for case in range(20):  # loads everything once
        file = made_files.made(case)
        file_readers.look(file.put(folder), file, case)

    def look(case: int, board: case_limits.Board) -> bool:
        file = made_files.made(case)
        return file_readers.look(file.put(folder), file, case) or file.left is None

    return look, 500


def commands(folder: Path):
    """A case of every command."""
    import file_commands

    (folder / "card").mkdir()
    (folder / "out").mkdir()
    good = folder / "good.rpl"
    good.write_bytes(b"".join(made_files.driven()[0]))

    (folder / "card" / "drive.rpl").write_bytes(good.read_bytes())
    file_commands.every(folder / "card", made_files.Made({}), good, folder / "out", str)  # loads everything once

    def look(case: int, board: case_limits.Board) -> bool:
        file = made_files.made(case, drives=True)
        file_commands.every(file.put(folder / "card"), file, good, folder / "out", board.begins)
        return True

    return look, 10


KINDS = {"reader": reader, "commands": commands}


def main() -> int:
    parser = argparse.ArgumentParser(prog="python -m tests.fuzz", description=__doc__)
    parser.add_argument("kind", choices=KINDS)
    parser.add_argument("count", type=int)
    parser.add_argument("--first", type=int, default=0)
    parser.add_argument("--every", type=float, default=60.0, metavar="S", help="seconds between lines")
    args = parser.parse_args()
    tally = case_limits.Tally()
    with tempfile.TemporaryDirectory(dir=FAST if FAST.is_dir() else None) as name:
        look, together = KINDS[args.kind](Path(name))
        told_s, told = time.monotonic(), 0
        step = together
        for at in range(args.first, args.first + args.count, step):
            case_limits.run(range(at, min(at + step, args.first + args.count)), look, together, tally)
            for case, where, what in tally.faults[told:]:
                print(f"case {case}, {where}: {what}", flush=True)
            told = len(tally.faults)
            if told > MOST_FAULTS:
                print("too many faults: stopped")
                break
            if time.monotonic() - told_s > args.every:
                told_s = time.monotonic()
                print(line(tally), flush=True)
    print(line(tally))
    return 1 if tally.faults else 0


def line(tally: case_limits.Tally) -> str:
    (s, case, step), (mb, other) = tally.worst_s, tally.worst_mb
    return (
        f"{tally.done} files, {len(tally.faults)} faults, {tally.unreadable} damaged ones unreadable, "
        f"most {s:.1f} s (case {case}, {step}), {mb:.0f} MB (case {other})"
    )


if __name__ == "__main__":
    sys.exit(main())
