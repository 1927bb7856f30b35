"""The firmware on the second emulator, on cards that were used before: none loses or hides a drive."""

import mmap

import board_files
import pytest

import ringpull
from shared_math import layout

pytestmark = pytest.mark.slow

SECONDS = 12.0
SLOT = layout.SLOT
BAD = b"\x5a" * SLOT
NEAR = 256 << 20  # the files lie that near to the card's beginning


@pytest.fixture(scope="module")
def recorded(uf2, tmp_path_factory):
    """A card after one recording: (its image, the files on it)."""
    import second_rig

    lacking = second_rig.lacking()
    if lacking:
        pytest.skip(lacking)
    rig = record(uf2, tmp_path_factory.mktemp("first"))
    return rig.cards[0], rig.files()


def record(uf2, folder, card=None):
    """A recording on a card, a prepared one where none is given."""
    import second_rig
    import second_stories

    story = second_rig.Story(second_stories.config(), seconds=SECONDS, lean_s=(8.2, 9.0))
    rig = second_rig.Rig(uf2, story, folder, card=card)
    seen = rig.run()
    assert not seen["errors"] and not seen["resets"]
    return rig


def twin(image, folder):
    """A copy of a card; only what was written takes room."""
    out = folder / image.name
    with image.open("rb") as source, out.open("wb") as target:
        target.write(source.read(NEAR))
        target.truncate(image.stat().st_size)
    return out


def rows_of(slots):
    """Rows that the packed blocks among some slots hold."""
    packed = (one for one in slots if one[layout.AT_KIND] == layout.PACKED)
    return sum(layout.get16(one, layout.AT_ROWS) & layout.ROWS_MASK for one in packed)


def test_a_used_card_answers_about_the_new_drive(uf2, recorded, tmp_path):
    import second_stories

    image, files = recorded
    old = ringpull.read(files)
    card = twin(image, tmp_path)
    board_files.format_anew(card, second_stories.config())
    made = record(uf2, tmp_path, card).files()
    new = ringpull.read(made)
    assert new.ring_id != old.ring_id and [one.id for one in new.sessions] == [1]
    assert new.sessions[0].rows > 1000
    left = (made / "drive.rpl").read_bytes().count(bytes.fromhex(old.ring_id))
    assert left > 0, "the old drive's blocks are gone: this proves nothing"


def test_nine_damaged_slots_at_the_start_cost_their_own_rows(uf2, recorded, tmp_path):
    image, files = recorded
    old = ringpull.read(files / "drive.rpl")  # alone: the pull's copy would give rows back
    first = (files / "drive.rpl").read_bytes()[: 9 * SLOT]
    card = twin(image, tmp_path)
    with card.open("r+b") as file, mmap.mmap(file.fileno(), NEAR) as near:
        at = near.find(first)
        assert at > 0
        near[at : at + 9 * SLOT] = BAD * 9
    new = ringpull.read(record(uf2, tmp_path, card).files() / "drive.rpl")
    assert new.ring_id == old.ring_id and [one.id for one in new.sessions] == [1, 2]
    lost = rows_of([first[at : at + SLOT] for at in range(0, len(first), SLOT)])
    assert new.sessions[0].rows == old.sessions[0].rows - lost and new.sessions[1].rows > 1000


def test_one_bad_sector_costs_its_own_rows_at_most(recorded, tmp_path):
    _, files = recorded
    data = (files / "drive.rpl").read_bytes()
    slots = [data[at : at + SLOT] for at in range(0, len(data), SLOT)]
    used = 1 + max(at for at, slot in enumerate(slots) if any(slot))
    whole = ringpull.read(files / "drive.rpl").sessions[0].rows
    for at in range(used):
        hurt = [*slots[:at], BAD, *slots[at + 1 : used + 1]]
        (tmp_path / "drive.rpl").write_bytes(b"".join(hurt))
        assert ringpull.read(tmp_path / "drive.rpl").sessions[0].rows == whole - rows_of([slots[at]]), at
