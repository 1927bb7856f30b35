"""Starts the logger on whatever board this is. Only wiring here."""

import gc

gc.threshold(4096)  # while modules load: their garbage would otherwise break the heap into pieces

import boards  # noqa: E402
from logger import Logger  # noqa: E402

gc.collect()
gc.threshold(-1)
Logger(boards.pick()).run()
