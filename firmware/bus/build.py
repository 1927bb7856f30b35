"""What is asked of the car and taken from its frames, worked out of the configuration once; given back afterwards."""

# The plan begins with empty values of other types:
# pyright: reportAttributeAccessIssue=false, reportIndexIssue=false

from array import array

from bus import plan
from bus.link import EXTENDED
from shared_math import bus, channels
from shared_math.obd import pids

_PLAIN_IDS = 0x7FF
_EXACT = 0x1FFFFFFF | EXTENDED
# (id, mask) of what concerns a tester: answers, and what others ask
_DIAGNOSTIC = (
    (0x7E8, 0x7F8 | EXTENDED),
    (0x7E0, 0x7F8 | EXTENDED),
    (0x7DF, 0x7FF | EXTENDED),
    (0x18DAF100 | EXTENDED, 0x1FFFFF00 | EXTENDED),
    (0x18DA00F1 | EXTENDED, 0x1FFF00FF | EXTENDED),
    (0x18DB33F1 | EXTENDED, _EXACT),
)


def make(config):
    """The bus.plan.BusPlan of a checked configuration with channels from the bus."""
    told = config["bus"]
    out = plan.BusPlan(told)
    if "ecu" in told:
        out.ecu = bus.frame_id(told["ecu"]) or -1
        if out.ecu > _PLAIN_IDS:
            out.ecu |= EXTENDED
    listed = channels.from_the_bus(config)
    out.count = len(listed)
    wanted = {}
    heard = []
    for at in range(len(listed)):
        channel = listed[at]
        if channel["kind"] == "obd":
            _, first, size, _, signed = bus.part_of(channel)
            pid = (pids.found(channel["pid"], channel.get("take")) or (0,))[0]
            flip = 1 << 8 * size - 1 if signed else 0
            wanted.setdefault(pid, []).append((at, first, size, flip, channel["hz"]))
        else:
            heard.append(_signal(at, channel))
    out.pids = bytes(sorted(wanted))
    out.periods = array("i", [round(1000000 / max([one[4] for one in wanted[pid]])) for pid in out.pids])
    out.parts = tuple([tuple([one[:4] for one in wanted[pid]]) for pid in out.pids])
    out.sizes = bytearray(256)
    for pid in out.pids:
        out.sizes[pid] = pids.length_of(pid) or 0
    out.only = _DIAGNOSTIC if out.ask else ()
    if heard:
        from bus import signals

        out.signals = signals.Signals(tuple(heard))
        out.only += tuple([(one, _EXACT) for one in sorted(set(out.signals.ids))])
    if out.ecu >= 0:
        out.only += ((out.ecu, _EXACT),)
    return out


def _signal(at, channel):
    when = channel.get("when")
    if when:
        when = _place(when) + (when["is"],)
    return at, bus.frame_id(channel["id"]), channel["extended"], _place(channel), channel["signed"], when


def _place(signal):
    return signal["start_bit"], signal["length"], signal.get("order") == "big"
