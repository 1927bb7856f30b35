"""Starts the logger on whatever board this is. Only wiring here; the order keeps the heap in one piece."""

import gc

gc.threshold(4096)  # garbage of loading modules would break the heap into pieces

import boards  # noqa: E402
import settings  # noqa: E402

board = boards.pick()
given = settings.read(board.read_config())

import memory  # noqa: E402

memory.hold()

from logger import Logger  # noqa: E402

gc.collect()
Logger(board, given).run()
