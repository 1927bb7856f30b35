"""Type K thermocouples: temperature from millivolts by the reference function of IEC 60584-1 and NIST (ITS-90)."""

import math

# Millivolts against a junction at 0 degC, coefficients of rising powers of degC (NIST Monograph 175, its90.nist.gov)
_COLD = (
    0.0,
    3.9450128025e-2,
    2.3622373598e-5,
    -3.2858906784e-7,
    -4.9904828777e-9,
    -6.7509059173e-11,
    -5.7410327428e-13,
    -3.1088872894e-15,
    -1.0451609365e-17,
    -1.9889266878e-20,
    -1.6322697486e-23,
)
_HOT = (
    -1.7600413686e-2,
    3.8921204975e-2,
    1.8558770032e-5,
    -9.9457592874e-8,
    3.1840945719e-10,
    -5.6072844889e-13,
    5.6075059059e-16,
    -3.2020720003e-19,
    9.7151147152e-23,
    -1.2104721275e-26,
)
_A0, _A1, _A2 = 1.185976e-1, -1.183432e-4, 126.9686  # the exponential term above 0 degC: a0 exp(a1 (t - a2)^2)
LEAST_DEGC = -200.0
MOST_DEGC = 1372.0
_STEPS = 8  # steps of Newton's method; four are enough above -100 degC


def _curve(degc):
    """(millivolts, millivolts a degree) at a temperature."""
    powers = _COLD if degc < 0 else _HOT
    mv = slope = 0.0
    for at in range(len(powers) - 1, -1, -1):
        slope = slope * degc + mv
        mv = mv * degc + powers[at]
    if degc >= 0:
        off = degc - _A2
        bell = _A0 * math.exp(_A1 * off * off)
        mv += bell
        slope += 2.0 * _A1 * off * bell
    return mv, slope


def millivolts(degc):
    """Millivolts of a junction at `degc` against one at 0 degC."""
    return _curve(degc)[0]


def degc_of(mv):
    """Temperature of a junction with `mv` against one at 0 degC; None outside LEAST_DEGC to MOST_DEGC or for NaN."""
    if not millivolts(LEAST_DEGC) <= mv <= millivolts(MOST_DEGC):
        return None
    degc = mv * 24.4
    for _ in range(_STEPS):
        there, slope = _curve(degc)
        degc += (mv - there) / slope
    return degc


def channel_degc(channel, volts, cold_degc=None):
    """Temperature of a thermocouple channel at `volts` of its amplifier, or None.

    The amplifier gives `zero_v` + `gain` times the thermocouple's volts. If it compensates the cold junction, that is
    all. Otherwise the junction is at the channel's `cold_degc`, or at the given temperature (from the channel named in
    `cold`). Millivolts are added, never degrees, since the curve is not straight.
    """
    if "cold" in channel:
        if cold_degc is None:
            return None
    else:
        cold_degc = channel.get("cold_degc", 0.0)
    return degc_of((volts - channel.get("zero_v", 0.0)) / channel["gain"] * 1000.0 + millivolts(cold_degc))
