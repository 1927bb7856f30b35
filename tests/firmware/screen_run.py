"""The desk board with a screen in memory: what stands on it at chosen times is written to files. For pictures.

RINGPULL_SHOTS: a folder with `moments`, a time in seconds and a name on each line, in order.
"""

import os

from glass import Glass

from boards.desk import DeskBoard


class ScreenBoard(DeskBoard):
    """Everything of the desk board, and a screen."""

    def __init__(self):
        super().__init__()
        self.folder = os.getenv("RINGPULL_SHOTS")
        with open(self.folder + "/moments") as f:
            lines = [line.split() for line in f]
        self.moments = [(int(float(t) * 1000000), name) for t, name in lines]
        self.glass = Glass()

    def screen(self):
        return self.glass

    def idle(self):
        super().idle()
        while self.moments and self.moments[0][0] <= self.now:
            with open(self.folder + "/" + self.moments.pop(0)[1], "wb") as f:
                f.write(self.glass.shown)
