"""Limits of the readings of sound instruments.

Common practice, no source, unless noted.
"""

from shared_math.compat import const

# Manifold pressure with the engine stopped is that of the surrounding air, from high mountains to the strongest high
AMBIENT_LEAST_KPA = const(60)
AMBIENT_MOST_KPA = const(105)
AMBIENT_SLACK_KPA = const(3)  # allowed error of a sound sensor
MAP_LEAST_KPA = const(8)  # deepest vacuum of a running engine
MAP_MOST_KPA = const(500)

IDLE_LEAST_RPM = const(400)
IDLE_MOST_RPM = const(2000)

SUPPLY_LEAST_MV = const(10800)
SUPPLY_MOST_MV = const(15800)


def ambient(kpa):
    """Whether a pressure can be that of the surrounding air."""
    return AMBIENT_LEAST_KPA - AMBIENT_SLACK_KPA <= kpa <= AMBIENT_MOST_KPA + AMBIENT_SLACK_KPA
