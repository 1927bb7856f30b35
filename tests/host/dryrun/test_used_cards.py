"""The real firmware on cards that were used before, or of which the start is damaged; then the PC reads them."""

import pytest
from truth import desk
from truth.profile import Profile, holds
from truth.signals import Signals, Tach

import ringpull
from shared_math import layout

SLOT = layout.SLOT


@pytest.fixture(scope="module")
def card(tmp_path_factory):
    signals = Signals(holds([2000, 5000], 6.0, 2.0), Tach(2), {"lambda_1": Profile([(0, 0.8), (14, 1.2)])})
    return desk.dry_run(signals, tmp_path_factory.mktemp("card"))


def slots_of(card):
    data = (card / "drive.rpl").read_bytes()
    return [data[at : at + SLOT] for at in range(0, len(data), SLOT)]


def put(folder, slots):
    (folder / "drive.rpl").write_bytes(b"".join(slots))
    return ringpull.read(folder / "drive.rpl")


def test_any_one_damaged_slot_of_a_short_drive_costs_its_own_rows_at_most(card, tmp_path):
    slots = slots_of(card)
    used = max(at for at, slot in enumerate(slots) if any(slot)) + 1
    whole = put(tmp_path, slots).sessions[0].rows
    for at in range(used):
        hurt = [*slots[:at], b"\x5a" * SLOT, *slots[at + 1 :]]
        rows = int.from_bytes(slots[at][18:20], "little") & layout.ROWS_MASK if slots[at][3] == layout.PACKED else 0
        assert put(tmp_path, hurt).sessions[0].rows == whole - rows, at


def test_nine_damaged_slots_at_the_start_cost_their_own_rows(card, tmp_path):
    slots = slots_of(card)
    hurt = [b"\x5a" * SLOT] * 9 + slots[9:]
    lost = sum(int.from_bytes(one[18:20], "little") & layout.ROWS_MASK for one in slots[:9] if one[3] == layout.PACKED)
    assert put(tmp_path, hurt).sessions[0].rows == put(tmp_path, slots).sessions[0].rows - lost
