"""How well the logger ran, from the firmware's columns to what info and the report say of it."""

import json

import pytest
import ring_bytes
from truth import desk
from truth.profile import Profile, holds
from truth.signals import Signals, Tach

import ringpull
from ringpull.dryrun.run import dry_run
from ringpull.ring.values import service

DIPS = Profile([(0, 12.6), (3, 12.6), (3.1, 8.4), (3.6, 8.4), (4, 12.9), (70, 12.9), (70.2, 10.2), (71, 9.9),
                (71.5, 10.4), (72, 9.7), (73, 13.8), (80, 13.8)])  # fmt: skip


@pytest.fixture(scope="module")
def card(tmp_path_factory):
    """80 s on a slow card: the supply dips twice, the second time wavering without coming back; past the health block
    that is written every minute."""
    folder = tmp_path_factory.mktemp("health")
    signals = Signals(holds([2000], 80.0), Tach(2), {"lambda_1": Profile([(0, 0.9), (1, 0.9)]), "battery": DIPS})
    signals.write(folder)
    files = [folder / name for name in ("logger.json", "volts.csv", "edges.csv", "buttons.csv")]
    dry_run(*files, folder / "card", slow_card="hard")
    return folder / "card"


def test_dips_stalls_and_heap_are_in_the_file(card):
    (session,) = ringpull.read(card).sessions
    raw, timing = session.raw(), session.timing
    steps = raw["dips"].diff().fillna(raw["dips"])
    times = (raw["row"][steps > 0] * session.period_s).tolist()
    assert len(times) == 2 and 3.0 < times[0] < 3.2 and 70.2 < times[1] < 71.2
    assert timing.supply_dips == 2
    assert timing.stall_ms_max == raw["stall"].max() == timing.health["stall_us"] // 1000 > 100
    assert set(raw["stall"].unique()) & set(range(1, 16)) == set()
    assert 0 < timing.heap_kb_least == raw["heap"].min() == timing.health["heap"] // 1024 < 192
    assert (raw["heap"].astype("int64").diff().dropna() <= 0).all()


def test_info_says_so(card):
    text = desk.command("info", card).stdout
    (line,) = [line for line in text.splitlines() if line.startswith("  health")]
    assert "longest stall" in line and "kB of memory free" in line and "supply below 10 V 2 times" in line
    timing = json.loads(desk.command("info", card, "--json").stdout)["sessions"][0]["timing"]
    assert timing["supply_dips"] == 2 and timing["stall_ms_max"] > 100


def test_the_report_says_so(card, tmp_path):
    assert desk.command("report", card, "-o", tmp_path / "r.html").returncode == 0
    page = (tmp_path / "r.html").read_text()
    part = page[page.index('id="health"') :]
    assert "longest stall" in part and "least free memory" in part and "supply below 10 V, times" in part


def test_of_a_long_session_the_same_is_told(card, monkeypatch):
    whole = ringpull.read(card).sessions[0].timing
    monkeypatch.setattr(service, "LONG", 0)
    long = ringpull.read(card).sessions[0].timing
    for key in ("supply_dips", "stall_ms_max", "heap_kb_least", "rejected_edges", "lost_rows"):
        assert getattr(long, key) == getattr(whole, key), key


def test_files_without_these_columns_do_not_tell(tmp_path):
    ring = ring_bytes.Ring()
    ring.columns = [column for column in ring.columns if column["r"] not in ("stall", "heap", "dips")]
    ring.bits, ring.names = [[column[key] for column in ring.columns] for key in ("b", "n")]
    ring.setup()
    ring.numbered(0, 200)
    (tmp_path / "drive.rpl").write_bytes(ring.data())
    timing = ringpull.read(tmp_path).sessions[0].timing
    assert timing.stall_ms_max is None and timing.heap_kb_least is None and timing.supply_dips is None
    text = desk.command("info", tmp_path).stdout
    assert "health" not in text and "timing" in text
