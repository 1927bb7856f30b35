"""What lamp and PC judge by alike: when an engine is under load, and what keeps lambda from its target for a while.

Common practice, no source, unless said otherwise.
"""

from shared_math.compat import const

# The lean warning, where the configuration says nothing
MARGIN = 0.05  # lambda above target
AFTER_S = 0.3  # for so long

# Under load: see under_load()
STANDARD_KPA = const(100)  # of the air around, where nothing tells it, and at most
LOADED_SHARE_PCT = const(85)  # of the air around: nearly open throttle without boost
FULL_SHARE_PCT = const(92)  # the same where a throttle tells of all that is less
LOADED_LEAST_KPA = const(60)  # of the limit, high up in the mountains
LOADED_PCT = const(60)  # throttle
RUNNING_RPM = const(500)
IDLE_RPM = const(1300)
REST_MOST_PCT = const(25)  # a throttle that rests further open than this, with the engine idling, tells nothing
NO_VACUUM_MS = const(2000)  # of idling at the pressure of full load: an engine that makes no vacuum
STOOD_MS = const(300)  # that a standing engine's pressure keeps within STOOD_KPA, to be the air's: a starter lowers it
STOOD_KPA = const(1)
BOOSTED_SHARE_PCT = const(150)  # of the air around: there only a charger's pressure tells load

# What keeps lambda from its target
TIP_IN_KPA = const(40)  # load risen by more within TIP_IN_WINDOW_MS: enrichment and wall film are not the table's
TIP_IN_PCT = const(20)
TIP_IN_WINDOW_MS = const(200)
FALLING_RPM_S = const(1500)  # engine speed falling faster: a gear change
SETTLE_MS = const(600)  # after a tip-in, until the gas at the sensor is of this state

# Names of a lambda channel that the engine computer only commands: it measures nothing
COMMANDED = ("lambda_commanded", "commanded_lambda", "lambda_target")

# What a state of a controller's output may mean
HEATING = "heating"
MEANINGS = (HEATING, "fault", "off")


def full_kpa(ambient, beside_throttle, unit=1):
    """The manifold pressure from which on an engine is under load, in `unit`s of a kPa (10: tenths).

    ambient: of the air around, in the same. beside_throttle: whether a throttle tells load as well.
    """
    share = FULL_SHARE_PCT if beside_throttle else LOADED_SHARE_PCT
    most = STANDARD_KPA * unit * share // 100
    return max(LOADED_LEAST_KPA * unit, min(most, ambient * share // 100))


def boosted_kpa(ambient, unit=1):
    """The manifold pressure from which on an engine that makes no vacuum is under load, as full_kpa() has it."""
    return min(STANDARD_KPA * unit, ambient) * BOOSTED_SHARE_PCT // 100


def under_load(kpa, full, pct, opened):
    """Under load: manifold pressure at or above full load's, or throttle at or above `opened`.

    Numbers, or arrays of them; what is not known is NaN or less than any limit.
    """
    return (kpa >= full) | (pct >= opened)


def measures(channel):
    """Whether a channel is a lambda sensor in the exhaust."""
    return channel["kind"] == "lambda" and channel["name"] not in COMMANDED


def meaning(state):
    """What a configured state of a controller means, one of MEANINGS, or None. Older configurations tell heating by the
    state's name alone."""
    if "means" in state:
        return state["means"]
    name = state["name"].lower()
    return HEATING if "warm" in name or "heat" in name else None
