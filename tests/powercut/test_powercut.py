"""The story of story.py with the power cut at every write, on FAT, littlefs and a bare device; and mutants of the
firmware that must be caught by it.
"""

import json
import os
import shutil
import subprocess
from pathlib import Path

import pytest

from ringpull.dryrun.run import find_micropython
from ringpull.files.firmware_sources import firmware_dir, shared_math_dir

HERE = Path(__file__).parent
HEAP = "48M"  # the harness holds images of the storage; the firmware itself is tested with 192 kB elsewhere
LEAST_CUTS = 2000

# medium, cut at every n-th write, torn kinds and second cuts at every n-th of these
FAST = [("fat", 9, 2), ("raw", 5, 4), ("littlefs", 409, 6)]
EVERY = [("fat", 1, 2), ("raw", 1, 4), ("littlefs", 19, 12), ("littlefs", 17, 4)]
ALL = [("fat", 1, 1), ("raw", 1, 1), ("littlefs", 11, 8)]

counted: dict[tuple[str, int], int] = {}


def tell(firmware: Path, shared: Path, folder: Path, *arguments: object) -> subprocess.CompletedProcess[str]:
    places = [firmware, shared.parent, HERE, HERE.parent / "firmware"]
    environment = dict(os.environ, MICROPYPATH=":".join(map(str, places)) + ":.frozen")
    command = [find_micropython(), "-X", f"heapsize={HEAP}", str(HERE / "story.py"), *map(str, arguments)]
    return subprocess.run(command, cwd=folder, env=environment, capture_output=True, text=True, timeout=3000)


def counts(done: subprocess.CompletedProcess[str]) -> dict:
    assert done.returncode == 0, f"{' '.join(done.args)}\n{done.stdout[-2000:]}"
    return json.loads(next(line for line in done.stdout.splitlines() if line.startswith("{")))


def cut(medium, step, stride, folder):
    """The counts of one run."""
    got = counts(tell(firmware_dir(), shared_math_dir(), folder, medium, step, stride, 0))
    assert got["cuts"] == got["writes"] // step + 1 and got["torn"] > 0 and got["second"] > 0
    return got


@pytest.mark.parametrize(("medium", "step", "stride"), FAST)
def test_cut_at_some_writes(medium, step, stride, tmp_path, tell_counts):
    tell_counts(cut(medium, step, stride, tmp_path))


@pytest.mark.slow
@pytest.mark.parametrize(("medium", "step", "stride"), EVERY)
def test_cut_at_every_write(medium, step, stride, tmp_path, tell_counts):
    got = cut(medium, step, stride, tmp_path)
    counted[medium, step] = got["cuts"] + got["torn"] + got["second"]
    tell_counts(got)
    assert got["cuts"] >= 250


@pytest.mark.slow
def test_enough_cuts_were_made():
    if len(counted) != len(EVERY):
        pytest.skip("the cuts were not made in this process: run the whole file")
    assert sum(counted.values()) >= LEAST_CUTS


@pytest.mark.slow
@pytest.mark.parametrize(("medium", "step", "stride"), ALL)
def test_cut_at_every_byte(medium, step, stride, tmp_path, tell_counts):
    got = counts(tell(firmware_dir(), shared_math_dir(), tmp_path, medium, step, stride, 1))
    tell_counts(got)
    assert got["bytes"] >= 512


# file, text, replacement, the medium on which it must be caught
MUTANTS = {
    "a flush after each block": (
        "firmware/store/fatfile.py",
        "        self._write_at = slot + len(blocks) // layout.SLOT\n",
        "        self._write_at = slot + len(blocks) // layout.SLOT\n        self._write.flush()\n",
        "fat",
    ),
    "blocks of the lap before are taken for new": (
        "firmware/store/recover.py",
        "        if not ticks.seq_after(layout.get32(self.block, layout.AT_SEQUENCE), self.first_sequence):\n          "
        "  return False\n",
        "",
        "raw",
    ),
    "a deleted ring's blocks are taken for this one's": (
        "firmware/store/recover.py",
        "        return ring_id == found.ring_id\n",
        "        return True\n",
        "fat",
    ),
    "a copy is not looked at before it is written": (
        "firmware/store/copier.py",
        "self.writer.slot_of(sequence)",
        "self.writer.slot_of(sequence + 1)",
        "raw",
    ),
    "CRC not checked": (
        "shared_math/layout.py",
        "    if crc32(memoryview(block)[:AT_CRC]) != get32(block, AT_CRC):\n",
        "    if block == _BLANK:\n",
        "fat",
    ),
    "sequence starts again after a cut": (
        "firmware/store/card.py",
        "        self.sequence = (sequence + 1) & _LAST_SEQUENCE\n",
        "        self.sequence = 1\n",
        "raw",
    ),
    "pulls are not completed after a cut": (
        "firmware/store/complete.py",
        "        if last >= 0:\n",
        "        if last >= 0 and False:\n",
        "raw",
    ),
    "the older copy is overwritten first": (
        "firmware/store/card.py",
        "        self.pulls_slot = (pull.slot + 1) % self.pulls.slots\n",
        "        self.pulls_slot = 1\n",
        "raw",
    ),
}


# The rest of them is tried in the long tests
EVERY_TIME = ("CRC not checked", "the older copy is overwritten first")
NAMES = [name if name in EVERY_TIME else pytest.param(name, marks=pytest.mark.slow) for name in MUTANTS]


@pytest.mark.parametrize("name", NAMES)
def test_mutant_is_caught(name, tmp_path):
    file, text, replacement, medium = MUTANTS[name]
    shutil.copytree(firmware_dir(), tmp_path / "firmware")
    shutil.copytree(shared_math_dir(), tmp_path / "shared_math")
    path = tmp_path / file
    source = path.read_text()
    assert source.count(text) == 1, f"the mutant no longer applies to {file}"
    path.write_text(source.replace(text, replacement))
    done = tell(tmp_path / "firmware", tmp_path / "shared_math", tmp_path, medium, 1, 2, 0)
    assert done.returncode != 0, f"{name}: not caught"
    assert "cut at write" in done.stdout or "Error" in done.stderr + done.stdout
