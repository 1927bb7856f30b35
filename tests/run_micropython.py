"""Runs test files of both runtimes under MicroPython, in a heap as small as a small board's.

As a program under MicroPython: `run_micropython.py FILE`, one line per failed test_* function; exit code 1 on failure.
"""

import gc
import sys

gc.threshold(4096)  # as main.py does: garbage of loading modules would break the heap into pieces


def run_file(path):
    """Run every test_* function of one file; returns (run, failed)."""
    space = {"__name__": "tests", "__file__": path}
    with open(path) as source:
        exec(source.read(), space)
    run = failed = 0
    for name in sorted(space):
        if name.startswith("test_") and callable(space[name]):
            run += 1
            try:
                space[name]()
            except Exception as error:
                failed += 1
                print("FAILED", name)
                sys.print_exception(error)  # pyright: ignore[reportAttributeAccessIssue]
    return run, failed


if __name__ == "__main__":
    done = run_file(sys.argv[1])
    print("%d run, %d failed" % done)
    sys.exit(1 if done[1] or not done[0] else 0)
