"""A block device over a file in the working folder, with its write log: the storage under the tests."""

SECTOR = 512


class LoggedDisk:
    def __init__(self, path, sectors):
        with open(path, "wb") as f:
            f.seek(sectors * SECTOR - 1)
            f.write(b"\0")
        self.file = open(path, "r+b")
        self.sectors = sectors
        self.reads = 0
        self.writes = 0  # while logging
        self.longest = 0  # sectors in one write
        self.logging = False

    def readblocks(self, n, buf):
        self.reads += 1
        self.file.seek(n * SECTOR)
        self.file.readinto(buf)

    def writeblocks(self, n, buf):
        if self.logging:
            self.writes += 1
            self.longest = max(self.longest, len(buf) // SECTOR)
        self.file.seek(n * SECTOR)
        self.file.write(buf)

    def ioctl(self, op, _arg):
        if op == 4:
            return self.sectors
        if op == 5:
            return SECTOR
        return 0
