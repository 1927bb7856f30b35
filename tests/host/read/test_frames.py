"""Frames as a user of pandas meets them: what was logged, corrected columns, units, time index, several sessions."""

import json
import shutil
from pathlib import Path

import numpy as np
import pandas as pd
import pytest

import ringpull
from ringpull.cli.main import main
from ringpull.export.parquet import about

LOGS = Path(__file__).resolve().parents[3] / "demo_logs"
MARKED = LOGS / "v1_marked"


@pytest.fixture(scope="module")
def drive():
    return ringpull.read(MARKED)


def test_read_is_seen():
    assert "read" in dir(ringpull)


def test_a_pulls_frame_gives_what_the_command_prints(drive, capsys):
    assert main(["pulls", str(MARKED), "--json"]) == 0
    printed = json.loads(capsys.readouterr().out)["pulls"]
    for pull, told in zip(drive.pulls(), printed, strict=True):
        frame = pull.frame()
        judged = frame["lambda_1_aligned"][frame["judged"]]
        assert judged.mean() == pytest.approx(told["lambda_mean"], abs=2e-4)
        assert frame["judged"].sum() * 0.005 == pytest.approx(told["judged_s"], abs=0.02)
        logged = drive.sessions[0].frame().loc[frame.index]
        assert frame[list(logged)].equals(logged)


def test_units_are_in_attrs_also_after_parquet(drive, tmp_path):
    units = drive.sessions[0].frame().attrs["units"]
    assert units["map_kpa"] == "kPa" and units["engine_speed_rpm"] == "rpm" and units["time_s"] == "s"
    assert drive.frame().attrs["units"] == units
    aligned = drive.pulls()[0].frame().attrs["units"]
    assert aligned.items() >= units.items() and "lambda_1_aligned" in aligned
    path = tmp_path / "drive.parquet"
    assert main(["decode", str(MARKED), "-o", str(path)]) == 0
    kept = pd.read_parquet(path)
    assert kept.attrs["units"] == units == about(drive.sessions)["units"]


def test_time_can_be_the_index(drive):
    plain, timed = drive.sessions[0].frame(), drive.sessions[0].frame(time_index=True)
    assert isinstance(timed.index, pd.TimedeltaIndex) and timed.index.name == "time"
    np.testing.assert_allclose(timed.index.total_seconds(), plain["time_s"], atol=1e-8)
    assert timed.attrs == plain.attrs and "time_s" in timed
    means = drive.pulls()[0].frame(time_index=True)["map_kpa"].resample("100ms").mean()
    assert len(means) == pytest.approx(10 * (drive.pulls()[0].end_s - drive.pulls()[0].start_s), abs=2)


def test_a_drives_frame_has_all_sessions(drive):
    from types import SimpleNamespace

    whole = drive.frame()
    assert len(whole) == sum(session.rows for session in drive.sessions) and set(whole["session"]) == {1}
    first = drive.sessions[0]
    frame = first.frame().drop(columns="battery_v").assign(session=2)
    units = {name: unit for name, unit in first.units.items() if name != "battery_v"}
    second = SimpleNamespace(frame=lambda time_index=False: frame, units=units)
    both = ringpull.read(MARKED)
    both.sessions = [first, second]
    told = both.frame()
    assert len(told) == 2 * first.rows and told["battery_v"][told["session"] == 2].isna().all()
    assert told.attrs["units"]["battery_v"] == "V" and told.index.is_unique


def test_answer_and_instruments_of_a_drive(drive):
    answer = drive.answer()
    assert answer is drive.answer() and answer.verdict == "attention" and " % lean, in 1 of 3 pulls" in answer.sentence
    assert [hole.pulls for hole in answer.holes] == [(2,)]
    assert drive.answer({"preset": "gas-natural"}).verdict != "attention"
    assert {one.channel for one in drive.instruments()} >= {"lambda_1", "map", "throttle"}


def test_decode_says_what_was_written(tmp_path, capsys):
    path = tmp_path / "drive.csv"
    assert main(["decode", str(MARKED), "-o", str(path), "--json"]) == 0
    told = json.loads(capsys.readouterr().out)
    assert told["file"] == str(path) and told["format"] == "csv" and told["bytes"] == path.stat().st_size
    head = path.read_text().splitlines()
    assert told["rows"] == len(head) - 1 and list(told["columns"]) == [one.strip('"') for one in head[0].split(",")]
    assert told["columns"]["map_kpa"] == "kPa"


@pytest.mark.parametrize(
    "words", [("info",), ("pulls",), ("decode", "-o", "x.csv"), ("fuelmap",), ("power",)], ids=lambda words: words[0]
)
def test_errors_are_json_too_where_json_is_asked_for(words, tmp_path, capsys):
    command, *rest = words
    assert main([command, str(tmp_path / "nowhere"), *rest, "--json"]) == 2
    out, err = capsys.readouterr()
    told = json.loads(out)["error"]
    assert "nowhere" in told["what"] and told["cause"] and told["step"]
    assert err.startswith("error: " + told["what"])


def test_renamed_files_of_one_card_are_read_as_one(drive, tmp_path):
    shutil.copy(MARKED / "drive.rpl", tmp_path / "monday.rpl")
    shutil.copy(MARKED / "pulls.rpl", tmp_path / "the pulls.rpl")
    again = ringpull.read(tmp_path)
    assert again.sessions[0].frame().equals(drive.sessions[0].frame()) and again.blocks.missing == 0


def test_renamed_files_of_two_cards_are_told_apart(tmp_path, capsys):
    shutil.copy(MARKED / "drive.rpl", tmp_path / "monday.rpl")
    shutil.copy(LOGS / "v1_unmarked" / "drive.rpl", tmp_path / "tuesday.rpl")
    assert main(["pulls", str(tmp_path)]) == 2
    err = capsys.readouterr().err
    assert "monday.rpl, tuesday.rpl" in err and len(err.strip().splitlines()) == 3
    # the line that it gives works
    assert main(["pulls", str(tmp_path / "monday.rpl")]) == 0
    ring = ringpull.read(tmp_path / "tuesday.rpl").ring_id
    assert ringpull.read(tmp_path, ring=ring).pulls()[0].source == "found"


def test_two_drives_under_the_same_numbers_are_not_mixed(tmp_path):
    from ringpull.errors import BadUsage
    from ringpull.ring.blocks import store
    from shared_math import layout

    data = bytearray((MARKED / "drive.rpl").read_bytes())
    (tmp_path / "one.rpl").write_bytes(data)
    for slot in range(40, 60):
        block = memoryview(data)[slot * layout.SLOT : (slot + 1) * layout.SLOT]
        block[100] ^= 1
        reseal(block)
    (tmp_path / "two.rpl").write_bytes(data)
    with pytest.raises(BadUsage, match="do not belong together"):
        store.open_store(tmp_path)


def reseal(block):
    """A block whose checksum holds again."""
    import zlib

    block[-4:] = zlib.crc32(bytes(block[:-4])).to_bytes(4, "little")


def test_the_advice_for_a_missing_extra_names_an_extra_that_there_is():
    import re
    import tomllib

    root = LOGS.parent
    extras = tomllib.loads((root / "pyproject.toml").read_text())["project"]["optional-dependencies"]
    found = 0
    for path in (root / "host").rglob("*.py"):
        for advice in re.findall(r"pip install '[^\"]*", path.read_text()):
            assert re.match(r"pip install '\.\[(\w+)\]'", advice) and re.search(r"\[(\w+)\]", advice)[1] in extras, path
            found += 1
    assert found >= 2
