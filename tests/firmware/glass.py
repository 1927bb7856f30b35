"""A screen in memory. Runs under MicroPython."""

import framebuf

PIECES = 32


class Glass(framebuf.FrameBuffer):
    """A screen that takes 32 turns to show what was drawn; `shown` is what the driver sees."""

    def __init__(self):
        self.memory = bytearray(1024)
        super().__init__(self.memory, 128, 64, framebuf.MONO_VLSB)
        self.shown = bytearray(1024)
        self.at = 0

    def send(self):
        first = 32 * self.at
        self.shown[first : first + 32] = self.memory[first : first + 32]
        self.at = (self.at + 1) % PIECES
        return self.at == 0
