"""The reader that people use against the second one, which was written from the format's page alone."""

from pathlib import Path

import numpy as np
import pytest
import second_reader
from ring_bytes import Ring
from truth import desk
from truth.profile import Profile, holds
from truth.signals import Signals, Tach
from truth.story import three_pulls

import ringpull
from ringpull.errors import RingpullError
from shared_math import transfer

DEMO_LOGS = Path(__file__).parents[3] / "demo_logs"


def assert_same(drive, ring):
    assert {session.id for session in drive.sessions} == set(ring.sessions)
    for session in drive.sessions:
        other = ring.sessions[session.id]
        raw = session.raw()
        names = other.names()
        assert list(raw.columns) == ["row", *names]
        assert raw["row"].tolist() == list(other.rows)
        for at, name in enumerate(names):
            assert raw[name].tolist() == [row[at] for row in other.rows.values()], name
        assert session.period_s * 1e6 == pytest.approx(other.setup["period_us"])
        analog = [column for column in other.setup["columns"] if column["r"] == "adc"]
        # Volts by the page's two numbers, for the channels whose configuration is a plain straight line
        for column in analog:
            channel = next(one for one in other.setup["config"]["channels"] if one["name"] == column["n"])
            if channel.get("states") or len(channel.get("volts", ())) != 2 or channel.get("scale") == "afr":
                continue
            at = names.index(column["n"])
            (v0, v1), (y0, y1) = channel["volts"], channel["values"]
            decoded = next(one.column for one in session.channels if one.name == column["n"])
            for value, row in list(zip(session.frame()[decoded], other.rows.values(), strict=True))[::101]:
                volts = column["o"] + column["s"] * row[at]
                if v0 < volts < v1:
                    assert value == pytest.approx(y0 + (volts - v0) / (v1 - v0) * (y1 - y0), abs=1e-9)


def ring_files(folder: Path) -> list[Path]:
    return sorted(folder.glob("*.rpl"))


@pytest.mark.parametrize("rate_hz", [10, 200])
def test_dry_runs_read_the_same(tmp_path, rate_hz):
    card = desk.dry_run(three_pulls(rate_hz=rate_hz).signals, tmp_path)
    files = ring_files(card)
    assert len(files) == 2
    ring = second_reader.read_ring(*files)
    assert ring.damaged == [] and ring.refused == [] and ring.foreign == 0 and ring.undecoded == []
    drive = ringpull.read(card)
    assert_same(drive, ring)
    assert drive.blocks.read == ring.read and drive.blocks.damaged == 0
    for file in files:
        assert_same(ringpull.read(file), second_reader.read_ring(file))


def test_damaged_files_read_the_same(tmp_path):
    signals = Signals(
        holds([2000, 5000], 10.0, 2.0), Tach(4, glitches=True), {"lambda_1": Profile([(0, 0.8), (20, 1.2)])}
    )
    card = desk.dry_run(signals, tmp_path)
    data = bytearray((card / "drive.rpl").read_bytes())
    for slot in (5, 9, 10, 20):
        data[slot * 512 + 40] ^= 1
    (tmp_path / "drive.rpl").write_bytes(data)
    ring = second_reader.read_ring(tmp_path / "drive.rpl")
    drive = ringpull.read(tmp_path / "drive.rpl")
    assert len(ring.damaged) == 4 == drive.blocks.damaged
    assert sorted(one.block for one in drive.damage) == [5, 9, 10, 20]
    assert_same(drive, ring)


@pytest.mark.skipif(not DEMO_LOGS.is_dir(), reason="demo_logs/ is not there")
def test_kept_logs_read_the_same():
    folders = sorted({path.parent for path in DEMO_LOGS.rglob("*.rpl")})
    assert folders
    for folder in folders:
        for file in ring_files(folder):
            assert_same(ringpull.read(file), second_reader.read_ring(file))


def test_the_pages_own_example(tmp_path):
    """The annotated dump of FORMAT.md, read from the page: the rows that its prose promises."""
    page = (Path(__file__).parents[3] / "shared_math" / "FORMAT.md").read_text()
    data = bytearray()
    for line in page.split("```dump\n")[1].split("```")[0].splitlines():
        at, rest = line.split(":", 1)
        assert int(at, 16) == len(data)
        if rest.strip().startswith("zeros up to byte"):
            data += bytes(int(rest.split()[-1], 16) + 1 - len(data))
        else:
            data += bytes.fromhex(rest[:48])
    (tmp_path / "drive.rpl").write_bytes(data)
    ring = second_reader.read_ring(tmp_path / "drive.rpl")
    (session,) = ring.sessions.values()
    assert session.names() == ["lambda_1", "mark"]
    assert session.rows == {7: (1000, 0), 8: (1003, 0), 9: (1001, 1), 10: (1004, 1)}
    assert ring.damaged == [] and ring.read == 3


def changed(**keys):
    """A function that gives column descriptions whose first one has these keys; None takes a key away."""

    def change(columns):
        first = {key: value for key, value in ({**columns[0], **keys}).items() if value is not None}
        return [first, *columns[1:]]

    return change


UNUSABLE = {
    "no role": changed(r=None),
    "name is a number": changed(n=7),
    "no width": changed(b=None),
    "width 0": changed(b=0),
    "width 25": changed(b=25),
    "width is true": changed(b=True),
    "no volts per count": changed(s=None),
    "volts at zero are a text": changed(o="0"),
    "volts per count are no number": changed(s=float("nan")),
    "one name twice": lambda columns: [*columns[:-1], columns[0]],
    "no columns": lambda _columns: [],
    "columns are a text": lambda _columns: "lambda_1",
}


@pytest.mark.parametrize("what", [*UNUSABLE, "period 0", "period is a text", "no object", "no JSON", "not UTF-8"])
def test_both_leave_a_setup_text_that_describes_no_rows_and_take_the_next(tmp_path, what):
    ring = Ring()
    if what in UNUSABLE:
        ring.setup(columns=UNUSABLE[what](ring.columns))
    elif what.startswith("period"):
        ring.setup(period_us=0 if what == "period 0" else "5000")
    else:
        ring.text({"no object": b"[1, 2]", "no JSON": b'{"columns": [', "not UTF-8": b'{"utc": "\xff"}'}[what])
    ring.numbered(0, 80)
    path = tmp_path / "drive.rpl"
    path.write_bytes(ring.data())
    assert second_reader.read_ring(path).sessions == {}
    with pytest.raises(RingpullError):
        ringpull.read(path)
    ring.setup()
    ring.numbered(80, 20)
    path.write_bytes(ring.data())
    drive = ringpull.read(path)
    assert_same(drive, second_reader.read_ring(path))
    assert [session.rows for session in drive.sessions] == [100]


def test_lambda_and_engine_speed_come_out_of_the_page_alone():
    """What a stranger computes by FORMAT.md is what the program decodes; engine speed but for cycles in which the tach
    missed an edge, which the program finds out."""
    for name in ("v1_marked", "v1_unmarked"):
        (other,) = second_reader.read_ring(DEMO_LOGS / name / "drive.rpl").sessions.values()
        (session,) = ringpull.read(DEMO_LOGS / name / "drive.rpl").sessions
        frame = session.frame().set_index(session.raw()["row"])
        for channel in session.channels:
            if channel.kind in ("lambda", "linear", "table"):
                told = second_reader.values(other, channel.name)
                assert list(told) == frame.index.tolist()
                mine = np.array([np.nan if one is None else one for one in told.values()])
                np.testing.assert_allclose(mine, frame[channel.column], rtol=1e-9, equal_nan=True)
        told = second_reader.values(other, "engine_speed")
        mine = np.array([np.nan if one is None else one for one in told.values()])
        both = np.isfinite(mine) & np.isfinite(frame["engine_speed_rpm"])
        assert both.mean() > 0.7 and both.sum() > 0.95 * np.isfinite(frame["engine_speed_rpm"]).sum()
        off = np.abs(mine[both] / frame["engine_speed_rpm"][both] - 1)
        print(name, [float(np.percentile(off, q)) for q in (50, 80, 90, 95, 97, 99)])
        assert np.median(off) < 1e-4 and np.percentile(off, 90) < 0.005


def test_states_and_the_end_of_a_range_have_no_value():
    channel = {
        "volts": [0, 5],
        "values": [0.6, 1.4],
        "states": [{"name": "cold", "volts": [4.9, 5.1]}],
        "kind": "lambda",
    }
    for volts, value in ((2.5, 1.0), (4.9, None), (-0.04, 0.5936), (-0.06, None), (5.2, None)):
        told, mine = second_reader._of_volts(channel, volts), transfer.to_value(channel, volts)
        assert (told is None) == (value is None) == (mine is None)
        assert value is None or told == pytest.approx(value) == pytest.approx(mine)
    afr = {"volts": [0, 5], "values": [10, 20], "scale": "afr", "stoich": 14.7, "kind": "lambda"}
    assert second_reader._of_volts(afr, 2.35) == pytest.approx(1.0) == pytest.approx(transfer.to_value(afr, 2.35))
