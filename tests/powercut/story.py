"""One story, cut at every write: `story.py MEDIUM STEP STRIDE BYTES` under MicroPython; prints counts as JSON.

Start, record, wrap the ring twice, three marks with their copies, a spoiled flag, planned end, restart, an open pull.
STEP: a cut at every STEP-th write. STRIDE: at every STRIDE-th of these the torn kinds and second cuts are tried too.
BYTES 1: also a cut at every byte of some blocks. A failure names the cut: that line and the same arguments repeat it.
"""

import gc
import json
import sys

from drive import RATE, Drive
from media import KINDS, OLD_RING, PULLS, SLOTS, PowerCut, Watched, tear

from shared_math import layout, ticks

TORN = ("half", "ff", "zero")


def tell(drive, numbers, marks):
    """Feed rows; marks: list of (row, mark, flag) changes."""
    mark = flag = 0
    for n in range(numbers):
        for row, new_mark, new_flag in marks:
            if n == row:
                mark, flag = new_mark, new_flag
        drive.row(n, mark, flag)


def record(kind):
    """(first image, write log, acks) of the story told once without a cut."""
    disk = kind.fresh()
    first = bytes(disk.image)
    disk.log = []
    acks = []
    medium = Watched(kind.mount(disk), disk, acks)
    drive = Drive(medium, SLOTS, PULLS)
    tell(drive, 2700, [(300, 1, 0), (360, 2, 0), (1000, 3, 0), (1100, 4, 0), (2000, 5, 0), (2060, 6, 0), (2300, 6, 6)])
    drive.recorder.finish()
    kind.unmount()
    medium = Watched(kind.mount(disk), disk, acks)
    drive = Drive(medium, SLOTS, PULLS)
    tell(drive, 350, [(150, 1, 0)])
    log = disk.log
    disk.dead = True
    kind.unmount()
    return first, log, acks


class Expected:
    """What must be found after a cut: slot -> block of each ring, and every block that may be found."""

    def __init__(self, kind):
        self.kind = kind
        self.rings = {"drive": {}, "pulls": {}}
        self.known = set()
        self.recorded = False  # any row
        self.pulls_next = -1  # slot behind the newest row block of pulls

    def take(self, ack):
        _, ring, slot, data = ack
        held = self.rings[ring]
        for gone in self.kind.gone_with(slot):
            held.pop(gone, None)
        held[slot] = data
        self.known.add(data)
        self.recorded = self.recorded or data[layout.AT_KIND] == layout.PACKED
        if ring == "pulls" and data[layout.AT_KIND] == layout.PACKED:
            self.pulls_next = (slot + 1) % PULLS

    def newest(self):
        """Sequence of the newest acknowledged drive block, -1 for none."""
        best = -1
        for data in self.rings["drive"].values():
            best = max(best, layout.get32(data, layout.AT_SEQUENCE))
        return best


class Failure(Exception):
    pass


def check(kind, image, expected, under_way, cut_at=-1, torn=False):
    """Run the real recovery on `image` (consumed) and look at everything; returns the writes that recovery made.

    under_way: the ack that was being written, or None. cut_at: cut the power again at that write of the recovery,
    then recover once more. torn: the write that was cut left rubbish.
    """
    disk = kind.disk(image)
    disk.log = []
    seen = []
    if cut_at >= 0:
        disk.budget = cut_at
        disk.torn = "half"
        try:
            Drive(Watched(kind.mount(disk), disk, seen), SLOTS, PULLS)
            return -1
        except PowerCut:
            pass
        except OSError:
            if not disk.dead:
                raise
        kind_unmount_quietly(kind)
        disk = kind.disk(bytearray(disk.image))
        disk.log = []
    try:
        medium = Watched(kind.mount(disk), disk, seen)
        drive = Drive(medium, SLOTS, PULLS)
    except OSError as error:
        if expected.recorded or not (torn or cut_at >= 0):
            raise Failure("the card can't be used: %r" % error)
        disk.dead = True
        kind_unmount_quietly(kind)
        return 0  # a table of the volume is torn, while the files were being made: told, and nothing was recorded yet
    recovery_writes = len(disk.log)
    try:
        look(kind, drive, expected, under_way, seen, cut_at >= 0)
        resume(drive, expected)
    finally:
        disk.dead = True
        kind_unmount_quietly(kind)
    return recovery_writes


def kind_unmount_quietly(kind):
    try:
        kind.unmount()
    except OSError:
        pass


def look(kind, drive, expected, under_way, seen, cut_twice):
    block = bytearray(layout.SLOT)
    known = set(expected.known)
    spared = {"drive": set(), "pulls": set()}
    if under_way:
        known.add(under_way[3])
        spared[under_way[1]].update(kind.gone_with(under_way[2]))
    for _, ring, slot, data in seen:
        known.add(data)
        spared[ring].update(kind.gone_with(slot))
    if cut_twice:
        # The write of the recovery that was cut hit a slot of pulls.rpl that was free to be overwritten
        start = drive.card.pulls_slot - drive.completed
        for slot in range(start - 4, start + PULLS // 2):
            spared["pulls"].update(kind.gone_with(slot % PULLS))
    kept = set()
    copied = set()
    for ring, store in (("drive", drive.card.drive), ("pulls", drive.card.pulls)):
        for slot, data in expected.rings[ring].items():
            if slot not in spared[ring]:
                store.read(slot, block)
                if block != data:
                    raise Failure("%s slot %d lost its acknowledged block" % (ring, slot))
        for slot in range(store.slots):
            store.read(slot, block)
            if layout.verdict(block) is None and block[4:8] != OLD_RING:
                if bytes(block) not in known and not (
                    cut_twice and block[layout.AT_KIND] in (layout.SETUP, layout.BIRTH)
                ):
                    raise Failure("%s slot %d holds a block that was never written" % (ring, slot))
                if block[layout.AT_KIND] == layout.PACKED:
                    sequence = layout.get32(block, layout.AT_SEQUENCE)
                    if ring == "pulls":
                        copied.add(sequence)
                    elif (
                        layout.get16(block, layout.AT_ROWS) & layout.KEPT
                        and layout.get16(block, 12) == drive.card.last.session
                    ):
                        kept.add(sequence)
    began = (drive.card.pulls_slot - drive.completed) % PULLS
    if expected.pulls_next >= 0 and not cut_twice and (began - expected.pulls_next) % PULLS > 1:
        raise Failure("pulls went on at slot %d, not %d" % (began, expected.pulls_next))
    if kept - copied:
        raise Failure("marked blocks %s are not in pulls" % sorted(kept - copied))


def resume(drive, expected):
    """Recording goes on behind everything that was acknowledged."""
    newest = expected.newest()
    before = drive.recorder.writer.sequence
    if drive.recorder.writer.ring_id == OLD_RING:
        raise Failure("recording goes on in a ring that was deleted")
    if newest >= 0 and not ticks.seq_after(before, newest):
        raise Failure("recording goes on at sequence %d, but %d is on the card" % (before, newest))
    tell(drive, 2 * RATE, [(RATE, 1, 0)])
    drive.recorder.finish()
    block = bytearray(layout.SLOT)
    slot = (drive.recorder.writer.slot - 1) % SLOTS
    drive.card.drive.read(slot, block)
    after = (drive.recorder.writer.sequence - 1) & 0xFFFFFFFF
    if layout.verdict(block) is not None or layout.get32(block, layout.AT_SEQUENCE) != after or after < before:
        raise Failure("recording did not go on")


MOST_BYTES = 3000  # cuts between bytes in one run


def main(name, step, stride, every_byte):
    kind = KINDS[name]
    first, log, acks = record(kind)
    counts = {"medium": name, "writes": len(log), "blocks": len(acks), "cuts": 0, "torn": 0, "second": 0, "bytes": 0}
    spots = 16 if name == "littlefs" else 5  # writes cut at every byte: those of littlefs are short
    image = bytearray(first)
    expected = Expected(kind)
    next_ack = 0
    for k in range(len(log) + 1):
        while next_ack < len(acks) and acks[next_ack][0] <= k:
            expected.take(acks[next_ack])
            next_ack += 1
        under_way = acks[next_ack] if next_ack < len(acks) and k < len(log) else None
        if k % step == 0:
            where = (k, None, -1)
            try:
                writes = check(kind, bytearray(image), expected, under_way)
                counts["cuts"] += 1
                if k // step % stride == 0:
                    for how in TORN if k < len(log) else ():
                        where = (k, how, -1)
                        torn = bytearray(image)
                        tear(torn, log[k][0], log[k][1], how)
                        check(kind, torn, expected, under_way, -1, True)
                        counts["torn"] += 1
                    for second in range(0, writes, 1 if every_byte else max(1, writes // 6)):
                        where = (k, None, second)
                        if check(kind, bytearray(image), expected, under_way, second) < 0:
                            break
                        counts["second"] += 1
                if (
                    every_byte
                    and k < len(log)
                    and k // step % (len(log) // step // spots) == 5
                    and counts["bytes"] < MOST_BYTES
                ):
                    size = len(log[k][1])
                    for how in range(0, size, 1 if size <= layout.SLOT else 37):  # several blocks, or an erased page
                        where = (k, how, -1)
                        torn = bytearray(image)
                        tear(torn, log[k][0], log[k][1], how)
                        check(kind, torn, expected, under_way, -1, True)
                        counts["bytes"] += 1
            except Failure as failure:
                print("cut at write %d, torn %r, second cut at %d: %s" % (where + (failure,)))
                sys.exit(1)
            gc.collect()
        if k < len(log):
            offset, data = log[k]
            image[offset : offset + len(data)] = data
    print(json.dumps(counts))


main(sys.argv[1], int(sys.argv[2]), int(sys.argv[3]), sys.argv[4] == "1")
