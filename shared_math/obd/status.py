"""Values of service 01 and 02, scaled or in words: masks, readiness, fuel system states."""

from shared_math.obd import codes, pids

FUEL_STATES = {
    0: "off",
    1: "open loop, cold",
    2: "closed loop",
    4: "open loop, under load or overrun",
    8: "open loop, a fault",
    16: "closed loop, a sensor is at fault",
}
CLOSED = (2, 16)  # of FUEL_STATES: the trims follow a sensor

_ALWAYS = ("misfire", "fuel system", "components")
_SPARK = (
    "catalyst",
    "heated catalyst",
    "evaporative system",
    "secondary air",
    "particulate filter",  # in older cars: the air conditioner's refrigerant
    "oxygen sensor",
    "oxygen sensor heater",
    "exhaust gas recirculation",
)
_COMPRESSION = (
    "hydrocarbon catalyst",
    "nitrogen oxide aftertreatment",
    None,
    "boost pressure",
    None,
    "exhaust gas sensor",
    "particulate filter",
    "exhaust gas recirculation",
)


def readiness(data):
    """What parameter 01 or 41 says: {"lamp", "codes", "ignition": "spark" or "compression", "monitors": {name: whether
    it is complete}}. data: its four bytes."""
    compression = data[1] & 0x08
    monitors = {}
    for bit in range(len(_ALWAYS)):
        if data[1] >> bit & 1:
            monitors[_ALWAYS[bit]] = not data[1] >> bit + 4 & 1
    names = _COMPRESSION if compression else _SPARK
    for bit in range(len(names)):
        if names[bit] and data[2] >> bit & 1:
            monitors[names[bit]] = not data[3] >> bit & 1
    return {
        "lamp": bool(data[0] & 0x80),
        "codes": data[0] & 0x7F,
        "ignition": "compression" if compression else "spark",
        "monitors": monitors,
    }


def supported(first, mask):
    """The parameters that a mask's four bytes name. first: the mask's own PID."""
    return [first + 1 + bit for bit in range(32) if mask[bit >> 3] & 0x80 >> (bit & 7)]


def fuel_state(byte):
    """A fuel system's state in words."""
    return FUEL_STATES.get(byte, "unknown")


def values(pid, data):
    """See obd.values."""
    length = pids.length_of(pid)
    if length is None or len(data) < length:
        return []
    known = pids.described(pid)
    if known and pid != 0x03:
        out = []
        for part in known[1]:
            out.append((part[0], pids.scaled(part, pids.raw_of(part, data)), part[3][3]))
        if pid in range(0x14, 0x1C) and data[1] == 0xFF:
            del out[1]  # the sensor is not used for a trim
        return out
    if pid in pids.MASKS:
        return [("supported", one, "") for one in supported(pid, data)]
    if pid in (0x01, 0x41):
        told = readiness(data)
        out = [("lamp", told["lamp"], ""), ("codes", told["codes"], ""), ("ignition", told["ignition"], "")]
        if pid == 0x41:
            out = out[2:]
        for name in told["monitors"]:
            out.append((name, "complete" if told["monitors"][name] else "incomplete", ""))
        return out
    if pid == 0x02:
        return [("frozen_code", codes.name(data[0], data[1]) if data[0] or data[1] else "", "")]
    if pid == 0x03:
        return [("fuel_system_%d" % (at + 1), fuel_state(data[at]), "") for at in range(2)]
    return [("state_%02x" % pid, data[0], "")]
