"""Both rings on a block device without file system: pulls first, then the drive, from sector 8 on."""

import errnos
from shared_math.compat import const

_FIRST = const(8)


class BareCard:
    """The medium: a device with readblocks, writeblocks and 512-byte sectors. pulls_slots: its first region's."""

    def __init__(self, device, pulls_slots):
        self.device = device
        self.pulls_slots = pulls_slots
        self.at = _FIRST
        self.regions = {}

    def exists(self, _name):
        """Sectors are always there."""
        return True

    def open(self, name, slots):
        """The store of the ring `name`. Regions follow each other in the order of their first opening: pulls first."""
        if not self.regions:
            self._place("pulls", self.pulls_slots)
        if name not in self.regions:
            self._place(name, slots)
        return self.regions[name]

    def _place(self, name, slots):
        if self.at + slots > self.device.ioctl(4, 0):
            raise OSError(errnos.ENOSPC)
        self.regions[name] = Region(self.device, self.at, slots)
        self.at += slots

    def keep(self, _name):
        """There is no second place on a bare device."""
        raise OSError(errnos.EEXIST)


class Region:
    """Slots that are sectors."""

    def __init__(self, device, first, slots):
        self.device = device
        self.first = first
        self.slots = slots

    def read(self, slot, block):
        """Read slot `slot` into `block` (bytearray of 512)."""
        self.device.readblocks(self.first + slot, block)

    def write(self, slot, blocks):
        """Overwrite the slots from `slot` on with `blocks`."""
        self.device.writeblocks(self.first + slot, blocks)

    def for_search(self):
        """Something with `slots` and `read` that is quick at any slot."""
        return self
