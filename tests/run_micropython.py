"""Runs a test module of both runtimes under MicroPython, in a heap as small as a small board's.

As a program under MicroPython: `run_micropython.py MODULE`: one line for each failed test_*; exit code 1 on failure.
"""

import gc
import sys

gc.threshold(4096)  # as main.py does: garbage of loading modules would break the heap into pieces


def run_module(name):
    """Run every test_* function of one module; returns (run, failed)."""
    module = __import__(name)
    run = failed = 0
    for test in sorted(dir(module)):
        if test.startswith("test_") and callable(getattr(module, test)):
            run += 1
            try:
                getattr(module, test)()
            except Exception as error:
                failed += 1
                print("FAILED", test)
                sys.print_exception(error)  # pyright: ignore[reportAttributeAccessIssue]
    return run, failed


if __name__ == "__main__":
    done = run_module(sys.argv[1])
    print("%d run, %d failed" % done)
    sys.exit(1 if done[1] or not done[0] else 0)
