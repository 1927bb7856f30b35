"""Checks the rate of a channel's pulses, and its filter."""

from shared_math import boards, speed
from shared_math.config import schema


def check_pulses(checker, channel, where, kind, config):
    """Check a pulses or frequency channel: its speeds, its filter, and whether the board is fast enough."""
    rules = schema.KINDS[kind]
    if kind == "pulses":
        per = ("per_rev" in channel) + ("per_metre" in channel)
        if per != 1:
            checker.bad("per_both" if per else "per_missing", where)
            return
        for key, wrong in (("per_rev", "max_kmh"), ("per_metre", "max_rpm")):
            if key in channel and wrong in channel:
                checker.bad("max_of_other", "%s: %s" % (where, wrong), "%s goes with %s" % _max_of(wrong))
                return
    sizes = ("per_rev", "per_metre", "max_rpm", "max_kmh", "hz", "min_period_us", "ringing_us")
    for key in sizes:
        if key in channel and key in rules and checker.good(channel, key, rules[key]) is None:
            return
    if kind == "frequency" and ("hz" not in channel or max(channel["hz"]) <= 0):
        return
    shortest = speed.channel_shortest_us(channel)
    limit = channel.get("min_period_us")
    ringing = channel.get("ringing_us", 0) if "ringing_us" in rules else 0
    stamped = config.get("board") in boards.STAMPING
    least = boards.STAMPED_PERIOD_US if stamped else boards.SHORTEST_PERIOD_US
    rate_hz = checker.good(config, "rate_hz", schema.TOP["rate_hz"]) or schema.RATE_HZ
    between = 1000000 // (rate_hz * shortest)
    if shortest < least:
        checker.bad("pulses_too_fast", where, "%d us apart (allowed on this board: %d us)" % (shortest, least))
    elif stamped and between > boards.MOST_STAMPS:
        checker.bad(
            "pulses_for_rate", where, "%d, at rate_hz %d (allowed: %d)" % (between, rate_hz, boards.MOST_STAMPS)
        )
    elif limit is not None and limit >= shortest:
        checker.bad("filter_too_long", where + ": min_period_us", "%d us, edges %d us apart" % (limit, shortest))
    elif ringing and shortest <= 2 * ringing:
        checker.bad("ringing_too_long", where, "%d us of ringing, edges %d us apart" % (ringing, shortest))
    elif ringing and limit is not None and limit < ringing:
        checker.bad("filter_too_short", where + ": min_period_us", "%d us, but %d us of ringing" % (limit, ringing))
    elif ringing and limit is not None and shortest <= 2 * limit:
        checker.bad("filter_over_half", where + ": min_period_us", "%d us, edges %d us apart" % (limit, shortest))


def _max_of(key):
    return (key, "per_metre" if key == "max_kmh" else "per_rev")
