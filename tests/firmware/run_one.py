"""Runs under MicroPython: `run_one.py FILE FUNCTION`; exit code 1 and a traceback when the test fails."""

import gc
import sys

gc.threshold(4096)  # as main.py does: garbage of loading modules would break the heap into pieces
path, name = sys.argv[1:3]
space = {"__name__": "test"}
with open(path) as f:
    exec(f.read(), space)
try:
    space[name]()
except Exception as error:
    sys.print_exception(error)
    sys.exit(1)
