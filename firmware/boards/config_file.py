"""Where the configuration lies, and the note for the next start that this one failed with it."""

import os

_NOTE = "failed"  # in the folder that the board starts in: on its own flash


def text_of(folder):
    """The text of logger.json in `folder`, or None."""
    try:
        with open(folder + "/logger.json", "rb") as f:
            return f.read()
    except OSError:
        return None


def note(words):
    """Leave word for the next start why this one failed. OSError where the flash takes none."""
    with open(_NOTE, "w") as f:
        f.write(words)


def noted():
    """What the last start left word of, or None; told once, so that each power-on tries the configuration again."""
    try:
        with open(_NOTE) as f:
            words = f.read()
        os.remove(_NOTE)
    except OSError:
        return None
    return words
