"""Cards that were used before: the newest ring is the card's, whatever the older ones left; those can be asked for."""

import json

import pytest
import second_reader
from ring_bytes import Ring
from truth.desk import command

import ringpull
from ringpull.errors import BadUsage, NothingReadable
from shared_math import layout

OLD, NEW = b"old!", b"new!"


def ring_of(name, rows, first=0, utc=None, sessions=1):
    made = Ring(ring=name)
    made.blocks.append(bytes(layout.birth(name, layout.DRIVE_FILE, 4096, 0)))
    made.sequence = 1
    for session in range(1, sessions + 1):
        made.session = session
        for part in range(3):
            made.setup(utc=utc)
            made.numbered(first + part * rows // 3, rows // 3)
    return made


@pytest.fixture
def used():
    """Blocks of a card that held a long old drive, over which a short new one was begun."""
    old, new = ring_of(OLD, 6000, sessions=2), ring_of(NEW, 900)
    assert len(old.blocks) > 5 * len(new.blocks)
    return new.blocks + old.blocks[len(new.blocks) :]


def put(folder, blocks, name="drive.rpl"):
    (folder / name).write_bytes(b"".join(blocks))
    return folder / name


def test_the_new_drive_is_the_cards_and_the_old_one_can_be_asked_for(tmp_path, used):
    source = put(tmp_path, used)
    drive = ringpull.read(source)
    assert (drive.ring_id, drive.older_ring) == (NEW.hex(), "")
    assert [session.rows for session in drive.sessions] == [900]
    assert [(one.id, one.sessions, one.newest) for one in drive.rings] == [(NEW.hex(), 1, True), (OLD.hex(), 2, False)]
    assert drive.damage == [] and drive.blocks.damaged == drive.blocks.missing == 0
    old = ringpull.read(source, ring=OLD.hex())
    assert old.older_ring == OLD.hex() and [session.id for session in old.sessions] == [1, 2]
    assert old.sessions[1].rows == 6000 and old.damage == []
    with pytest.raises(BadUsage) as error:
        ringpull.read(source, ring="abcd")
    assert OLD.hex() in error.value.step
    other = second_reader.read_ring(source)
    assert {number: len(one.rows) for number, one in other.sessions.items()} == {1: 900}


@pytest.mark.parametrize("damaged", [[0], range(5), range(9)])
def test_damage_at_the_start_hides_nothing(tmp_path, used, damaged):
    for slot in damaged:
        used[slot] = b"\x5a" * 512
    drive = ringpull.read(put(tmp_path, used))
    assert drive.ring_id == NEW.hex()
    assert set(second_reader.read_ring(tmp_path / "drive.rpl").sessions) == {1}


def test_without_slot_0_the_clock_then_the_copies_tell(tmp_path):
    old, new = ring_of(OLD, 900, utc="2031-05-01T10:00:00Z"), ring_of(NEW, 300, utc="2031-06-01T10:00:00Z")
    swapped = [b"\x5a" * 512, *old.blocks[1:], *new.blocks[1:]]  # in no order that a logger writes
    assert ringpull.read(put(tmp_path, swapped)).ring_id == NEW.hex()
    blind = [b"\x5a" * 512, *ring_of(OLD, 900).blocks[1:], *ring_of(NEW, 300).blocks[1:]]
    assert ringpull.read(put(tmp_path, blind)).ring_id == OLD.hex()  # lowest slot
    put(tmp_path, [bytes(layout.birth(NEW, layout.PULLS_FILE, 64, 2**32 - 1))], "pulls.rpl")
    assert ringpull.read(tmp_path).ring_id == NEW.hex()
    assert second_reader.read_ring(tmp_path / "drive.rpl", tmp_path / "pulls.rpl").sessions.keys() == {1}


def test_a_birth_block_names_the_ring_whose_room_it_took(tmp_path):
    birth = layout.birth(NEW, layout.PULLS_FILE, 64, 2**32 - 1)
    layout.name_before(birth, ring_of(OLD, 10).blocks[0])
    old, new = ring_of(OLD, 900, utc="2031-06-01T10:00:00Z"), ring_of(NEW, 300, utc="2031-05-01T10:00:00Z")
    put(tmp_path, [b"\x5a" * 512, *old.blocks[1:], *new.blocks[1:]])
    assert ringpull.read(tmp_path).ring_id == OLD.hex()  # by the clock
    put(tmp_path, [bytes(512), bytes(birth)], "pulls.rpl")
    assert ringpull.read(tmp_path).ring_id == NEW.hex()


def test_a_new_ring_without_rows_is_not_answered_with_an_old_drive(tmp_path, used):
    used[1 : len(ring_of(NEW, 900).blocks)] = []
    with pytest.raises(NothingReadable) as error:
        ringpull.read(put(tmp_path, used))
    assert f"--ring {OLD.hex()}" in error.value.step


def test_commands_tell_of_several_rings_and_read_each(tmp_path, used):
    source = put(tmp_path, used)
    told = command("info", source)
    assert told.returncode == 0 and NEW.hex() in told.stdout and f"--ring {OLD.hex()}" in told.stdout
    assert command("info", source, "--strict").returncode == 1
    rings = json.loads(command("info", source, "--json").stdout)["rings"]
    assert rings == [
        {"id": NEW.hex(), "sessions": 1, "newest": True},
        {"id": OLD.hex(), "sessions": 2, "newest": False},
    ]
    of_old = json.loads(command("info", source, "--json", "--ring", OLD.hex()).stdout)
    assert [one["rows"] for one in of_old["sessions"]][1] == 6000
    for words in (
        ("decode", source, "-o", tmp_path / "t.csv"),
        ("pulls", source),
        ("report", source, "-o", tmp_path / "r.html"),
    ):
        done = command(*words, "--ring", OLD.hex())
        assert done.returncode == 0 and "older ring" in done.stderr, done.stderr
    assert len((tmp_path / "t.csv").read_text().splitlines()) > 6000
    for name in ("fuelmap", "power", "note", "view", "compare"):
        assert "--ring" in command(name, "--help").stdout, name
    wrong = command("pulls", source, "--ring", "zzzz")
    assert wrong.returncode == 2 and "there is no ring zzzz" in wrong.stderr


def test_remarks_of_an_older_ring_are_its_own(tmp_path):
    from ringpull.files.remarks import read_notes, write_note

    write_note(tmp_path, 1, "new")
    write_note(tmp_path, 1, "old", OLD.hex())
    assert read_notes(tmp_path) == {"1": "new"} and read_notes(tmp_path, OLD.hex()) == {"1": "old"}
