"""What is said of drives with sound instruments, with a lean event and without: all have scatter, and many a wall film.

RINGPULL_DRIVES sets how many of each (500 unless set; SOUND_RESULTS.md holds the last run of 500). No threshold was
chosen on their seeds.
"""

from __future__ import annotations

import os
from collections import Counter
from pathlib import Path

from bench import faults as campaign
from bench import random_drives as rd
from truth import faults

from ringpull.analysis.judge import verdict

DRIVES = int(os.environ.get("RINGPULL_DRIVES", "500"))
FIRST_SEED = 2000
RESULTS = Path(__file__).with_name("SOUND_RESULTS.md") if DRIVES >= 500 else None


def rows():
    seeds = range(FIRST_SEED, FIRST_SEED + DRIVES)
    for event in (False, True):
        yield from of_drives(event, rd.in_pool(campaign.run, [(faults.SOUND.name, s, event, False) for s in seeds]))


def of_drives(event: bool, found: list[campaign.Outcome]):
    """The rows of drives with an event, or of those without."""
    words = Counter(one.verdict for one in found)
    remark = ", ".join(f"{word} {count}" for word, count in sorted(words.items()))
    yield f"sound drives with{'' if event else 'out'} a lean event", float(len(found)), "drives", remark
    doubted = sum(bool(one.others) or one.named for one in found)
    yield "  an instrument doubted", float(doubted), "drives", f"limit {len(found) / 100:g}"
    if event:
        called = 100.0 * words[verdict.ATTENTION] / len(found)
        yield "  attention", called, "%", "limit 98"
        yield "  no lean event found", float(words[verdict.NO_EVENT]), "drives", "limit 0"
    else:
        false = float(words[verdict.ATTENTION])
        yield "  attention", false, "drives", f"limit {len(found) / 250:g}"
