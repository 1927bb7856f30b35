"""Both ring files of a card: made if absent, else continued behind the newest block."""

import os

from shared_math import layout, ticks
from store import fatfile, recover, writer

DRIVE = "drive.rpl"
PULLS = "pulls.rpl"
_LAST_SEQUENCE = 0xFFFFFFFF


class Card:
    """folder: where the card is mounted. slots: of drive.rpl and pulls.rpl, used when they must be made."""

    def __init__(self, folder, drive_slots, pulls_slots):
        self.folder = folder
        self.drive_slots = drive_slots
        self.pulls_slots = pulls_slots
        self.made_new = False

    def open(self):
        """Open or make the files and find where to go on: sets drive, pulls, ring_id, sequence, session, slots."""
        names = os.listdir(self.folder)
        drive_path = self.folder + "/" + DRIVE
        pulls_path = self.folder + "/" + PULLS
        if DRIVE not in names:
            fatfile.make(drive_path, self.drive_slots)
        if PULLS not in names:
            fatfile.make(pulls_path, self.pulls_slots)
        self.drive = fatfile.FatFile(drive_path)
        self.pulls = fatfile.FatFile(pulls_path)
        block = bytearray(layout.SLOT)
        drive_end = recover.newest(self.drive, block)
        if drive_end.slot < 0:
            self._begin()
            return
        self.ring_id = drive_end.ring_id
        pulls_end = recover.newest(self.pulls, block, self.ring_id, True)
        sequence = drive_end.sequence
        slot = drive_end.slot
        self.session = drive_end.session
        if pulls_end.slot < 0:
            writer.birth(self.pulls, self.ring_id, layout.PULLS_FILE, _LAST_SEQUENCE)
            self.pulls_slot = 1 % self.pulls.slots
        else:
            self.pulls_slot = (pulls_end.slot + 1) % self.pulls.slots
            if ticks.seq_after(pulls_end.sequence, sequence):
                # The drive's newest blocks are damaged but their copies are not: keep their numbers and slots taken
                slot = (slot + ticks.seq_distance(sequence, pulls_end.sequence)) % self.drive.slots
                sequence = pulls_end.sequence
                self.session = pulls_end.session
        self.sequence = (sequence + 1) & _LAST_SEQUENCE
        self.drive_slot = (slot + 1) % self.drive.slots
        self.session = self.session % 0xFFFF + 1

    def _begin(self):
        self.made_new = True
        self.ring_id = os.urandom(4)
        writer.birth(self.drive, self.ring_id, layout.DRIVE_FILE, 0)
        writer.birth(self.pulls, self.ring_id, layout.PULLS_FILE, _LAST_SEQUENCE)
        self.sequence = 1
        self.drive_slot = 1
        self.pulls_slot = 1
        self.session = 1
