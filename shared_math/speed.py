"""Edges -> engine speed and road speed. k pulses a revolution at n rpm are n k / 60 hertz."""

from shared_math.compat import const

MAX_RPM = const(10000)  # unless configured: what the glitch filter must let through
MAX_KMH = const(300)


def edges_per_cycle(engine, per_rev):
    """Edges in a whole engine cycle: two revolutions of a four-stroke, one of a two-stroke (may be a fraction).

    Over a whole cycle every cylinder fires once, so uneven teeth and firing intervals cancel.
    """
    return per_rev * (1 if engine.get("strokes", 4) == 2 else 2)


def rpm(edges, per_rev, time_us):
    """Mean engine speed while `edges` periods took `time_us` microseconds."""
    return 60e6 * edges / (per_rev * time_us)


def speed_kmh(edges, per_metre, time_us):
    """Mean road speed while `edges` periods took `time_us` microseconds."""
    return 3.6e6 * edges / (per_metre * time_us)


def shortest_period_us(max_rpm, per_rev):
    """Whole microseconds between edges at the highest engine speed, rounded down."""
    return int(60e6 / (max_rpm * per_rev))


def channel_shortest_us(channel):
    """Shortest true period of a pulses or frequency channel, whole microseconds."""
    if channel["kind"] == "frequency":
        return int(1e6 / max(channel["hz"]))
    if "per_metre" in channel:
        return int(3.6e6 / (channel.get("max_kmh", MAX_KMH) * channel["per_metre"]))
    return shortest_period_us(channel.get("max_rpm", MAX_RPM), channel["per_rev"])


def glitch_limit_us(channel):
    """An edge sooner than this after the last is ringing: `min_period_us`, or half the shortest true period."""
    limit = channel.get("min_period_us")
    return channel_shortest_us(channel) // 2 if limit is None else limit


def duty_percent(on_ms, rpm):
    """Share of time an injector is open that opens once a four-stroke cycle: on-time over 120000 / rpm ms."""
    return on_ms * rpm / 1200.0
