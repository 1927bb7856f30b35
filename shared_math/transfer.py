"""From counts to volts at the terminal and values in the channel's unit; shared by device and PC.

A value that can't be determined is None: outside the sensor's range, with an open or shorted wire, or in one of the
states (warm-up, fault...) that a controller signals by its output voltage.
"""

import math

TOLERANCE = 0.01  # share of the span by which a converter's offset may carry a true end-of-range reading beyond it
RAIL = 0.005  # within this share of the span from an end, a reading is a limit and not a measurement
SUPPLY_V = 5.0  # default supply of resistive sensors' pull-ups
OPEN_OR_SHORT = 0.005  # within this share of the supply from either end, a resistive sensor is open or shorted

KELVIN = 273.15

# IEC 60751, industrial platinum resistance thermometers
_PT_A = 3.9083e-3
_PT_B = -5.775e-7
_PT_C = -4.183e-12
_PT_LEAST_DEGC = -200.0
_PT_MOST_DEGC = 850.0


def counts_to_volts(counts, volts_per_count, volts_at_zero):
    """Volts at the terminal."""
    return volts_at_zero + volts_per_count * counts


def interpolate(xs, ys, x):
    """y at x on the piecewise line through the points; xs strictly rising or falling, two or more.

    Beyond the ends the first or last piece is extrapolated; the caller decides how far that is valid.
    """
    rising = xs[-1] > xs[0]
    at = 1
    while at < len(xs) - 1 and (x > xs[at] if rising else x < xs[at]):
        at += 1
    x0 = xs[at - 1]
    y0 = ys[at - 1]
    return y0 + (x - x0) * (ys[at] - y0) / (xs[at] - x0)


def in_range(xs, x):
    """Whether x lies between the ends of the monotonic xs, or at most TOLERANCE of their span beyond. False for NaN."""
    low = min(xs[0], xs[-1])
    high = max(xs[0], xs[-1])
    slack = (high - low) * TOLERANCE
    return low - slack <= x <= high + slack


def state_of(channel, volts):
    """Name of the configured state whose voltage range (ends included) contains `volts`, or None."""
    for state in channel.get("states", ()):
        low, high = state["volts"]
        if low <= volts <= high:
            return state["name"]
    return None


def at_rail(channel, volts):
    """-1 at the low end of the channel's voltage range, 1 at the high end, 0 between or without such a range.

    At an end the true value may be anything beyond it.
    """
    xs = channel.get("volts")
    if not xs:
        return 0
    low = min(xs[0], xs[-1])
    high = max(xs[0], xs[-1])
    slack = (high - low) * RAIL
    if volts <= low + slack:
        return -1
    if volts >= high - slack:
        return 1
    return 0


def pullup_ohm(volts, supply_volts, pullup_ohm):
    """Ohms of a sensor to ground with `pullup_ohm` to the supply and `volts` between them; None if open or shorted."""
    slack = supply_volts * OPEN_OR_SHORT
    if not slack < volts < supply_volts - slack:
        return None
    return pullup_ohm * volts / (supply_volts - volts)


def beta_degc(ohm, beta_k, r0_ohm, t0_degc=25.0):
    """Temperature of a thermistor by the B equation, 1/T = 1/T0 + ln(R/R0)/B in kelvin."""
    return 1.0 / (1.0 / (t0_degc + KELVIN) + math.log(ohm / r0_ohm) / beta_k) - KELVIN


def steinhart_hart(points):
    """(A, B, C) of 1/T = A + B ln R + C (ln R)^3 in kelvin, through three [degC, ohm] points.

    Steinhart and Hart 1968, solved by divided differences. ValueError if two points share a resistance.
    """
    logs = [math.log(ohm) for _, ohm in points]
    inverse = [1.0 / (degc + KELVIN) for degc, _ in points]
    l0, l1, l2 = logs
    if l0 == l1 or l1 == l2 or l0 == l2:
        raise ValueError("two points of a thermistor with the same resistance")
    slope1 = (inverse[1] - inverse[0]) / (l1 - l0)
    slope2 = (inverse[2] - inverse[0]) / (l2 - l0)
    c = (slope2 - slope1) / (l2 - l1) / (l0 + l1 + l2)
    b = slope1 - c * (l0 * l0 + l0 * l1 + l1 * l1)
    return inverse[0] - (b + l0 * l0 * c) * l0, b, c


def steinhart_hart_degc(ohm, coefficients):
    """Temperature of a thermistor from its (A, B, C)."""
    a, b, c = coefficients
    log = math.log(ohm)
    return 1.0 / (a + (b + c * log * log) * log) - KELVIN


def thermistor_degc(ohm, channel):
    """degC of a thermistor channel: by `beta` and `r25_ohm`, by `steinhart_hart` [A, B, C], or through `points`."""
    if "beta" in channel:
        return beta_degc(ohm, channel["beta"], channel["r25_ohm"])
    coefficients = channel.get("steinhart_hart")
    if coefficients is None:
        coefficients = steinhart_hart(channel["points"])
    return steinhart_hart_degc(ohm, coefficients)


def rtd_ohm(degc, r0_ohm):
    """Resistance of a platinum thermometer with r0_ohm at 0 degC (IEC 60751), -200 to 850 degC."""
    cold = _PT_C * (degc - 100.0) * degc * degc * degc if degc < 0 else 0.0
    return r0_ohm * (1.0 + _PT_A * degc + _PT_B * degc * degc + cold)


def rtd_degc(ohm, r0_ohm):
    """Temperature of a platinum thermometer (IEC 60751), or None outside -200 to 850 degC."""
    if not rtd_ohm(_PT_LEAST_DEGC, r0_ohm) <= ohm <= rtd_ohm(_PT_MOST_DEGC, r0_ohm):
        return None
    # above 0 degC the equation is a quadratic; below, its root is at most 2.5 K off, and Newton's steps correct it
    degc = (math.sqrt(_PT_A * _PT_A - 4.0 * _PT_B * (1.0 - ohm / r0_ohm)) - _PT_A) / (2.0 * _PT_B)
    if degc < 0:
        for _ in range(4):
            slope = _PT_A + 2.0 * _PT_B * degc + _PT_C * (4.0 * degc - 300.0) * degc * degc
            degc -= (rtd_ohm(degc, r0_ohm) / r0_ohm - ohm / r0_ohm) / slope
    return degc


def to_value(channel, volts):
    """Value of an analog channel at `volts` on its terminal, in the channel's unit; None if it can't be determined.

    lambda (also with `scale` "afr" and the controller's own `stoich`), linear and table run along `volts` and
    `values`, up to TOLERANCE of the span beyond the ends. thermistor, rtd and thermocouple: degC. A thermocouple with a
    measured cold junction needs thermocouple.channel_degc instead.
    """
    if channel.get("states") and state_of(channel, volts) is not None:
        return None
    kind = channel["kind"]
    if kind in ("thermistor", "rtd"):
        ohm = pullup_ohm(volts, channel.get("supply_v", SUPPLY_V), channel["pullup_ohm"])
        if ohm is None:
            return None
        if kind == "rtd":
            return rtd_degc(ohm, channel["r0_ohm"])
        return thermistor_degc(ohm, channel)
    if kind == "thermocouple":
        from shared_math import thermocouple  # imported here since its tables are large and few cars have one

        return thermocouple.channel_degc(channel, volts)
    xs = channel["volts"]
    if not in_range(xs, volts):
        return None
    value = interpolate(xs, channel["values"], volts)
    if channel.get("scale") == "afr":
        value /= channel["stoich"]
    return value


def frequency_value(channel, hz):
    """Value of a frequency channel from its `hz` and `values`; None out of range."""
    xs = channel["hz"]
    if not in_range(xs, hz):
        return None
    return interpolate(xs, channel["values"], hz)
