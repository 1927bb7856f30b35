"""The target lambda at a load and engine speed, from the configuration's `target`."""


def lambda_target(target, load=None, rpm=None, channels=None):
    """The target lambda; None if there is no target or a value that it depends on isn't known (None or NaN).

    target: a checked `target` of the configuration, or None. load: in the unit of its load axis (kPa absolute, or %).
    channels: name -> value or name of a state, for targets with `when`. It is linear between points and constant beyond
    them. Of a list the first target whose `when` is true counts; a target without `when` always counts.
    """
    one = holding(target, channels)
    return None if one is None else _one(one, load, rpm)


def holding(target, channels=None):
    """The entry of a checked `target` that counts at these values of `channels`, or None."""
    if target is None or not isinstance(target, list):
        return target
    for one in target:
        if "when" not in one or _holds(one["when"], channels):
            return one
    return None


def load_axis(target):
    """The target's loads, or None for a single number."""
    return target.get("load_kpa") or target.get("load_pct")


def _holds(when, channels):
    value = channels.get(when["channel"]) if channels else None
    if value is None:
        return False
    wanted = when["is"]
    if isinstance(wanted, list):
        return not isinstance(value, str) and wanted[0] <= value <= wanted[1]
    return value == wanted


def _one(target, load, rpm):
    wanted = target["lambda"]
    loads = load_axis(target)
    if loads is None:
        return wanted
    place = _place(loads, load)
    if place is None:
        return None
    if "rpm" not in target:
        return _between(wanted, place)
    row = _place(target["rpm"], rpm)
    if row is None:
        return None
    at, part = row
    low = _between(wanted[at], place)
    return low + part * (_between(wanted[at + 1], place) - low)


def _place(axis, x):
    """(index of the piece, fraction of it) at x, limited to the ends; None if x isn't known."""
    if x is None or not (x < 0 or x >= 0):
        return None
    if x <= axis[0]:
        return 0, 0.0
    last = len(axis) - 2
    if x >= axis[-1]:
        return last, 1.0
    at = 0
    while at < last and x > axis[at + 1]:
        at += 1
    return at, (x - axis[at]) / (axis[at + 1] - axis[at])


def _between(values, place):
    at, part = place
    return values[at] + part * (values[at + 1] - values[at])
