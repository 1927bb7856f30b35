"""The fault campaign: every fault of tests/truth/faults.py on random drives with a true lean event and without, through
firmware, file and answer.

RINGPULL_FAULT_DRIVES sets how many drives of each kind (2 unless set; 20 for a full run, which takes hours);
RINGPULL_FAULT_WAY=columns leaves the firmware out. The table of the last run in which the number
was set stands in FAULTS_RESULTS.md.
"""

from __future__ import annotations

import os
from collections import Counter
from concurrent.futures import ProcessPoolExecutor
from pathlib import Path

from bench import faults as campaign
from truth import faults

DRIVES = int(os.environ.get("RINGPULL_FAULT_DRIVES", "2"))
FIRMWARE = os.environ.get("RINGPULL_FAULT_WAY", "firmware") == "firmware"
RESULTS = Path(__file__).with_name("FAULTS_RESULTS.md") if "RINGPULL_FAULT_DRIVES" in os.environ else None
WORKERS = int(os.environ.get("RINGPULL_FAULT_WORKERS", str(os.cpu_count())))


def rows():
    way = "through the firmware" if FIRMWARE else "by decoded columns"
    calm = leaner = events = named = nameable = 0
    with ProcessPoolExecutor(max_workers=WORKERS) as pool:
        for fault in (faults.SOUND, *faults.FAULTS):
            jobs = [
                pool.submit(campaign.run, fault.name, seed, event, FIRMWARE)
                for event in (True, False)
                for seed in campaign.drives_for(fault, DRIVES, event)
            ]
            found = [job.result() for job in jobs]
            lean = [one for one in found if one.event]
            calm_here, leaner_here = sum(one.calm for one in lean), sum(one.leaner > 0 for one in lean)
            named_here = sum(one.named for one in found)
            verdicts = Counter(one.verdict for one in lean)
            clean = Counter(one.verdict for one in found if not one.event)
            remark = f"calm {calm_here}, factor below 1 {leaner_here} of {len(lean)} with an event"
            remark += f"; named {named_here} of {len(found)}" if fault.channels else ""
            remark += "; " + ", ".join(f"{word} {count}" for word, count in sorted(verdicts.items()))
            remark += "; without an event: " + ", ".join(f"{word} {count}" for word, count in sorted(clean.items()))
            others = Counter(name for one in found for name in one.others)
            remark += f"; others doubted: {dict(others)}" if others else ""
            yield f"{fault.kind}: {fault.name}", calm_here, "false calm", remark
            calm, leaner, events = calm + calm_here, leaner + leaner_here, events + len(lean)
            if fault.channels and fault.evidence:
                named, nameable = named + named_here, nameable + len(found)
    count = len(faults.FAULTS)
    yield "drives of each fault, with and without an event", DRIVES, "drives", way
    yield "all faults: false calm", calm, "drives", f"limit 0; of {events} with an event, {count} faults, {way}"
    yield "all faults: less fuel suggested at the event", leaner, "drives", f"limit 0; of {events}"
    yield "all faults: named", 100.0 * named / max(nameable, 1), "%", f"limit 95; of {nameable} with evidence"
