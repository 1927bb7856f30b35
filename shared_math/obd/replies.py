"""Replies of the car's computers, taken apart: which parameter stands where. What a refusal says: refusals.py."""

from shared_math.compat import const

REPLY = const(0x40)  # added to the service
REFUSED = const(0x7F)
PENDING = const(0x78)
MODERN = const(0xF4)  # SAE J1979-2: parameter nn of service 01 is F4nn of service 22 (from memory)
BUSY = const(0x21)
CONDITIONS = const(0x22)
NOT_KNOWN = (0x11, 0x12, 0x31)  # service, sub-function, out of range: not to be asked again
MOST_AT_ONCE = const(6)


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
        if found < count and asked[found] == pid:  # mostly in the order in which they were asked for
            place = found
        else:
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
