"""The fault campaign: every fault of tests/truth/faults.py on random drives with a true lean event and without.

Each goes by decoded columns, the first RINGPULL_FAULT_FIRMWARE of each kind (0 unless set) through the real
firmware, its ring file and its reader as well. RINGPULL_FAULT_DRIVES sets how many of each kind (2 unless set; 20
for a full run, which takes hours). RINGPULL_FAULT_KEPT names a file in which every outcome is kept as soon as it is
known: a run that was ended goes on from it. FAULTS_RESULTS.md holds the last run.
"""

from __future__ import annotations

import json
import os
from collections import Counter
from collections.abc import Iterator
from concurrent.futures import ProcessPoolExecutor
from dataclasses import asdict
from pathlib import Path

from bench import faults as campaign
from bench.faults import Outcome
from truth import faults

DRIVES = int(os.environ.get("RINGPULL_FAULT_DRIVES", "2"))
FIRMWARE = int(os.environ.get("RINGPULL_FAULT_FIRMWARE", "0"))
KEPT = os.environ.get("RINGPULL_FAULT_KEPT")
RESULTS = Path(__file__).with_name("FAULTS_RESULTS.md") if "RINGPULL_FAULT_DRIVES" in os.environ else None
WORKERS = int(os.environ.get("RINGPULL_FAULT_WORKERS", "1"))
Job = tuple[str, int, bool, bool]


def jobs() -> Iterator[Job]:
    """(fault, seed, with an event, through the firmware) of every drive, in rounds: ended early, each fault has had as
    many as any other."""
    every = (faults.SOUND, *faults.FAULTS)
    seeds = {
        (fault.name, event): campaign.drives_for(fault, DRIVES, event) for fault in every for event in (True, False)
    }
    for n in range(DRIVES):
        for firmware in (False, True) if n < FIRMWARE else (False,):
            for event in (True, False):
                for fault in every:
                    for seed in seeds[fault.name, event][n : n + 1]:
                        yield fault.name, seed, event, firmware


def kept() -> dict[Job, Outcome]:
    """The outcomes of earlier runs."""
    if not KEPT or not Path(KEPT).exists():
        return {}
    out = {}
    for line in Path(KEPT).read_text(encoding="utf-8").splitlines():
        one = json.loads(line)
        firmware = one.pop("firmware")
        found = Outcome(**{**one, "others": tuple(one["others"])})
        out[found.fault, found.seed, found.event, firmware] = found
    return out


def outcomes() -> dict[Job, Outcome]:
    """All outcomes, those that are missing made now."""
    done = kept()
    left = [job for job in jobs() if job not in done]
    with ProcessPoolExecutor(max_workers=WORKERS) as pool:
        for job, found in zip(left, pool.map(campaign.run, *zip(*left, strict=True)) if left else (), strict=True):
            done[job] = found
            if KEPT:
                line = json.dumps({**asdict(found), "leaner": int(found.leaner), "firmware": job[3]})
                with Path(KEPT).open("a", encoding="utf-8") as file:
                    file.write(line + "\n")
    return done


def of_fault(fault: faults.Fault, found: list[Outcome]):
    """One row of the table."""
    lean = [one for one in found if one.event]
    calm, leaner = sum(one.calm for one in lean), sum(one.leaner > 0 for one in lean)
    remark = f"calm {calm}, factor below 1 {leaner} of {len(lean)} with an event"
    remark += f"; named {sum(one.named for one in found)} of {len(found)}" if fault.channels else ""
    for title, some in (("", lean), ("without an event: ", [one for one in found if not one.event])):
        words = Counter(one.verdict for one in some)
        remark += f"; {title}" + ", ".join(f"{word} {count}" for word, count in sorted(words.items()))
    others = Counter(name for one in found for name in one.others)
    remark += f"; others doubted: {dict(others)}" if others else ""
    return f"{fault.kind}: {fault.name}", calm, "false calm", remark


def rows():
    done = outcomes()
    for firmware in (False, True):
        of = {
            fault: [one for job, one in done.items() if job[0] == fault.name and job[3] is firmware]
            for fault in (faults.SOUND, *faults.FAULTS)
        }
        if not any(of.values()):
            continue
        way = "through the firmware" if firmware else "by decoded columns"
        for fault, found in of.items():
            yield of_fault(fault, found)
        every = [one for fault in faults.FAULTS for one in of[fault]]
        lean = [one for one in every if one.event]
        nameable = [one for fault in faults.FAULTS if fault.channels and fault.evidence for one in of[fault]]
        least = min(len(of[fault]) for fault in faults.FAULTS)
        yield "all faults: drives of the fault with fewest", least, "drives", f"{way}; with an event and without"
        calm = sum(one.calm for one in lean)
        yield "all faults: false calm", calm, "drives", f"limit 0; of {len(lean)} with an event, {way}"
        leaner = sum(one.leaner > 0 for one in lean)
        yield "all faults: less fuel suggested at the event", leaner, "drives", f"limit 0; of {len(lean)}"
        named = 100.0 * sum(one.named for one in nameable) / max(len(nameable), 1)
        yield "all faults: named", named, "%", f"limit 95; of {len(nameable)} with evidence"
