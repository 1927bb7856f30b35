"""Start-up on a 1 GiB ring in 4 KiB clusters: few ring blocks, few device reads, whatever is damaged. MicroPython."""

import gc

import vfs
from big_card import BigCard

from shared_math import layout
from store import fatfile, recover

SLOTS = 2097152  # 1 GiB
CLUSTERS = SLOTS // 8
WHOLE = [(3, CLUSTERS)]
PIECES = [(3, 1000), (5000, 40), (200000, CLUSTERS - 100000 - 1040), (60000, 100000)]
_KEPT = []


def search(pieces, head, lap, bad=()):
    """(newest slot found, ring blocks read, device reads) by the firmware's own way from mount on."""
    gc.collect()
    card = BigCard(SLOTS, pieces, head, lap, bad)
    vfs.mount(vfs.VfsFat(card), "/b")
    file = fatfile.FatFile("/b/drive.rpl", card)
    found = recover.newest(file.for_search(), bytearray(layout.SLOT))
    vfs.umount("/b")
    return found.slot, found.reads, card.reads


class Damage:
    """1 % of all blocks, in runs of 1 to 8: one run somewhere in every 450 slots. Never the newest itself.

    Of the places that a search visits, every second one is hit on purpose.
    """

    def __init__(self, seed, head):
        self.seed = seed
        self.head = head
        self.aimed = set()
        low, high = 0, SLOTS
        while high - low > 450:
            middle = (low + high) // 2
            seed = (seed * 1103515245 + 12345) & 0x3FFFFFFF
            run = 1 + (seed >> 8) % 8
            if (seed >> 16) % 2:
                start = middle - (seed >> 20) % run
                self.aimed.update(range(start, start + run))
            if middle <= head:
                low = middle
            else:
                high = middle

    def __contains__(self, slot):
        if slot == self.head:
            return False
        random = ((slot // 450 + self.seed) * 1103515245 + 12345) & 0x3FFFFFFF
        start = (random >> 6) % 440
        return slot in self.aimed or start <= slot % 450 < start + 1 + (random >> 20) % 8


def check(pieces, head, lap, bad=()):
    slot, blocks, reads = search(pieces, head, lap, bad)
    assert slot == head, (slot, head, lap)
    assert blocks <= 64, blocks
    assert reads <= 2000, reads


def test_any_lap_any_place():
    for lap in (0, 1, 9):
        for head in (0, 1, 12345, SLOTS // 2, SLOTS - 2, SLOTS - 1):
            check(WHOLE, head, lap)


def test_file_in_pieces():
    for head in (1, 8100, SLOTS // 3, SLOTS - 1):
        check(PIECES, head, 2)


def test_damage_at_every_place_that_is_visited():
    seed = 11
    for lap in (0, 3):
        for head in (40, 54321, SLOTS // 2 + 3, SLOTS - 1):
            for _ in range(3):
                seed += 7919
                check(WHOLE, head, lap, Damage(seed, head))


class Runs:
    """Damage in runs: [(first slot, slots)]."""

    def __init__(self, *runs):
        self.runs = runs

    def __contains__(self, slot):
        return any([first <= slot < first + count for first, count in self.runs])


def test_long_runs_of_damage_cost_only_what_they_hit():
    middle = SLOTS // 2
    for lap, head, run in (
        (0, 200, (0, 9)),
        (2, 200, (0, 64)),
        (0, 54321, (1, 64)),
        (2, 54321, (54321 - 64, 64)),
        (2, middle + 100, (middle - 10, 64)),
        (0, middle + 100, (middle, 64)),
        (2, middle + 100, (middle + 36, 64)),
        (2, SLOTS - 1, (middle // 2, 64)),
        (2, SLOTS - 1, (SLOTS - 65, 64)),
    ):
        slot, blocks, reads = search(WHOLE, head, lap, Runs(run))
        assert slot == head, (slot, head, lap, run)
        assert blocks <= 200 and reads <= 2000, (blocks, reads, head, lap, run)


def test_a_ring_of_which_little_is_left_is_still_found():
    # Only a stretch in the middle of the present lap can be read, and the lap before behind it
    for first, head in ((5000, 9000), (100000, 300000)):
        slot, blocks, reads = search(WHOLE, head, 1, Runs((0, first)))
        assert slot == head, (slot, head)
        assert blocks <= 200, blocks
