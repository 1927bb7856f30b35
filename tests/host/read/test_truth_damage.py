"""Rows that are missing stay missing, whatever was lost, and all others keep their values."""

import shutil

import numpy as np
import pytest
from truth import desk
from truth.story import three_pulls

import ringpull

SLOT = 512


@pytest.fixture(scope="module")
def card(tmp_path_factory):
    return desk.dry_run(three_pulls(slopes=(700.0, 900.0)).signals, tmp_path_factory.mktemp("damage"))


def raw_of(source):
    (session,) = ringpull.read(source).sessions
    return session, session.raw().set_index("row")


def row_slots(data: bytes) -> list[int]:
    """Slots that hold rows (kinds 2 and 3 of the format)."""
    slots = range(len(data) // SLOT)
    return [at for at in slots if data[at * SLOT : at * SLOT + 2] == b"Rp" and data[at * SLOT + 3] in (2, 3)]


def copy_with(card, folder, slots, spoil):
    shutil.copytree(card, folder)
    data = bytearray((folder / "drive.rpl").read_bytes())
    for slot in slots:
        spoil(data, slot * SLOT)
    (folder / "drive.rpl").write_bytes(data)
    return folder


def flip(data, at):
    data[at + 300] ^= 0x10


def blank(data, at):
    data[at : at + SLOT] = bytes(SLOT)


@pytest.mark.parametrize("spoil", [flip, blank])
def test_lost_blocks_leave_gaps(card, tmp_path, spoil):
    whole_session, whole = raw_of(card / "drive.rpl")
    slots = row_slots((card / "drive.rpl").read_bytes())
    lost = [slots[20], slots[60], slots[61], slots[62]]
    hurt = copy_with(card, tmp_path / "card", lost, spoil)
    drive = ringpull.read(hurt / "drive.rpl")
    (session,) = drive.sessions
    raw = session.raw().set_index("row")
    assert set(raw.index) < set(whole.index)
    assert raw.equals(whole.loc[raw.index])
    missing = np.setdiff1d(whole.index, raw.index)
    runs = np.split(missing, np.flatnonzero(np.diff(missing) > 1) + 1)
    assert len(runs) == 2
    frame = session.frame()
    assert len(frame) == len(raw)
    np.testing.assert_allclose(frame["time_s"], raw.index.to_numpy() * session.period_s, atol=1e-9)
    gaps = [gap for gap in session.gaps() if gap[1] - gap[0] > session.period_s / 2]
    assert len(gaps) == 2
    for (start_s, end_s, reason), run in zip(gaps, runs, strict=True):
        assert start_s == pytest.approx(run[0] * session.period_s, abs=1.01 * session.period_s)
        assert end_s == pytest.approx(run[-1] * session.period_s, abs=1.01 * session.period_s)
        assert reason
    if spoil is flip:
        assert drive.blocks.damaged == 4 and len(drive.damage) == 4
    assert drive.blocks.missing >= 4
    # The values of rows that are there do not change; engine speed may lose the cycle next to a gap, never err
    before = whole_session.frame().set_index("time_s").loc[frame["time_s"]]
    for column in ("lambda_1", "map_kpa", "throttle_pct"):
        np.testing.assert_array_equal(frame[column], before[column])
    speed, known = frame["engine_speed_rpm"].to_numpy(), before["engine_speed_rpm"].to_numpy()
    both = np.isfinite(speed) & np.isfinite(known)
    assert np.abs(speed[both] / known[both] - 1).max() < 0.006
    assert np.isfinite(speed).mean() > 0.98


def test_copies_in_the_pulls_file_fill_what_the_drive_file_lost(card, tmp_path):
    _, whole = raw_of(card)
    data = (card / "drive.rpl").read_bytes()
    copies = (card / "pulls.rpl").read_bytes()
    kept = {copies[at : at + SLOT] for at in range(0, len(copies), SLOT)}
    twice = [slot for slot in row_slots(data) if data[slot * SLOT : (slot + 1) * SLOT] in kept]
    assert len(twice) > 10
    hurt = copy_with(card, tmp_path / "card", twice[3:8], flip)
    _, raw = raw_of(hurt)
    assert raw.equals(whole)
    _, alone = raw_of(hurt / "drive.rpl")
    assert len(alone) < len(whole)


def test_the_pulls_file_is_readable_alone(card):
    _, whole = raw_of(card)
    drive = ringpull.read(card / "pulls.rpl")
    (session,) = drive.sessions
    raw = session.raw().set_index("row")
    assert raw.equals(whole.loc[raw.index])
    story = three_pulls(slopes=(700.0, 900.0))
    assert len(session.marks) == 2
    for mark, (start_s, end_s) in zip(session.marks, story.pulls_s, strict=True):
        assert mark.end_s - mark.start_s == pytest.approx(end_s - start_s, abs=0.02)
        # from 5 s before to 3 s after, a block more at most
        kept = raw.index[(raw.index > (mark.start_s - 4.9) * 200) & (raw.index < (mark.end_s + 2.9) * 200)]
        assert len(kept) == pytest.approx((mark.end_s - mark.start_s + 7.8) * 200, abs=3)
    assert len(drive.pulls()) == 2


def test_a_table_of_a_damaged_drive_has_no_row_twice_and_none_out_of_order(card, tmp_path):
    slots = row_slots((card / "drive.rpl").read_bytes())
    rng = np.random.default_rng(3)
    hurt = copy_with(card, tmp_path / "card", rng.choice(slots, len(slots) // 3, replace=False), flip)
    for session in ringpull.read(hurt).sessions:
        assert (np.diff(session.frame()["time_s"]) > 0).all()
        assert session.raw()["row"].is_unique
