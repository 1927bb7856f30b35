"""Makes the whole-number form of a channel or target of the configuration. Needed only at the start."""

import math
from array import array

from shared_math import target, transfer, whole_numbers

_COUNT_BITS = 16  # finer counts are halved until they fit


def reading(channel, column, scale):
    """The Reading of a lambda, linear or table channel: the result of transfer.to_value times `scale`, rounded.

    column: the channel's entry in the setup text ("b" bits, "s" volts per count, "o" volts at zero counts).
    """
    slope, zero = column["s"], column["o"]
    top = (1 << column["b"]) - 1
    shift = max(0, column["b"] - _COUNT_BITS)
    volts = channel["volts"]
    span = abs(volts[-1] - volts[0])
    slack, edge = span * transfer.TOLERANCE, span * transfer.RAIL
    low, high = min(volts[0], volts[-1]), max(volts[0], volts[-1])
    least, most = _counts(low - slack, high + slack, slope, zero, top)
    states = channel.get("states", ())
    rails = _counts(low - slack, low + edge, slope, zero, top), _counts(high - edge, high + slack, slope, zero, top)
    # the end of the volts with the greatest values, which is the lean end of a lambda channel
    if (channel["values"][-1] > channel["values"][0]) != (volts[-1] > volts[0]):
        rails = rails[1], rails[0]
    return whole_numbers.Reading(
        least,
        most,
        shift,
        _line(channel, slope, zero, least, most, shift, scale),
        tuple([_counts(state["volts"][0], state["volts"][1], slope, zero, top) for state in states]),
        tuple([state["name"] for state in states]),
        rails[0],
        rails[1],
    )


def _line(channel, slope, zero, least, most, shift, scale):
    """The Line through the values at both ends and on both sides of every bend; None for a range without counts."""
    if least >= most:
        return None
    points = {least, most}
    for volt in channel["volts"][1:-1]:
        count = (volt - zero) / slope
        for one in (int(math.floor(count)), int(math.ceil(count))):
            if least < one < most:
                points.add(one)
    plain = {key: channel[key] for key in channel if key != "states"}
    xs, ys = [], []
    for count in sorted(points):
        value = transfer.to_value(plain, transfer.counts_to_volts(count, slope, zero))
        if value is not None and (not xs or count >> shift > xs[-1]):
            xs.append(count >> shift)
            ys.append(_whole(value, scale))
    return whole_numbers.Line(xs, ys) if xs else None


def _counts(low_volts, high_volts, slope, zero, top):
    """(first, last) counts whose volts are in the range, within 0 to `top`; first above last if there are none."""
    ends = sorted(((low_volts - zero) / slope, (high_volts - zero) / slope))
    return max(0, int(math.ceil(ends[0]))), min(top, int(math.floor(ends[1])))


def wanted(entry):
    """The Wanted of one checked target: the result of target.lambda_target in thousandths, rounded."""
    values = entry["lambda"]
    loads = target.load_axis(entry)
    if loads is None:
        return whole_numbers.Wanted(None, _whole(values, whole_numbers.MILLI), None, None)
    xs = [_whole(load, whole_numbers.TENTH) for load in loads]
    rows = values if "rpm" in entry else (values,)
    lines = tuple([whole_numbers.Line(xs, [_whole(one, whole_numbers.MILLI) for one in row]) for row in rows])
    speeds = array("i", [_whole(rpm, 1) for rpm in entry["rpm"]]) if "rpm" in entry else None
    return whole_numbers.Wanted(entry["load"], None, lines, speeds)


def _whole(number, scale):
    return int(math.floor(number * scale + 0.5))
