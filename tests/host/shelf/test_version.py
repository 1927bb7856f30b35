"""A judgement that comes to other figures has another number: drives of different numbers are never mixed unasked."""

from pathlib import Path

from ringpull.shelf import judging
from ringpull.shelf.version import ANALYSIS

LOGS = Path(__file__).resolve().parents[3] / "demo_logs"
# Number of the analysis -> what it makes of two kept logs: cells, mean of measured over target, of its largest short
# mean, lean events, deepest of them, lag in ms
KNOWN = {
    3: {
        "v1_marked": (36, 1.0052, 1.0103, 1, 0.1003, 80),
        "v1_spoiled": (24, 1.0, 1.0025, 0, 0.0, 80),
    }
}


def figures(log):
    judged = judging.judge(LOGS / log / "pulls.rpl")
    cells, events = judged.tables["cells"], judged.tables["events"]
    return (
        len(cells),
        round(sum(one["ratio"] for one in cells) / len(cells), 4),
        round(sum(one["ratio_max"] for one in cells) / len(cells), 4),
        len(events),
        round(max((one["depth"] for one in events), default=0.0), 4),
        round(1000 * judged.tables["delays"][0]["lag_s"]),
    )


def test_the_numbered_analysis_comes_to_these_figures():
    found = {log: figures(log) for log in KNOWN[ANALYSIS]}
    assert found == KNOWN[ANALYSIS], "figures have changed: raise ANALYSIS in shelf/version.py and write them here"
