"""Replies of the car's computers, taken apart: which parameter stands where, and what a refusal says."""

from shared_math.compat import const

REPLY = const(0x40)  # added to the service
REFUSED = const(0x7F)
PENDING = const(0x78)
MODERN = const(0xF4)  # SAE J1979-2: parameter nn of service 01 is F4nn of service 22 (from memory)
BUSY = const(0x21)
CONDITIONS = const(0x22)
NOT_KNOWN = (0x11, 0x12, 0x31)  # service, sub-function, out of range: not to be asked again
MOST_AT_ONCE = const(6)

_REFUSALS = {
    0x10: "refused, without a reason",
    0x11: "this service is not known to it",
    0x12: "this part of the service is not known to it",
    0x13: "the request's length is wrong for it",
    0x21: "it is busy",
    0x22: "conditions are not right for it, mostly because the engine turns",
    0x31: "it has no such value",
    0x33: "it asks for security access, which is never sent",
    0x78: "it takes longer",
    0x7E: "not in this session",
    0x7F: "this service is not in this session",
}


def refusal(reason):
    """A negative response's reason in words."""
    return _REFUSALS[reason] if reason in _REFUSALS else "refused for the reason %02X" % reason


def places(data, length, asked, count, lengths, out):
    """Find the parameters of a reply of service 01, or the one of service 22; how many, -1 for any other reply.

    data[:length]: the whole message. asked[:count]: PIDs of the request. lengths[PID]: its bytes, 0 where unknown.
    out: gets where each one's data begin, 0 for one that is not there. They may stand in any order and be fewer;
    anything else (another PID, one twice, too few or too many bytes) makes the whole reply void. Allocates nothing.
    """
    if length > 3 and data[0] == 0x62:
        size = length - 3
        if count != 1 or data[1] != MODERN or data[2] != asked[0] or size != (lengths[asked[0]] or size):
            return -1
        out[0] = 3
        return 1
    if length < 2 or data[0] != 0x41:
        return -1
    for n in range(count):
        out[n] = 0
    at = 1
    found = 0
    while at < length:
        pid = data[at]
        place = -1
        for n in range(count):
            if asked[n] == pid:
                place = n
        if place < 0 or out[place]:
            return -1
        size = lengths[pid]
        if not size:  # asked alone: whatever follows is its own
            size = length - at - 1
        if at + 1 + size > length:
            return -1
        out[place] = at + 1
        at += 1 + size
        found += 1
    return found
