"""One drive of the real firmware on every kind of card that people have: the PC reads true rows, and what is missing is
counted. Both readers agree."""

import json

import numpy as np
import pytest
import second_reader
from truth.storage import STORAGES

import ringpull
from ringpull.cli.main import main
from ringpull.dryrun.run import dry_run
from ringpull.errors import RingpullError
from shared_math import layout

RATE_HZ = 100
UNTIL_S = 14.0
RISE_V = 0.2  # a second, so that each row tells when it was
CONFIG = {
    "version": 1,
    "rate_hz": RATE_HZ,
    "engine": {"cylinders": 4, "strokes": 4},
    "channels": [
        {"name": "map", "input": "a0", "kind": "linear", "unit": "kPa", "volts": [0, 5], "values": [0, 250]},
        {"name": "engine_speed", "input": "p0", "kind": "pulses", "per_rev": 2, "max_rpm": 9000},
    ],
}


@pytest.fixture(scope="module")
def signals(tmp_path_factory):
    folder = tmp_path_factory.mktemp("signals")
    (folder / "logger.json").write_text(json.dumps(CONFIG))
    (folder / "volts.csv").write_text(f"t_s,map\n0,0.5\n{UNTIL_S},{0.5 + RISE_V * UNTIL_S}\n")
    edges = "\n".join(f"{t:.6f},engine_speed" for t in np.arange(0.01, UNTIL_S, 0.01))
    (folder / "edges.csv").write_text("t_s,input\n" + edges + "\n")
    (folder / "buttons.csv").write_text("t_s,event\n5,press\n5.1,release\n9,press\n9.1,release\n")
    return [folder / name for name in ("logger.json", "volts.csv", "edges.csv", "buttons.csv")]


def rows_by_second(card):
    ring = second_reader.read_ring(*(card / name for name in ("drive.rpl", "pulls.rpl")))
    return {number: session.rows for number, session in ring.sessions.items() if session.rows}


# Relatives of the others
SELDOM = {
    "a ring of which nothing can be used",
    "used before, then formatted",
    "nine bad slots at the start",
    "sectors at the start that can't be read",
    "swapped for another",
    "swapped for its clone",
    "with a wrong second table",
    "in fragments",
}


@pytest.mark.parametrize(
    "name", [pytest.param(name, marks=pytest.mark.slow if name in SELDOM else ()) for name in STORAGES]
)
def test_a_drive_on_a_card(name, signals, tmp_path):
    storage = STORAGES[name]
    image, card = tmp_path / "card.img", tmp_path / "card"
    storage.prepare(image, lambda: dry_run(*signals, tmp_path / "earlier", image=image, seed=7))
    story = storage.story(image)
    dry_run(*signals, card, image=image, card_story=story or None, quick_format=storage.quick_format, seed=8)
    if storage.full:
        with pytest.raises(RingpullError):
            ringpull.read(card)
        return
    drive = ringpull.read(card)
    assert len(drive.sessions) == storage.sessions
    raws = {session.id: session.raw() for session in drive.sessions}
    found = {
        number: dict(zip(raw["row"].tolist(), map(tuple, raw.drop(columns="row").to_numpy().tolist()), strict=True))
        for number, raw in raws.items()
    }
    assert found == rows_by_second(card)
    for session in drive.sessions:
        frame = session.frame()
        np.testing.assert_allclose(frame["map_kpa"], 50 * (0.5 + RISE_V * frame["time_s"]), atol=2.0)
    last = drive.sessions[-1]
    row = raws[last.id]["row"].to_numpy()
    assert row[-1] >= UNTIL_S * RATE_HZ - 3 and row[0] <= (0 if storage.whole else 6 * RATE_HZ)
    lamp = int(raws[last.id]["lamp"].iloc[-1])
    assert lamp == (layout.LAMP_FAULT + storage.fault if storage.fault else layout.LAMP_RECORDING)
    if storage.whole:
        assert last.faults == ([storage.fault] if storage.fault else [])
        np.testing.assert_array_equal(row, np.arange(len(row)))
        assert last.lost_rows == 0 and [round(mark.start_s) for mark in last.marks] == [5]
    holes = sum(end - start for start, end, _ in last.gaps())
    assert len(row) + round(holes * RATE_HZ) == row[-1] + 1 - row[0]
    assert len([ring for ring in drive.rings if ring.sessions]) == storage.rings
    assert main(["pulls", str(card)]) == 0
