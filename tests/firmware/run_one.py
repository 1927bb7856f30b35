"""Runs under MicroPython: `run_one.py MODULE FUNCTION`; exit code 1 and a traceback when the test fails."""

import gc
import sys

gc.threshold(4096)  # as main.py does: garbage of loading modules would break the heap into pieces
module, name = sys.argv[1:3]
test = getattr(__import__(module), name)
gc.collect()
try:
    test()
except Exception as error:
    sys.print_exception(error)
    sys.exit(1)
