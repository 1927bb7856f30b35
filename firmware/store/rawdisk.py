"""Both rings on a block device without file system: pulls first, then the drive, from sector 8 on."""

import errnos
from shared_math.compat import const

_FIRST = const(8)


class RawCard:
    """The medium: a device with readblocks, writeblocks and 512-byte sectors."""

    def __init__(self, device):
        self.device = device
        self.at = _FIRST
        self.regions = {}

    def open(self, name, slots):
        """(store, False) of the ring `name`. Regions follow each other in the order of their first opening."""
        if name not in self.regions:
            if self.at + slots > self.device.ioctl(4, 0):
                raise OSError(errnos.ENOSPC)
            self.regions[name] = Region(self.device, self.at, slots)
            self.at += slots
        return self.regions[name], False

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

    def write(self, slot, block):
        """Overwrite slot `slot` with `block`."""
        self.device.writeblocks(self.first + slot, block)

    def for_search(self):
        """Something with `slots` and `read` that is quick at any slot."""
        return self
