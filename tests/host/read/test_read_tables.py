"""Tables: the same in pieces as at once, quick looks the same as long ones, and files that hold what they show."""

import json

import numpy as np
import pandas as pd
import pytest
from ring_bytes import CONFIG, Ring

import ringpull
from ringpull.cli import main
from ringpull.export import FORMATS
from ringpull.ring.values import decoded_columns, service
from shared_math import layout

PERIOD_US = 10000
ROWS = 9000


def drive_rows(ring: Ring) -> list[list[int]]:
    """An engine that speeds up and slows down, a lambda that wanders, two pulls (the second spoiled), late rows."""
    time_s = np.arange(ROWS) * PERIOD_US / 1e6
    phase = np.cumsum((3000 + 2500 * np.sin(time_s / 6)) / 30 * PERIOD_US / 1e6)
    count = np.floor(phase).astype(int)
    age = ((phase - count) / np.gradient(phase) * PERIOD_US).astype(int)
    random = np.random.default_rng(2)
    out = []
    for n in range(ROWS):
        mark = 0 if n < 2000 else 1 if n < 2600 else 2 if n < 5000 else 3 if n < 5500 else 4
        out.append(
            ring.row(
                n,
                lambda_1=1500 + 700 * np.sin(n / 300) + random.integers(0, 3),
                map=200 + n % 4 + 2500 * (n % 1000 > 400),
                mark=mark,
                flag=4 if n > 5700 else 0,
                late=random.integers(0, 60),
                **{
                    "engine_speed": count[n],
                    "engine_speed.age": age[n],
                    "engine_speed.rejected": 65500 + n // 40 & 0xFFFF,
                },
            )
        )
    return out


@pytest.fixture(scope="module")
def path(tmp_path_factory):
    ring = Ring()
    ring.setup(utc="2031-05-06T07:08:09Z")
    rows = drive_rows(ring)
    ring.rows(0, rows[:4000])
    ring.setup()
    ring.rows(4020, rows[4020:], lost=20)
    ring.text(json.dumps({"rows": ROWS - 20, "late_us": 77}).encode(), layout.HEALTH)
    out = tmp_path_factory.mktemp("ring") / "drive.rpl"
    out.write_bytes(ring.data())
    return out


@pytest.fixture(scope="module")
def session(path):
    (one,) = ringpull.read(path).sessions
    return one


def test_values(session):
    frame, raw = session.frame(), session.raw()
    assert list(frame.columns) == ["session", "time_s", "lambda_1", "engine_speed_rpm", "map_kpa", "door", "mark"]
    volts = 3.3 / 4096 * 1.68 * (raw["lambda_1"] + 0.5)
    np.testing.assert_allclose(frame["lambda_1"], 0.6 + volts / 5 * 0.8)
    np.testing.assert_allclose(session.volts("lambda_1"), volts)
    low = raw["map"] < 300  # below the sensor's 0.5 V: nothing can be told
    assert frame["map_kpa"].isna().equals(low) and low.any() and not low.all()
    np.testing.assert_array_equal(frame["door"], raw["row"] % 7 == 0)
    truth = 3000 + 2500 * np.sin(frame["time_s"] / 6)
    error = (frame["engine_speed_rpm"] / truth - 1).abs()
    assert error.notna().mean() > 0.99 and error.max() < 0.02
    assert set(frame["mark"][(raw["row"] >= 2000) & (raw["row"] < 2600)]) == {1}
    assert set(frame["mark"][raw["row"] >= 5500]) == {0}


def test_marks_and_timing(session):
    first, second = session.marks
    assert (first.id, first.start_s, first.end_s, first.spoiled) == (1, 20.0, 26.0, False)
    assert (second.id, second.start_s, second.end_s, second.spoiled) == (2, 50.0, 55.0, True)
    timing = session.timing
    assert timing.rejected_edges == {"engine_speed": 65500 + (ROWS - 1) // 40}
    assert timing.late_us_max == 59 and 57 <= timing.late_us_p99 <= 59
    assert timing.lost_rows == 20 and timing.health["rows"] == ROWS - 20


@pytest.mark.parametrize("together", [1, 3, 50, service.GLANCE])
def test_a_quick_look_tells_what_a_long_one_tells(session, monkeypatch, together):
    monkeypatch.setattr(service, "GLANCE", together)
    blocks = session._blocks
    long, quick = service.of_blocks(blocks), service._of_long(blocks)
    assert quick.marks == long.marks and quick.rejected == long.rejected
    assert long.late_blocks is None and 0 < quick.late_blocks <= service.SAMPLE
    assert quick.late_us_max == 77  # the logger's own word for the rows that were not looked at


@pytest.mark.parametrize("least", [500, 1300, 5000, 10**6])
def test_pieces_are_the_whole(session, least):
    pieces = list(decoded_columns.pieces(session._blocks, least, 16))
    assert len(pieces) == 1 if least > ROWS else len(pieces) > 1
    joined = {name: np.concatenate([piece[name] for piece in pieces]) for name in pieces[0]}
    frame = session.frame()
    assert list(joined) == list(frame.columns)
    for name, values in joined.items():
        np.testing.assert_allclose(values, frame[name], rtol=1e-9, equal_nan=True)


def run(*words) -> int:
    return main.main([str(word) for word in words])


@pytest.mark.parametrize("ending", [ending.lstrip(".") for ending in FORMATS])
def test_decode(path, session, tmp_path, ending, capsys):
    out = tmp_path / f"table.{ending}"
    assert run("decode", path, "-o", out, "--json") == 0
    told = json.loads(capsys.readouterr().out)
    assert {"file": str(out), "rows": ROWS - 20, "sessions": [1], "format": ending}.items() <= told.items()
    assert told["bytes"] == out.stat().st_size and told["columns"]["map_kpa"] == "kPa"
    assert [one.name for one in tmp_path.iterdir()] == [out.name]
    frame = session.frame()
    if ending == "csv":
        text = out.read_text().splitlines()
        assert text[0] == ",".join(frame.columns) and len(text) == ROWS - 20 + 1
        got = pd.read_csv(out)
        np.testing.assert_array_equal(got["time_s"], np.round(frame["time_s"], 6))
        tolerance = 1e-6
    elif ending == "parquet":
        got = pd.read_parquet(out)
        tolerance = 0
    else:
        assert ending == "mf4", "a format without a reading back"
        asammdf = pytest.importorskip("asammdf")
        with asammdf.MDF(out) as mdf:
            signal = mdf.get("lambda_1")
            np.testing.assert_array_equal(signal.samples, frame["lambda_1"])
            np.testing.assert_allclose(signal.timestamps, frame["time_s"])
            np.testing.assert_array_equal(mdf.get("session").samples, frame["session"])
            speed = mdf.get("map_kpa", ignore_invalidation_bits=False)
            assert len(speed.samples) == frame["map_kpa"].notna().sum() and speed.unit == "kPa"
        return
    assert list(got.columns) == list(frame.columns)
    for name in frame.columns:
        np.testing.assert_allclose(got[name], frame[name], rtol=tolerance, atol=0, equal_nan=True)
    assert got["session"].dtype.kind == "i"


def test_several_sessions_in_one_table(tmp_path):
    ring = Ring()
    for number, names in ((1, ["lambda_1", "map"]), (2, ["lambda_1", "engine_speed", "door"])):
        ring.session = number
        ring.settings = CONFIG | {"channels": [one for one in CONFIG["channels"] if one["name"] in names]}
        ring.__post_init__()
        ring.setup()
        ring.numbered(0, 300)
    (tmp_path / "drive.rpl").write_bytes(ring.data())
    assert run("decode", tmp_path, "-o", tmp_path / "all.csv") == 0
    got = pd.read_csv(tmp_path / "all.csv")
    assert list(got.columns) == ["session", "time_s", "lambda_1", "map_kpa", "engine_speed_rpm", "door", "mark"]
    assert got["session"].tolist() == [1] * 300 + [2] * 300
    assert got["map_kpa"][300:].isna().all() and got["door"][:300].isna().all()
    assert run("decode", tmp_path, "-o", tmp_path / "two.csv", "--session", 2) == 0
    assert set(pd.read_csv(tmp_path / "two.csv")["session"]) == {2}
    assert run("decode", tmp_path, "-o", tmp_path / "three.csv", "--session", 3) == 2


def test_info(path, capsys):
    assert run("info", path, "--json") == 0
    told = json.loads(capsys.readouterr().out)
    (session,) = told["sessions"]
    assert session["id"] == 1 and session["start_utc"] == "2031-05-06T07:08:09Z"
    assert session["rows"] == ROWS - 20 and session["lost_rows"] == 20
    assert session["duration_s"] == ROWS / 100 and session["rate_hz"] == 100
    assert session["channels"] == ["lambda_1", "engine_speed_rpm", "map_kpa", "door"]
    assert session["marks"] == [20.0, 50.0]
    assert told["blocks"]["damaged"] == told["blocks"]["missing"] == 0 and told["damage"] == []
    assert run("info", path) == 0
    text = capsys.readouterr().out
    for word in ("session 1", "20.00-26.00 s", "50.00-55.00 s (spoiled: ", "40.000-40.200 s", "20 rows lost"):
        assert word in text


def test_info_lists_damage(path, tmp_path, capsys):
    data = bytearray(path.read_bytes())
    for slot in (20, 21, 22, 40):
        data[slot * 512 + 300] ^= 4
    (tmp_path / "hurt.rpl").write_bytes(data)
    assert run("info", tmp_path / "hurt.rpl") == 0
    text = capsys.readouterr().out
    assert "4 damaged, 4 missing" in text and "blocks 20-22: damaged" in text and "block 40: damaged" in text
    assert run("info", tmp_path / "hurt.rpl", "--json") == 0
    told = json.loads(capsys.readouterr().out)
    assert [one["block"] for one in told["damage"]] == [20, 21, 22, 40]


def test_times_in_csv_are_whole_microseconds(tmp_path):
    """At 300 rows a second, 3333.3 us apart: no two rows with one time, and none of a shortened one."""
    ring = Ring(period_us=10000 / 3)
    ring.setup()
    ring.numbered(0, 10)
    (tmp_path / "drive.rpl").write_bytes(ring.data())
    assert run("decode", tmp_path, "-o", tmp_path / "out.csv") == 0
    times = [line.split(",")[1] for line in (tmp_path / "out.csv").read_text().splitlines()[1:]]
    assert times[:4] == ["0", "0.003333", "0.006667", "0.01"] and times[-1] == "0.03"
