"""Setup groups of which parts are gone: put together by their hash, or taken from logger.json and said so."""

import json
import random

import pytest
import second_reader
from ring_bytes import CONFIG, Ring

import ringpull
from ringpull.errors import NothingReadable
from shared_math import layout

ROWS = 1500


def drive_of(groups=3, hashed=True):
    """Blocks of a drive with some setup groups in it, and the slots where parts stand: group after group."""
    ring = Ring(hashed=hashed)
    places = []
    for group in range(groups):
        places.append(len(ring.blocks))
        ring.setup()
        ring.numbered(group * ROWS // groups, ROWS // groups)
    parts = [list(range(at, at + ring.blocks[at][layout.AT_PARTS])) for at in places]
    assert len(parts[0]) > 1
    return ring.blocks, parts


def put(folder, blocks):
    (folder / "drive.rpl").write_bytes(b"".join(blocks))
    return folder / "drive.rpl"


@pytest.mark.parametrize("hashed", [True, False])
def test_parts_of_equal_groups_make_a_whole(tmp_path, hashed):
    blocks, parts = drive_of(hashed=hashed)
    for group, (first, *_, last) in enumerate(parts):
        blocks[first if group % 2 else last] = bytes(512)
    source = put(tmp_path, blocks)
    (session,) = ringpull.read(source).sessions
    assert session.rows == ROWS and not session.assumed
    assert len(second_reader.read_ring(source).sessions[1].rows) == ROWS


def test_parts_of_different_texts_are_not_mixed(tmp_path):
    for hashed in (True, False):
        first, second = Ring(hashed=hashed), Ring(hashed=hashed)
        first.setup()
        second.setup(board="another board, but as many parts")
        parts = len(first.blocks)
        assert len(second.blocks) == parts
        rows = Ring(sequence=2 * parts)
        rows.numbered(0, 100)
        second_part = [bytearray(one) for one in second.blocks]
        for number, block in enumerate(second_part):
            layout.put32(block, layout.AT_SEQUENCE, parts + number)
            layout.seal(block, memoryview(block)[: layout.AT_CRC])
        blocks = [
            *first.blocks[:1],
            *[bytes(512)] * (parts - 1),
            bytes(512),
            *map(bytes, second_part[1:]),
            *rows.blocks,
        ]
        source = put(tmp_path, blocks)
        if hashed:
            with pytest.raises(NothingReadable):
                ringpull.read(source)
            assert second_reader.read_ring(source).undecoded == [1]


def test_logger_json_is_the_last_resort_and_said(tmp_path):
    source = put(tmp_path, without_setup())
    with pytest.raises(NothingReadable):
        ringpull.read(source)
    (tmp_path / "logger.json").write_text(json.dumps(CONFIG))
    (session,) = ringpull.read(source).sessions
    assert session.rows == ROWS and "logger.json" in session.assumed
    assert session.frame()["map_kpa"].notna().any()


def without_setup():
    blocks, parts = drive_of(1)
    for slot in parts[0]:
        blocks[slot] = bytes(512)
    return blocks


@pytest.mark.parametrize("size, used", [(1 << 20, True), ((1 << 20) + 1, False)])
def test_a_logger_json_of_more_than_a_mebibyte_is_none(tmp_path, size, used):
    put(tmp_path, without_setup())
    (tmp_path / "logger.json").write_text(json.dumps(CONFIG).ljust(size))
    if used:
        assert ringpull.read(tmp_path).sessions[0].rows == ROWS
    else:
        with pytest.raises(NothingReadable):
            ringpull.read(tmp_path)


def test_a_logger_json_that_cannot_be_read_is_none(tmp_path, monkeypatch):
    put(tmp_path, without_setup())
    (tmp_path / "logger.json").write_text(json.dumps(CONFIG))

    def refused(path):
        raise PermissionError(path)

    monkeypatch.setattr(type(tmp_path), "read_bytes", refused)
    with pytest.raises(NothingReadable):
        ringpull.read(tmp_path)


def test_volts_are_another_sessions_where_it_has_the_column(tmp_path):
    """The setup of session 2 is lost: its lambda input was scaled as session 1 says, not as boards usually do."""
    ring = Ring()
    scaled = [one | {"s": 2 * one["s"]} if one["n"] == "lambda_1" else one for one in ring.columns]
    ring.setup(columns=scaled)
    ring.numbered(0, 100)
    ring.session = 2
    ring.numbered(0, 100)
    (tmp_path / "logger.json").write_text(json.dumps(CONFIG))
    first, second = ringpull.read(put(tmp_path, ring.blocks)).sessions
    assert second.assumed and not first.assumed
    for name in ("lambda_1", "map"):
        assert second.volts(name).tolist() == first.volts(name).tolist()
    columns = [one for one in ring.columns if one["n"] == "lambda_1"]
    assert first.volts("lambda_1")[0] == pytest.approx(
        columns[0]["o"] + 2 * columns[0]["s"] * ring.row(0)[ring.names.index("lambda_1")]
    )


def test_a_group_is_whole_only_with_its_parts_in_their_order():
    import numpy as np

    from ringpull.ring.rows import groups

    ring = Ring(hashed=False)
    ring.setup()
    parts = len(ring.blocks)
    assert parts > 2
    whole = np.frombuffer(b"".join(ring.blocks), np.uint8).reshape(parts, layout.SLOT)

    def told(blocks, starts=None):
        return len(list(groups._whole_groups(blocks, list(range(len(blocks))) if starts is None else starts)))

    assert told(whole) == 1 and told(np.concatenate([whole, whole])) == 2
    assert told(whole[:-1]) == 0 and told(whole, [*range(parts - 1), parts]) == 0
    assert told(whole[[0, 2, 1, *range(3, parts)]]) == 0
    another = whole.copy()
    another[1, layout.AT_PARTS] += 1
    assert told(another) == 0
    another[:, layout.AT_PARTS] = 0
    assert told(another) == 0


def test_no_block_fits_no_setup():
    import numpy as np

    from ringpull.ring.rows import beside, setup

    ring = Ring()
    ring.setup()
    text = b"".join(block[layout.AT_PAYLOAD : layout.AT_CRC] for block in ring.blocks).rstrip(b"\0")
    made = setup.parse(text)
    assert not beside.fits(np.zeros((0, layout.SLOT), np.uint8), made)
    ring.numbered(0, 10)
    rows = np.frombuffer(ring.blocks[-1], np.uint8).reshape(1, layout.SLOT)
    assert beside.fits(rows, made)
    longer = np.frombuffer(ring.blocks[-1], np.uint8).reshape(1, layout.SLOT).copy()
    longer[0, layout.AT_CRC - 1] = 1  # something behind the values
    assert not beside.fits(longer, made)


@pytest.mark.parametrize("count, taken", [(512, True), (513, False)])
def test_a_setup_of_many_columns(count, taken):
    from ringpull.ring.rows import setup

    columns = [{"n": f"c{number}", "r": "digital", "b": 1} for number in range(count)]
    text = json.dumps({"period_us": 5000, "columns": columns}).encode()
    if taken:
        made = setup.parse(text)
        assert len(made.columns) == count and made.columns[0].top == 2
    else:
        with pytest.raises(ValueError, match="names no columns"):
            setup.parse(text)


def test_a_logger_json_that_does_not_fit_the_rows_is_not_used(tmp_path):
    source = put(tmp_path, without_setup())
    others = [
        CONFIG | {"channels": CONFIG["channels"][:3]},
        CONFIG | {"channels": [*CONFIG["channels"], CONFIG["channels"][0] | {"name": "lambda_2", "input": "a2"}]},
        {"version": 1},
        [],
    ]
    for config in others:
        (tmp_path / "logger.json").write_text(json.dumps(config))
        with pytest.raises(NothingReadable):
            ringpull.read(source)


def test_one_damaged_sector_costs_its_own_rows_at_most(tmp_path):
    blocks, parts = drive_of(2)
    whole = ringpull.read(put(tmp_path, blocks)).sessions[0].rows
    for slot, block in enumerate(blocks):
        hurt = [*blocks[:slot], b"\x5a" * 512, *blocks[slot + 1 :]]
        (session,) = ringpull.read(put(tmp_path, hurt)).sessions
        rows = int.from_bytes(block[18:20], "little") & layout.ROWS_MASK if block[3] == layout.PACKED else 0
        assert session.rows == whole - rows


@pytest.mark.slow
def test_eight_damaged_sectors_leave_999_of_1000_files_readable(tmp_path):
    # As the firmware repeats its setup: after 8, 40 and 170 blocks
    ring = Ring()
    row = 0
    for rows in (80, 400, 1600, 900):
        ring.setup()
        ring.numbered(row, rows)
        row += rows
    chance = random.Random(5)
    lost = 0
    for _ in range(2000):
        hurt = list(ring.blocks)
        for slot in chance.sample(range(len(hurt)), 8):
            hurt[slot] = bytes(512)
        try:
            assert ringpull.read(put(tmp_path, hurt)).sessions
        except NothingReadable:
            lost += 1
    assert lost <= 2
