"""What an instrument shows if it is sound: the limits by which one is doubted.

Common practice, no source, unless said otherwise.
"""

from shared_math.compat import const

# Manifold pressure of the standing engine is that of the air around: from high mountains to the strongest anticyclone
AMBIENT_LEAST_KPA = const(60)
AMBIENT_MOST_KPA = const(105)
AMBIENT_SLACK_KPA = const(3)  # that a sound sensor may be off
MAP_LEAST_KPA = const(8)  # of a running engine: no throttle draws a deeper vacuum
MAP_MOST_KPA = const(500)

IDLE_LEAST_RPM = const(400)
IDLE_MOST_RPM = const(2000)

SUPPLY_LEAST_MV = const(10800)
SUPPLY_MOST_MV = const(15800)


def ambient(kpa):
    """Whether a pressure can be that of the air around."""
    return AMBIENT_LEAST_KPA - AMBIENT_SLACK_KPA <= kpa <= AMBIENT_MOST_KPA + AMBIENT_SLACK_KPA
