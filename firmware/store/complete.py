"""After a power cut: copy to pulls.rpl what of the last marked pull stands in the drive ring but not there yet.

Row blocks that belong into pulls.rpl carry a bit that says so. Each copy made here is found by the next start, so a
cut in here loses nothing either.
"""

import json

from shared_math import layout, ticks
from shared_math.compat import const
from store.copier import BEFORE_S

_BEHIND = const(16)  # blocks without the bit behind the last one with it: how far copying may have lagged
_LONGEST = const(4096)  # blocks of one pull at most


class Completer:
    """card: an open Card; its pulls_slot moves on with each copy."""

    def __init__(self, card):
        self.card = card
        self.block = bytearray(layout.SLOT)
        self.copied = 0

    def run(self):
        """Copy what is missing; returns the number of blocks copied. What the card refuses is left, and `card.unkept`
        set: it must not keep a start from recording."""
        last = self._last_kept()
        try:
            if last >= 0:
                start, lead = self._first_missing(last)
                if start >= 0:
                    if lead:
                        start = self._lead_in(start)
                    self._copy_from(start, last)
        except OSError:
            self.card.unkept = True
        return self.copied

    def _read(self, slot):
        """Whether a usable block of the newest session stands in the drive slot; it is then in self.block."""
        card = self.card
        try:
            card.drive.read(slot, self.block)
        except OSError:  # a bad sector: as good as damaged
            return False
        return (
            layout.verdict(self.block) is None
            and layout.get16(self.block, layout.AT_SESSION) == card.last.session
            and self.block[layout.AT_RING : layout.AT_RING + 4] == card.ring_id
        )

    def _is_rows(self):
        return self.block[layout.AT_KIND] in (layout.PACKED, layout.PLAIN)

    def _before(self, slot):
        return (slot - 1) % self.card.drive.slots

    def _last_kept(self):
        """Slot of the newest block that belongs into pulls.rpl, or -1."""
        slot = self.card.last.slot
        for _ in range(_BEHIND):
            if self._read(slot) and self._is_rows() and layout.get16(self.block, layout.AT_ROWS) & layout.KEPT:
                return slot
            slot = self._before(slot)
        return -1

    def _first_missing(self, last):
        """(slot of the first block to copy, whether the pull's lead-in is missing too); slot -1: nothing is missing."""
        have = self.card.last_pull
        slot = last
        first = -1
        gap = 0
        for _ in range(_LONGEST):
            if not self._read(slot):
                gap += 1  # a damaged slot, or the session's beginning
                if gap > 8:
                    break
            else:
                sequence = layout.get32(self.block, layout.AT_SEQUENCE)
                if have.first_row >= 0 and not ticks.seq_after(sequence, have.sequence):
                    return first, False
                if self._is_rows():
                    if not layout.get16(self.block, layout.AT_ROWS) & layout.KEPT:
                        break
                    gap = 0
                    first = slot
            slot = self._before(slot)
        return first, True

    def _lead_in(self, start):
        """Copy the session's setup group; the slot from which on the 5 s before the pull stand."""
        setup, rows_before = self._setup(start)
        if setup < 0:
            return start
        have = self.card.last_pull
        self._read(start)
        from_row = layout.get32(self.block, layout.AT_FIRST_ROW) - rows_before
        slot = start
        for _ in range(_LONGEST):
            before = self._before(slot)
            if not self._read(before):
                break
            if have.first_row >= 0 and not ticks.seq_after(layout.get32(self.block, layout.AT_SEQUENCE), have.sequence):
                break
            slot = before
            if self._is_rows() and layout.get32(self.block, layout.AT_FIRST_ROW) <= from_row:
                break
        end = self.card.drive.slots
        self._read(setup)
        for part in range(self.block[layout.AT_PARTS]):
            if self._read((setup + part) % end):
                self._copy()
        return slot

    def _setup(self, slot):
        """(slot of the newest whole setup group before `slot`, rows in 5 s), (-1, 0) where there is none."""
        end = self.card.drive.slots
        for _ in range(layout.SETUP_EVERY + 64):
            slot = self._before(slot)
            if self._read(slot) and self.block[layout.AT_KIND] == layout.SETUP and self.block[layout.AT_PART] == 0:
                text = b""
                for part in range(self.block[layout.AT_PARTS]):
                    if self._read((slot + part) % end) and self.block[layout.AT_KIND] == layout.SETUP:
                        length = layout.get16(self.block, layout.AT_LENGTH)
                        text += bytes(self.block[layout.AT_PAYLOAD : layout.AT_PAYLOAD + length])
                try:
                    return slot, BEFORE_S * 1000000 // json.loads(text)["period_us"]
                except (ValueError, KeyError):
                    pass
        return -1, 0

    def _copy_from(self, slot, last):
        end = (last + 1) % self.card.drive.slots
        while slot != end:
            if self._read(slot):
                self._copy()
            slot = (slot + 1) % self.card.drive.slots

    def _copy(self):
        card = self.card
        card.pulls.write(card.pulls_slot, self.block)
        card.pulls_slot = (card.pulls_slot + 1) % card.pulls.slots
        self.copied += 1
