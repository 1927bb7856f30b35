"""Where the configuration lies, and the note for the next start that it was too much for the memory."""

import os

_NOTE = "ran_out"  # in the folder that the board starts in: on its own flash


def text_of(folder):
    """The text of logger.json in `folder`, or None."""
    try:
        with open(folder + "/logger.json", "rb") as f:
            return f.read()
    except OSError:
        return None


def note():
    """Leave word for the next start that memory ran out in this one. OSError where the flash takes none."""
    open(_NOTE, "w").close()


def noted():
    """Whether the last start left word; told once, so that each power-on tries the configuration again."""
    try:
        os.remove(_NOTE)
    except OSError:
        return False
    return True
