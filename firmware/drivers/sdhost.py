"""A card in the socket of a chip's own SD host: the port's driver, with what it only answers made an error.

The port's driver returns False for a block that was not written; a store must not take that for success.
"""

import errnos
from drivers.sdcard import CardError


class HostCard:
    """device: machine.SDCard. The same methods as drivers.sdcard.SdCard."""

    def __init__(self, device):
        self.device = device
        self.retired = False  # a collected file object of an earlier mount must not write to another card
        self.sectors = 0

    def wake(self):
        """See drivers.sdcard.SdCard.wake: here the port does it all, and waits for it."""
        if self.device.ioctl(1, 0) != 0:
            raise CardError(errnos.ENODEV, "no card")
        self.sectors = self.device.ioctl(4, 0)
        return True

    def ready(self):
        """Always: the port's driver returns when the card is done."""
        return True

    def readblocks(self, n, buf):
        """Read len(buf) / 512 sectors from sector n."""
        if self.retired:
            raise CardError(errnos.ENODEV, "card was taken out")
        if not self.device.readblocks(n, buf):
            raise CardError(errnos.EIO, "read failed")

    def writeblocks(self, n, buf):
        """Write len(buf) / 512 sectors from sector n; returns when the card has them."""
        if self.retired:
            raise CardError(errnos.ENODEV, "card was taken out")
        if not self.device.writeblocks(n, buf):
            raise CardError(errnos.EIO, "write failed")

    def ioctl(self, op, arg):
        """3: wait until all is written. 4: sectors. 5: bytes a sector. The rest needs none."""
        if op == 4:
            return self.sectors
        if op == 5:
            return 512
        return 0
