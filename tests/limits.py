"""How long a test waits for an event before it calls it a hang. No test depends on how fast the machine is."""

import time

HANG_S = 300


def until(test, what=""):
    """Waits until test() is true and returns what it gave; fails where that hangs."""
    end = time.monotonic() + HANG_S
    pause_s = 0.005
    while not (got := test()):
        assert time.monotonic() < end, f"not within {HANG_S} s: {what or test}"
        time.sleep(pause_s)
        pause_s = min(pause_s * 1.3, 0.1)  # asking is work too, where what is waited for needs the processor
    return got
