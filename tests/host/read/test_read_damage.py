"""Damaged, doubled, swapped, foreign, cut and joined files: every intact block is read, in order, and nothing else."""

import shutil
from pathlib import Path

import numpy as np
import pytest
import second_reader
from ring_bytes import CONFIG, Ring, resealed

import ringpull
from ringpull.analysis.judge import verdict
from ringpull.analysis.judge.reasons import Why
from ringpull.errors import NotARingFile, NothingReadable, SourceMissing
from ringpull.ring.blocks import order
from ringpull.ring.blocks.store import open_store
from shared_math import layout

ROWS = 2000
LOGS = Path(__file__).parents[3] / "demo_logs"


@pytest.fixture
def ring():
    made = Ring(sequence=100)
    made.setup()
    made.numbered(0, ROWS)
    return made


@pytest.fixture
def read(tmp_path):
    def reader(blocks, name="drive.rpl"):
        data = blocks if isinstance(blocks, bytes) else b"".join(blocks)
        (tmp_path / name).write_bytes(data)
        return ringpull.read(tmp_path / name)

    return reader


def rows_in(ring: Ring, slots) -> list[int]:
    """Numbers of the rows that stand in these blocks."""
    out = []
    for slot in slots:
        block = ring.blocks[slot]
        if block[layout.AT_KIND] in (layout.PACKED, layout.PLAIN):
            first = layout.get32(block, layout.AT_FIRST_ROW)
            out += range(first, first + (layout.get16(block, layout.AT_ROWS) & layout.ROWS_MASK))
    return out


def assert_rows(drive, ring, missing=()):
    """All rows but those of the missing slots, with their values."""
    (session,) = drive.sessions
    raw = session.raw()
    expected = sorted(set(range(ROWS)) - set(rows_in(ring, missing)))
    assert raw["row"].tolist() == expected
    assert raw.drop(columns="row").to_numpy().tolist() == [ring.row(n) for n in expected]
    frame = session.frame()
    np.testing.assert_allclose(frame["time_s"], np.array(expected) * 0.01)
    assert session.rows == len(expected)
    holes = [time_s for start, end, _ in session.gaps() for time_s in (start, end)]
    cuts = np.flatnonzero(np.diff(expected) > 1)
    assert holes == pytest.approx([n * 0.01 for at in cuts for n in (expected[at] + 1, expected[at + 1])])


def test_whole(read, ring):
    drive = read(ring.blocks)
    assert_rows(drive, ring)
    assert drive.damage == [] and drive.sessions[0].gaps() == []
    blocks = drive.blocks
    assert (blocks.read, blocks.damaged, blocks.missing) == (len(ring.blocks), 0, 0)


@pytest.mark.parametrize("plain", [False, True])
def test_plain_and_packed_blocks_hold_the_same(read, plain):
    ring = Ring()
    ring.setup()
    ring.rows(0, [ring.row(n) for n in range(ROWS)], plain=plain)
    assert_rows(read(ring.blocks), ring)


def test_bit_flips(read, ring):
    bad = [10, 11, 25]
    for slot in bad:
        block = bytearray(ring.blocks[slot])
        block[(slot * 37) % 512] ^= 1 << slot % 8
        ring.blocks[slot] = bytes(block)
    intact = Ring(sequence=100)
    intact.setup()
    intact.numbered(0, ROWS)
    drive = read(ring.blocks)
    assert_rows(drive, intact, bad)
    assert [one.block for one in drive.damage] == bad
    assert all(one.file == "drive.rpl" and one.reason for one in drive.damage)
    assert drive.blocks.damaged == 3 and drive.blocks.missing == 3
    assert all("damaged or missing" in reason for _, _, reason in drive.sessions[0].gaps())


def test_lost_blocks(read, ring):
    drive = read(ring.blocks[:12] + ring.blocks[15:])
    assert_rows(drive, ring, [12, 13, 14])
    assert drive.damage == [] and drive.blocks.missing == 3


def test_doubled_blocks_count_once(read, ring):
    doubled = [block for block in ring.blocks for _ in (0, 1)]
    drive = read(doubled)
    assert_rows(drive, ring)
    assert drive.blocks.read == len(ring.blocks) and drive.damage == []


def test_swapped_blocks_come_in_order(read, ring):
    swapped = list(ring.blocks)
    for a in range(8, len(swapped) - 8, 5):
        swapped[a], swapped[a + 3] = swapped[a + 3], swapped[a]
    assert_rows(read(swapped), ring)
    assert_rows(read(list(reversed(ring.blocks))), ring)


def test_a_ring_begun_anywhere(read, ring):
    for cut in (1, 7, len(ring.blocks) - 1):
        assert_rows(read(ring.blocks[cut:] + ring.blocks[:cut]), ring)


def test_sequence_numbers_wrap(read):
    ring = Ring(sequence=2**32 - 20)
    ring.setup()
    ring.numbered(0, ROWS)
    assert ring.sequence < 1000
    drive = read(ring.blocks[-9:] + ring.blocks[:-9])
    assert_rows(drive, ring)
    assert drive.blocks.missing == 0


def test_foreign_blocks_are_told_and_not_used(read, ring):
    other = Ring(ring=b"zzzz", sequence=90)
    other.setup()
    other.numbered(0, 300)
    mixed = list(ring.blocks)
    mixed[20:22] = other.blocks[5:7]
    drive = read(mixed)
    assert_rows(drive, ring, [20, 21])
    assert [(one.block, "another ring" in one.reason) for one in drive.damage] == [(20, True), (21, True)]
    assert drive.blocks.foreign == 2


def test_old_bytes_after_the_newest_block_are_no_damage(read, ring):
    other = Ring(ring=b"zzzz")
    other.setup()
    rubbish = bytes(range(256)) * 2
    drive = read([*ring.blocks, rubbish, rubbish, bytes(512)])
    assert_rows(drive, ring)
    assert drive.blocks.damaged == 0 and drive.damage == []


def test_different_blocks_with_one_number(read, ring):
    """The one between its neighbours counts; a twin that stands elsewhere does not, and both are not used if neither
    or both stand so."""
    twin = resealed(ring.blocks[20], at_60=ring.blocks[20][60] ^ 1)
    drive = read([*ring.blocks, twin])
    assert_rows(drive, ring)
    assert [one.block for one in drive.damage] == [len(ring.blocks)]
    assert "this sequence number" in drive.damage[0].reason
    drive = read(ring.blocks[:20] + [ring.blocks[-1], twin] + ring.blocks[21:] + [ring.blocks[20]])
    assert_rows(drive, ring, [20])


def test_two_twins_that_both_stand_between_their_neighbours(tmp_path, ring):
    """Each of two files carries one of them in its place: nothing decides, so neither is used, and both are told."""
    twin = resealed(ring.blocks[20], at_60=ring.blocks[20][60] ^ 1)
    (tmp_path / "drive.rpl").write_bytes(ring.data())
    (tmp_path / "pulls.rpl").write_bytes(b"".join([*ring.blocks[:3], *ring.blocks[15:20], twin, *ring.blocks[21:25]]))
    drive = ringpull.read(tmp_path)
    assert_rows(drive, ring, [20])
    assert [(one.file, one.block) for one in drive.damage] == [("drive.rpl", 20), ("pulls.rpl", 8)]
    assert all("this sequence number" in one.reason for one in drive.damage)


@pytest.mark.parametrize("side", [0, 1], ids=["fits the block before", "fits the block behind"])
def test_a_twin_beside_one_neighbour_alone_does_not_fit(read, ring, side):
    """At the end of the file stands a twin of block 20 beside a copy of block 19 or 21, and a stranger on its other
    side: its slots before and after must both carry the neighbouring numbers, so block 20 in its own place counts."""
    twin = resealed(ring.blocks[20], at_60=ring.blocks[20][60] ^ 1)
    rest = [[ring.blocks[19], twin, ring.blocks[5]], [ring.blocks[5], twin, ring.blocks[21]]][side]
    drive = read([*ring.blocks, *rest])
    assert_rows(drive, ring)
    assert [one.block for one in drive.damage] == [len(ring.blocks) + 1]


@pytest.mark.parametrize("number", [2**32 - 1, 0])
def test_twins_where_the_numbers_wrap(read, number):
    """The twin is 2^32 - 1, before 0, or 0, behind 2^32 - 1; in its place it counts, at the file's end it does not."""
    ring = Ring(sequence=2**32 - 20)
    ring.setup()
    ring.numbered(0, ROWS)
    slot = (20 + number) % 2**32
    twin = resealed(ring.blocks[slot], at_60=ring.blocks[slot][60] ^ 1)
    drive = read([*ring.blocks, twin])
    assert_rows(drive, ring)
    assert [one.block for one in drive.damage] == [len(ring.blocks)]


def test_a_damaged_slot_behind_the_newest_block_with_an_older_lap_behind_it(read, ring):
    """Written by the ring before: damage, not an unwritten rest (rule 9), and the older lap is read."""
    ring.setup()
    lap = len(ring.blocks) - 12  # the newest 12 blocks, a setup among them, stand over the oldest
    drive = read([*ring.blocks[lap:], b"\xa5" * 512, *ring.blocks[13:lap]])
    assert_rows(drive, ring, range(13))  # the first 12 are written over
    assert [one.block for one in drive.damage] == [12] and drive.blocks.damaged == 1


@pytest.mark.parametrize("window", [1, 2, 7, 16])
def test_large_files_are_ordered_window_by_window_with_the_same_result(read, ring, monkeypatch, window):
    """An older lap, a hole and a doubled block, each also at the border of two windows."""
    mixed = [*ring.blocks[20:], *ring.blocks[:12], b"\xa5" * 512, *ring.blocks[12:20], ring.blocks[19]]
    drive = read(mixed)
    whole = open_store(drive.source).ordered
    monkeypatch.setattr(order, "WINDOW", window)
    assert open_store(drive.source).ordered == whole
    assert_rows(read(mixed), ring)


def test_truncated_in_a_block(read, ring):
    data = ring.data()
    drive = read(data[: 30 * 512 + 200])
    assert_rows(drive, ring, range(30, len(ring.blocks)))
    assert [(one.block, one.reason) for one in drive.damage] == [(30, "the file ends within this block")]


def test_two_files_of_one_ring_joined(read, ring):
    """As when somebody joins what was copied at two times: nothing twice."""
    half = len(ring.blocks) // 2
    assert_rows(read(ring.blocks[: half + 10] + ring.blocks[half - 10 :]), ring)


def test_an_image_with_a_file_in_the_middle(read, ring):
    random = np.random.default_rng(1)
    before, after = (random.integers(0, 256, 512 * count, np.uint8).tobytes() for count in (77, 33))
    drive = read(before + ring.data() + after)
    assert_rows(drive, ring)
    assert drive.blocks.damaged == 77


def test_a_file_begun_at_any_byte_is_told(read, ring):
    with pytest.raises(NotARingFile):
        read(b"x" + ring.data())


def test_newer_version_is_refused_by_name(read, ring):
    newer = [resealed(block, at_2=9) for block in ring.blocks]
    with pytest.raises(NotARingFile) as error:
        read(newer)
    assert "version 9" in error.value.what
    mixed = list(ring.blocks)
    mixed[14] = newer[14]
    drive = read(mixed)
    assert_rows(drive, ring, [14])
    assert [one.block for one in drive.damage] == [14] and "newer version" in drive.damage[0].reason


def test_unknown_kinds(read, ring):
    mixed = list(ring.blocks)
    mixed[14] = resealed(mixed[14], at_3=77)
    mixed[16] = resealed(mixed[16], at_3=200)
    drive = read(mixed)
    assert_rows(drive, ring, [14, 16])
    assert [one.block for one in drive.damage] == [14]  # from 128 up a kind is optional: skipped without a word
    assert drive.blocks.missing == 1


def test_rows_that_do_not_add_up_under_a_right_checksum(read, ring):
    mixed = list(ring.blocks)
    mixed[14] = resealed(mixed[14], at_22=0xFF, at_23=0xFF, at_24=0xFF)
    drive = read(mixed)
    assert_rows(drive, ring, [14])
    assert [one.block for one in drive.damage] == [14] and "are inconsistent" in drive.damage[0].reason
    assert drive.blocks.damaged == 1


def test_lost_rows_are_counted_apart(read):
    ring = Ring()
    ring.setup()
    ring.numbered(0, 100)
    ring.rows(130, [ring.row(n) for n in range(130, 230)], lost=30)
    (session,) = read(ring.blocks).sessions
    assert session.lost_rows == 30 and session.rows == 200
    ((start, end, reason),) = session.gaps()
    assert (start, end) == (pytest.approx(1.0), pytest.approx(1.3)) and "logger" in reason
    assert session.timing.lost_rows == 30


def test_a_window_without_the_first_setup(read, ring):
    """Any group of a session reads all of its rows, also earlier ones."""
    ring.setup()
    assert_rows(read(ring.blocks[3:]), ring)


def test_a_damaged_group_is_not_used(read, ring):
    assert len(ring.blocks) > 3 and ring.blocks[1][layout.AT_PART] == 1
    ring.blocks[1] = bytes(512)
    with pytest.raises(NothingReadable):
        read(ring.blocks)
    ring.setup()
    assert_rows(read(ring.blocks), ring)


def test_setup_text_that_makes_no_sense(read):
    for text in (b"{", b"[]", b"\xff\xfe", b'{"columns": []}', b'{"columns": [{"n": "a", "r": "x", "b": 99}]}'):
        ring = Ring()
        ring.text(text)
        ring.numbered(0, 50)
        with pytest.raises(NothingReadable):
            read(ring.blocks)


@pytest.mark.parametrize("more", [{"s": 10**400}, {"o": -(10**400)}, {"s": float("inf")}, {"n": "row"}])
def test_a_column_that_cannot_be_told_is_left_for_the_next_setup(read, more):
    ring = Ring()
    sound = ring.columns
    ring.columns = [sound[0] | more, *sound[1:]]
    ring.setup()
    ring.columns = sound
    ring.setup()
    ring.numbered(0, ROWS)
    assert_rows(read(ring.blocks), ring)


def test_texts_that_no_terminal_takes(read):
    ring = Ring(settings=CONFIG | {"vehicle": {"name": "a \ud800 car"}})
    ring.setup(utc="\x1b[2J", board="\udfffboard")
    ring.numbered(0, 50)
    (session,) = read(ring.blocks).sessions
    assert (session.start_utc, session.board, session.config.vehicle.name) == (None, "?board", "a ? car")


def test_a_period_of_a_broken_number_of_microseconds(read):
    ring = Ring()
    ring.setup(period_us=3333.5)
    ring.numbered(0, ROWS)
    (session,) = read(ring.blocks).sessions
    assert session.frame()["time_s"].iloc[-1] == pytest.approx((ROWS - 1) * 3333.5e-6, abs=1e-9)
    assert session.duration_s == pytest.approx(ROWS * 3333.5e-6, abs=1e-9)


@pytest.mark.parametrize("period_us, rate_hz", [(5000, 200.0), (5010, 200.0), (10000, 100.0)])
def test_a_rate_that_the_period_contradicts_is_not_told(read, period_us, rate_hz):
    """The configuration says 200 rows a second."""
    ring = Ring(settings=CONFIG | {"rate_hz": 200})
    ring.setup(period_us=period_us)
    ring.numbered(0, ROWS)
    assert read(ring.blocks).sessions[0].rate_hz == rate_hz


def test_columns_of_unknown_roles_are_kept_as_numbers(read):
    ring = Ring()
    ring.columns.insert(2, {"n": "novel", "r": "from the future", "b": 9})
    ring.__dict__.update(bits=[c["b"] for c in ring.columns], names=[c["n"] for c in ring.columns])
    ring.setup(novelty=[1, 2])
    ring.numbered(0, 200)
    (session,) = read(ring.blocks).sessions
    assert session.raw()["novel"].tolist() == [ring.row(n)[2] for n in range(200)]
    assert "novel" not in session.frame()


def test_two_files_fill_each_other_and_count_once(tmp_path, ring):
    (tmp_path / "drive.rpl").write_bytes(b"".join(ring.blocks[:40] + [bytes(512)] + ring.blocks[41:]))
    (tmp_path / "pulls.rpl").write_bytes(b"".join(ring.blocks[:3] + ring.blocks[35:50]))
    drive = ringpull.read(tmp_path)
    assert_rows(drive, ring)
    assert drive.blocks.read == len(ring.blocks) and drive.blocks.missing == 0


def test_pulls_file_alone_has_holes_but_no_losses(tmp_path):
    ring = Ring()
    ring.setup()
    ring.numbered(0, 3000)
    copies = ring.blocks[:3] + ring.blocks[10:20] + ring.blocks[:3] + ring.blocks[30:40]
    (tmp_path / "pulls.rpl").write_bytes(b"".join(copies))
    drive = ringpull.read(tmp_path / "pulls.rpl")
    (session,) = drive.sessions
    assert drive.blocks.missing == 0 and session.lost_rows == 0
    assert [reason for _, _, reason in session.gaps()] == ["between the copies of two pulls"]
    copies[6] = bytes(512)
    (tmp_path / "pulls.rpl").write_bytes(b"".join(copies))
    drive = ringpull.read(tmp_path / "pulls.rpl")
    assert drive.blocks.missing == 1
    assert [("missing" in reason) for _, _, reason in drive.sessions[0].gaps()] == [True, False]


@pytest.mark.parametrize("name", ["drive", "drive.rpl"])
def test_a_folder_of_segments(tmp_path, ring, name):
    folder = tmp_path / name
    folder.mkdir()
    turned = ring.blocks[16:] + ring.blocks[:16]
    for at in range(0, len(turned), 16):
        (folder / f"{at // 16:04}.rpl").write_bytes(b"".join(turned[at : at + 16]))
    for source in (tmp_path, folder):
        assert_rows(ringpull.read(source), ring)


def test_several_sessions(read):
    ring = Ring()
    for session in (65535, 1, 2):
        ring.session = session
        ring.setup(utc=f"2031-05-0{session % 9 + 1}T10:00:00Z")
        ring.numbered(0, 100 * (session % 10 + 1))
    drive = read(ring.blocks)
    assert [session.id for session in drive.sessions] == [65535, 1, 2]
    assert [session.rows for session in drive.sessions] == [600, 200, 300]
    assert drive.session(1).start_utc == "2031-05-02T10:00:00Z"
    with pytest.raises(KeyError):
        drive.session(7)


def test_a_session_number_that_comes_again_is_another_session(tmp_path, read):
    ring = Ring()
    for session, rows in ((1, 100), (40000, 50), (65535, 60), (1, 200), (2, 70)):
        ring.session = session
        ring.setup()
        ring.numbered(0, rows)
    drive = read(ring.blocks)
    assert [(session.id, session.rows) for session in drive.sessions] == [
        (1, 100),
        (40000, 50),
        (65535, 60),
        (65536, 200),
        (65537, 70),
    ]
    second = second_reader.read_ring(tmp_path / "drive.rpl").sessions
    assert {number: len(one.rows) for number, one in second.items()} == {one.id: one.rows for one in drive.sessions}


def test_an_overwritten_beginning(read, ring):
    ring.setup()
    drive = read(ring.blocks[20:])
    (session,) = drive.sessions
    first = min(rows_in(ring, range(20, len(ring.blocks))))
    assert session.start_s == pytest.approx(first * 0.01) and session.duration_s == pytest.approx(ROWS * 0.01)
    assert session.gaps() == [] and session.lost_rows == 0


@pytest.mark.parametrize("name", ["nothing.rpl", "folder"])
def test_nothing_there(tmp_path, name):
    (tmp_path / "folder").mkdir()
    with pytest.raises(SourceMissing):
        ringpull.read(tmp_path / name)


def test_configuration_with_keys_of_newer_firmware(read):
    ring = Ring(settings=CONFIG | {"novelty": 3})
    ring.setup()
    ring.numbered(0, 50)
    (session,) = read(ring.blocks).sessions
    assert [channel.column for channel in session.channels] == ["lambda_1", "engine_speed_rpm", "map_kpa", "door"]


def test_a_drives_file_that_ends_early_is_told(tmp_path):
    for name, size, empty in (("whole", None, None), ("early", 40 * 512 + 100, False), ("none", 0, True)):
        folder = shutil.copytree(LOGS / "v1_marked", tmp_path / name)
        if size is not None:
            with open(folder / "drive.rpl", "r+b") as file:
                file.truncate(size)
        drive = ringpull.read(folder)
        assert drive.cut_short == (None if size is None else ("drive.rpl", empty)), name
    word, reasons = verdict.decide([], [], 0.0, 0.03, signs=verdict.Signs(cut_short=("drive.rpl", True)))
    assert word == verdict.NOT_ENOUGH and reasons[0].kind is Why.CUT_SHORT
