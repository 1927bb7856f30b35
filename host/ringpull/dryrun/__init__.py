"""The real firmware on recorded signals, under MicroPython on this PC."""
