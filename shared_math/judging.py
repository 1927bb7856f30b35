"""Rules shared by lamp and PC: when an engine is under load, and when lambda may be off target for a while.

Common practice, no source, unless noted.
"""

from shared_math.compat import const

# Defaults of the lean warning
MARGIN = 0.05  # lambda above target
AFTER_S = 0.3  # lambda must be above that for so long

# Under load: see under_load()
STANDARD_KPA = const(100)  # pressure of the surrounding air if it is not known, and its highest value
LOADED_SHARE_PCT = const(85)  # of the surrounding air's pressure: nearly open throttle without boost
FULL_SHARE_PCT = const(92)  # the share if a throttle channel shows smaller loads
LOADED_LEAST_KPA = const(60)  # lowest limit, at high altitude
LOADED_PCT = const(60)  # throttle
RUNNING_RPM = const(500)
IDLE_RPM = const(1300)
REST_MOST_PCT = const(25)  # a throttle that reads more than this at idle can't be used
NO_VACUUM_MS = const(2000)  # an engine that idles so long at the pressure of full load makes no vacuum
STOOD_MS = const(300)  # with the engine stopped, pressure is the air's once it keeps within STOOD_KPA for so long
STOOD_KPA = const(1)  # (a starter lowers it)
BOOSTED_SHARE_PCT = const(150)  # of the surrounding air's pressure: the limit if only boost pressure shows load

# Causes that keep lambda off its target
TIP_IN_KPA = const(40)  # load that rises by more within TIP_IN_WINDOW_MS brings enrichment and wall film
TIP_IN_PCT = const(20)
TIP_IN_WINDOW_MS = const(200)
FALLING_RPM_S = const(1500)  # engine speed that falls faster is a gear change
SETTLE_MS = const(600)  # after a tip-in, until gas of the new state is at the sensor

# How far a lambda channel's signal wire may read above and below it, against the logger's own ground. Sound grounds
# differ by less: its current lifts its ground by some 0.1 V, with a warm fuse by 0.3 (simulated). A broken core
# takes 0.37 of the signal, which is more from 0.67 V on; one that touches ground adds a quarter, from 1.4 V on
WIRE_ABOVE_V = 0.25
WIRE_BELOW_V = 0.35

# Names of a lambda channel that the engine computer commands, which is not a measurement
COMMANDED = ("lambda_commanded", "commanded_lambda", "lambda_target")

# The possible meanings of a controller's state
HEATING = "heating"
MEANINGS = (HEATING, "fault", "off")


def full_kpa(ambient, beside_throttle, unit=1):
    """The manifold pressure from which an engine is under load. unit: units per kPa (10: tenths of a kPa).

    ambient: pressure of the surrounding air, in these units. beside_throttle: whether a throttle channel is used too.
    """
    share = FULL_SHARE_PCT if beside_throttle else LOADED_SHARE_PCT
    most = STANDARD_KPA * unit * share // 100
    return max(LOADED_LEAST_KPA * unit, min(most, ambient * share // 100))


def boosted_kpa(ambient, unit=1):
    """The manifold pressure from which an engine that makes no vacuum is under load; arguments as in full_kpa()."""
    return min(STANDARD_KPA * unit, ambient) * BOOSTED_SHARE_PCT // 100


def under_load(kpa, full, pct, opened):
    """Whether the engine is under load: manifold pressure at or above `full`, or throttle at or above `opened`.

    For numbers or arrays; an unknown value is NaN or below any limit.
    """
    return (kpa >= full) | (pct >= opened)


def measures(channel):
    """Whether a channel is a lambda sensor in the exhaust."""
    return channel["kind"] == "lambda" and channel["name"] not in COMMANDED


def meaning(state):
    """The meaning of a controller's configured state, one of MEANINGS, or None.

    In older configurations only the state's name shows that it means heating.
    """
    if "means" in state:
        return state["means"]
    name = state["name"].lower()
    return HEATING if "warm" in name or "heat" in name else None
