"""Starts the logger on whatever board this is. Only wiring here."""

import boards
from logger import Logger

Logger(boards.pick()).run()
