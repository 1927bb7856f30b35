"""What lamp and PC judge by alike: when an engine is under load, and what keeps lambda from its target for a while.

Common practice, no source, unless said otherwise.
"""

from shared_math.compat import const

# The lean warning, where the configuration says nothing
MARGIN = 0.05  # lambda above target
AFTER_S = 0.3  # for so long

# Under load
LOADED_KPA = const(85)  # nearly open throttle without boost
LOADED_LEAST_KPA = const(60)  # the same high up in the mountains at the lowest
LOADED_SHARE_PCT = const(85)  # of the pressure of the air around, where that is less
LOADED_PCT = const(60)  # throttle
RUNNING_RPM = const(500)

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
