"""Rates of the main loop and of the car's bus, used by the firmware and by the PC's estimate of its load."""

from shared_math.compat import const

MOST_TURNS_HZ = const(100)  # a turn takes a millisecond, nearly as much as a row
SLOWER_FROM_HZ = const(200)  # with faster rows the loop turns more slowly,
SLOW_TURNS_HZ = const(25)  # at this rate
QUESTIONS_HZ = const(50)  # to the car's computer, at most
LOOKS_HZ = const(20)  # looks at lambda: a warning comes at most one look after `after_s`
