"""Both rings of a card: made if absent, else continued behind the newest block."""

import os

from shared_math import layout, ticks
from store import recover, writer

_LAST_SEQUENCE = 0xFFFFFFFF


class Card:
    """medium: FatCard, SegmentCard or RawCard. slots: of the two rings, used when they must be made. random: gives
    that many random bytes, for a new ring's id.

    After `open`: drive, pulls (stores), ring_id, sequence, drive_slot, pulls_slot (where writing goes on), session
    (of this start), last (recover.Newest of the drive), last_pull (of the pulls), made_new.
    """

    def __init__(self, medium, drive_slots, pulls_slots, random=os.urandom):
        self.medium = medium
        self.random = random
        self.drive_slots = drive_slots
        self.pulls_slots = pulls_slots
        self.made_new = False

    def open(self):
        """Open or make the rings and find where to go on. OSError from the medium comes through."""
        block = bytearray(layout.SLOT)
        self.pulls, _ = self.medium.open("pulls", self.pulls_slots)
        self.drive, made = self.medium.open("drive", self.drive_slots)
        # A file just made holds what the card held there before, perhaps blocks of a ring that was deleted
        self.last = recover.Newest() if made else recover.newest(self.drive.for_search(), block)
        self.last_pull = recover.newest(self.pulls.for_search(), block, self.last.ring_id, True)
        self.drive = self._whole("drive", self.drive, self.drive_slots, self.last)
        self.pulls = self._whole("pulls", self.pulls, self.pulls_slots, self.last_pull)
        if self.last.newer_version:
            self.drive = self._keep("drive", self.drive_slots)
            self.last = recover.Newest()
        if self._foreign(block):
            self.pulls = self._keep("pulls", self.pulls_slots)
            self.last_pull = recover.Newest()
        if self.last.slot < 0:
            self._begin()
            return
        self.ring_id = self.last.ring_id
        if self.last_pull.slot < 0:
            writer.birth(self.pulls, self.ring_id, layout.PULLS_FILE, _LAST_SEQUENCE)
            self.last_pull.slot = 0
        self._go_on()

    def _keep(self, name, slots):
        self.medium.keep(name)
        return self.medium.open(name, slots)[0]

    def _foreign(self, block):
        """Whether pulls.rpl holds blocks that are not of the drive's ring: another logger's pulls are not overwritten."""
        if self.last_pull.newer_version:
            return True
        if self.last.slot < 0:
            return self.last_pull.slot >= 0
        return self.last_pull.slot < 0 and recover.newest(self.pulls.for_search(), block, None, True).slot >= 0

    def _whole(self, name, store, slots, found):
        """The store, made anew if a power cut clipped it while it was being made."""
        if found.slot < 0 and not found.newer_version and store.slots < slots:
            self.medium.remove(name)
            return self.medium.open(name, slots)[0]
        return store

    def _go_on(self):
        sequence = self.last.sequence
        slot = self.last.slot
        session = self.last.session
        pull = self.last_pull
        if pull.first_row >= 0 and ticks.seq_after(pull.sequence, sequence):
            # The drive's newest blocks are damaged but their copies are not: their numbers and slots stay taken
            slot = (slot + ticks.seq_distance(sequence, pull.sequence)) % self.drive.slots
            sequence = pull.sequence
            session = pull.session
        self.sequence = (sequence + 1) & _LAST_SEQUENCE
        self.drive_slot = (slot + 1) % self.drive.slots
        self.pulls_slot = (pull.slot + 1) % self.pulls.slots
        self.session = session % 0xFFFF + 1

    def _begin(self):
        self.made_new = True
        self.ring_id = self.random(4)
        writer.birth(self.drive, self.ring_id, layout.DRIVE_FILE, 0)
        writer.birth(self.pulls, self.ring_id, layout.PULLS_FILE, _LAST_SEQUENCE)
        self.sequence = 1
        self.drive_slot = self.pulls_slot = 1
        self.session = 1
