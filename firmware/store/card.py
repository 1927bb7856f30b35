"""Both rings of a card: made if absent, else continued behind the newest block."""

import os

from shared_math import layout, ticks

_LAST_SEQUENCE = 0xFFFFFFFF
_LEAST_SLOTS = 64  # a file with fewer was clipped by something: it is put aside


class Card:
    """medium: FatCard or SegmentCard. slots: of the two rings, used when they must be made. random: gives
    that many random bytes, for a new ring's id.

    After `open`: drive, pulls (stores), ring_id, sequence, drive_slot, pulls_slot (where writing goes on), session
    (of this start), last (recover.Newest of the drive), last_pull (of the pulls), made_new, unusable (a drive ring was
    there and nothing in it could be read: a new one was begun). unkept: the last
    pull could not be completed in pulls.rpl.
    """

    def __init__(self, medium, drive_slots, pulls_slots, random=os.urandom):
        self.medium = medium
        self.random = random
        self.drive_slots = drive_slots
        self.pulls_slots = pulls_slots
        self.made_new = False
        self.unusable = False
        self.unkept = False

    def open(self):
        """Open or make the rings and find where to go on. OSError from the medium comes through."""
        from store import recover  # given back while recording, see memory.settle

        self._newest = recover.newest
        self._none = recover.Newest
        block = bytearray(layout.SLOT)
        found = self.medium.exists("drive")
        if found:
            self.drive = self.medium.open("drive", self.drive_slots)
            self.last = self._newest(self.drive.for_search(), block)
            found = self.last.slot >= 0
            if found:
                self.ring_id = self.last.ring_id
                self._find_pulls(block)
                self._go_on()
            else:
                self.unusable = self.last.newer_version or self.last.damaged
                if self.last.newer_version:
                    self.medium.keep("drive")
        if not found:
            self._new_ring(block)
        del self._newest, self._none

    def _find_pulls(self, block):
        """Open pulls.rpl; one that is not of the drive's ring is kept under another name, never overwritten."""
        self.last_pull = self._none()
        if self.medium.exists("pulls"):
            self.pulls = self.medium.open("pulls", self.pulls_slots)
            self.last_pull = self._newest(self.pulls.for_search(), block, self.ring_id, True)
        if self.last_pull.slot < 0:
            self._keep_pulls(block)
            self.pulls = self._birth("pulls", self.pulls_slots, layout.PULLS_FILE, _LAST_SEQUENCE)
            self.last_pull.slot = 0

    def _keep_pulls(self, block):
        """Rename a pulls.rpl that holds rows of another ring, or of a newer version."""
        if self.medium.exists("pulls"):
            held = self._newest(self.medium.open("pulls", self.pulls_slots).for_search(), block, None, True)
            if held.first_row >= 0 or held.newer_version:
                self.medium.keep("pulls")

    def _birth(self, name, slots, which, sequence):
        """The ring file with its first block: made, or begun anew in place where it holds nothing."""
        if self.medium.exists(name):
            store = self.medium.open(name, slots)
            if store.slots >= _LEAST_SLOTS:
                store.write(0, layout.birth(self.ring_id, which, store.slots, sequence))
                return store
            self.medium.keep(name)
        self.medium.make(name, slots, layout.birth(self.ring_id, which, slots, sequence))
        return self.medium.open(name, slots)

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

    def _new_ring(self, block):
        self.made_new = True
        self.ring_id = self.random(4)
        self.last = self._none()
        self.last_pull = self._none()
        self._keep_pulls(block)
        self.pulls = self._birth("pulls", self.pulls_slots, layout.PULLS_FILE, _LAST_SEQUENCE)
        self.drive = self._birth("drive", self.drive_slots, layout.DRIVE_FILE, 0)
        self.sequence = 1
        self.drive_slot = self.pulls_slot = 1
        self.session = 1
