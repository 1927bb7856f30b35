"""A board without a card: the folder that its firmware makes on its own flash, copied to a PC, is a source."""

import os
import subprocess

from limits import HANG_S

from ringpull.dryrun.run import HEAP, find_micropython
from ringpull.files.firmware_sources import firmware_dir, shared_math_dir
from ringpull.ring.blocks.store import open_store

MAKE = """
import sys
from store import card, segments
made = card.Card(segments.SegmentCard(sys.argv[1]), 128, 64)
made.open()
"""


def test_what_the_firmware_makes_is_found(tmp_path):
    (tmp_path / "make.py").write_text(MAKE)
    folder = tmp_path / "ring"
    folder.mkdir()
    environment = dict(os.environ, MICROPYPATH=f"{firmware_dir()}:{shared_math_dir().parent}:.frozen")
    command = [find_micropython(), "-X", f"heapsize={HEAP}", str(tmp_path / "make.py"), str(folder)]
    subprocess.run(command, env=environment, check=True, timeout=HANG_S)
    store = open_store(folder)
    assert [index.file.name for index in store.indexes] == ["drive/0000.rpl", "pulls/0000.rpl"]
    assert store.blocks().read == 2 and store.damage() == []  # the first block of either ring
