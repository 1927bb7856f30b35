"""How often the main loop turns and looks: what the firmware does, and what its load on the PC is worked out from."""

from shared_math.compat import const

MOST_TURNS_HZ = const(100)  # a turn costs a millisecond, most of what a row costs
SLOWER_FROM_HZ = const(200)  # where rows come faster, they cost enough themselves
SLOW_TURNS_HZ = const(25)  # the loop then turns so often
LOOKS_HZ = const(20)  # at lambda: being lean for `after_s` is told one look later at most
