"""Files at the bench: read, and brought whole in place of logger.json or behind the history of calibrations."""

from binascii import a2b_base64, crc32

from boards import config_file
from shared_math import cable_bench


class Files:
    """board, talk: of the bench. The methods have the names of the requests in CABLE.md; words: of one."""

    def __init__(self, board, talk):
        self.board = board
        self.talk = talk
        self.held = bytearray()
        self.kept = None  # what `keep` did last: asked again, it is not done again

    def _place(self, which):
        """(folder, path) of the file."""
        board = self.board
        if which == cable_bench.HISTORY_FILE:
            return board.card_folder, board.card_folder + "/" + cable_bench.HISTORY
        if which != cable_bench.CONFIG_FILE:
            raise ValueError
        folder = board.card_folder
        if config_file.text_of(folder) is None and board.read_config() is not None:
            folder = "."  # on the board's own flash
        return folder, folder + "/logger.json"

    def read(self, words):
        """`read FILE AT`."""
        which, at = words[1], int(words[2])
        path = self._place(which)[1]
        try:
            with open(path, "rb") as f:
                size = f.seek(0, 2)
                if at < 0:
                    raise ValueError
                f.seek(min(at, size))
                length = f.readinto(self.talk.block)
        except OSError:
            self.talk.refuse("no_file")
            return
        self.talk.put((cable_bench.READ, str(size)), length)

    def text(self, words):
        """`text AT PIECE`."""
        at, piece = int(words[1]), a2b_base64(words[2])
        if at > len(self.held) or at + len(piece) > cable_bench.MOST_TEXT:
            raise ValueError
        self.held[at:] = piece
        self.talk.put((cable_bench.TEXT, str(len(self.held))), 0)

    def keep(self, words):
        """`keep FILE SIZE CRC`."""
        folder, path = self._place(words[1])
        if self.kept != words:
            if len(self.held) != int(words[2]) or crc32(self.held) & 0xFFFFFFFF != int(words[3], 16):
                raise ValueError
            try:
                if words[1] == cable_bench.HISTORY_FILE:
                    with open(path, "ab") as f:
                        f.write(self.held)
                else:
                    config_file.replace(folder, self.held)
            except OSError:
                self.talk.refuse("no_card")
                return
            self.kept = list(words)
        self.held = bytearray()
        self.talk.put((cable_bench.KEEP,), 0)
