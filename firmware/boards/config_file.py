"""Where the configuration lies, and the note for the next start that this one failed with it."""

import os

_NOTE = "failed"  # in the folder that the board starts in: on its own flash
_NAME = "/logger.json"
_NEW = "/logger.new"


def text_of(folder):
    """The text of logger.json in `folder`, or None."""
    for name in (_NAME, _NEW):  # the new one is alone where power went while it took the old one's name
        try:
            with open(folder + name, "rb") as f:
                return f.read()
        except OSError:
            pass
    return None


def replace(folder, text):
    """Another text for logger.json: power may go at any time and leaves the old or the new one, whole. OSError."""
    with open(folder + _NEW, "wb") as f:
        f.write(text)
    os.rename(folder + _NEW, folder + _NAME)


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
