"""The good configuration with something put wrong: where its channels stand, and how."""

from config_good import good

from shared_math import config

GONE = object()
LAMBDA, MAP, FLOW, COOLANT, CHARGE, TACH, WHEEL, ETHANOL = range(8)
EXHAUST, SWITCH, INJECTOR, DIFFERENCE, SINGLE, SLOW, TRIM, WIDE, SIGNAL, WIRE = range(8, 18)


def ch(which, *path):
    return ("channels", which) + path


def put(holder, path, value):
    """Set, or for GONE remove, what stands at `path`; a dict as last step sets several keys."""
    for step in path[:-1]:
        holder = holder[step]
    last = path[-1]
    for key, one in last.items() if isinstance(last, dict) else ((last, value),):
        if one is GONE:
            del holder[key]
        else:
            holder[key] = one


def mistaken(path, value):
    out = good()
    if path == ("channels",):
        del out["target"], out["lean_warning"], out["bus"]  # they would miss the channels they name
    put(out, path, value)
    return out


def assert_found(mistakes):
    for code, path, value in mistakes:
        codes = {problem[0] for problem in config.check(mistaken(path, value))}
        assert code in codes, (code, path, codes)
        # A wrong curve or renamed channel may bring a second, but never a mistake that is not there
        assert len(codes) <= 2, (code, path, codes)
