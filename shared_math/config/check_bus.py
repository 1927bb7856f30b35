"""Checks channels that come from the car's bus, and the bus itself."""

from shared_math import bus
from shared_math.config import schema
from shared_math.config.checker import meant, shown
from shared_math.obd import pids

BUS = {
    "ask": ("yes_no",),
    "chip": ("choice", ("mcp2518fd", "mcp2515", "own")),
    "crystal_mhz": ("choice", (4, 8, 16, 20, 40)),
    "kbit": ("choice", (250, 500)),
    "ecu": None,  # id of the frames that it answers with
    "vin": ("yes_no",),
}
_NAMED = {"name": None, "kind": None, "label": ("text", 60), "note": ("text", 200)}
_SIGNAL = {"start_bit": ("whole", 0, 63), "length": ("whole", 1, 24), "order": ("choice", ("little", "big"))}
_STALE = ("number", 0.1, bus.MOST_STALE_S)
SIGNAL_WHEN = schema.kind_of(_SIGNAL)
SIGNAL_WHEN["is"] = ("whole", 0, 0xFFFFFF)
KINDS = {
    "obd": schema.kind_of(_NAMED, pid=None, take=("text", 32), hz=("number", 0.02, 50), stale_s=_STALE),
    "can": schema.kind_of(
        _NAMED,
        _SIGNAL,
        id=None,
        extended=("yes_no",),
        signed=("yes_no",),
        factor=("number", -1e6, 1e6),
        offset=("number", -1e9, 1e9),
        unit=schema.UNIT,
        when=None,
        stale_s=_STALE,
    ),
}
RESERVED = ("bus_trip", "bus_lost", "bus_state")  # columns of the ring file where channels come from the bus
NEEDED = {"obd": ("pid",), "can": ("id", "start_bit", "length")}

_MOST_PLAIN = 0x7FF
_MOST_EXTENDED = 0x1FFFFFFF


def check_bus(checker, config, by_name):
    """`bus` of the configuration, and whether it goes with the channels. by_name: name -> channel."""
    told = config.get("bus", {})
    asked = [one for one in by_name.values() if one.get("kind") == "obd"]
    if checker.object(told, "bus", BUS):
        if "ecu" in told:
            number = bus.frame_id(told["ecu"])
            if number is None or not 0 < number <= _MOST_EXTENDED:
                checker.bad("frame_id", "bus: ecu", shown(told["ecu"]))
        if asked and told.get("ask") is not True:
            checker.bad("obd_no_ask", 'channel "%s"' % asked[0]["name"])
    for name in RESERVED:
        if name in by_name:
            checker.bad("reserved_name", 'channel "%s": name' % name, shown(name))
    if len(asked) > bus.MOST_ASKED:
        checker.bad("obd_many", "channels", "%d values of kind obd (allowed: %d)" % (len(asked), bus.MOST_ASKED))
    if "bus" in config and by_name and not [one for one in by_name.values() if one.get("kind") in ("obd", "can")]:
        checker.bad("bus_unused", "bus")


def check_channel(checker, channel, where, kind):
    """A channel of kind obd or can."""
    checker.object(channel, where, KINDS[kind], NEEDED[kind])
    if kind == "obd":
        _check_pid(checker, channel, where)
    else:
        _check_frame(checker, channel, where)


def _check_pid(checker, channel, where):
    if "pid" not in channel:
        return
    asked = channel["pid"]
    found = pids.found(asked)
    if found is None:
        guess = meant(asked, pids.names()) if isinstance(asked, str) and len(asked) > 2 else None
        checker.bad("pid_unknown", where + ": pid", shown(asked) + (' (did you mean "%s"?)' % guess if guess else ""))
    elif "take" in channel and not pids.found(asked, channel["take"]):
        parts = ", ".join([part[0] for part in (pids.described(found[0]) or (0, ()))[1]])
        checker.bad("pid_part", where + ": take", "%s (its parts: %s)" % (shown(channel["take"]), parts))


def _check_frame(checker, channel, where):
    if "id" in channel:
        number = bus.frame_id(channel["id"])
        most = _MOST_EXTENDED if channel.get("extended") is True else _MOST_PLAIN
        if number is None or not 0 <= number <= most:
            checker.bad("frame_id", where + ": id", shown(channel["id"]))
    if channel.get("factor") == 0:
        checker.bad("factor_zero", where + ": factor")
    _check_place(checker, channel, where, KINDS["can"])
    if "when" in channel:
        here = where + ": when"
        if checker.object(channel["when"], here, SIGNAL_WHEN, ("start_bit", "length", "is")):
            _check_place(checker, channel["when"], here, SIGNAL_WHEN)


def _check_place(checker, signal, where, rules):
    start = checker.good(signal, "start_bit", rules["start_bit"])
    length = checker.good(signal, "length", rules["length"])
    if start is not None and length is not None and bus.last_byte(start, length, signal.get("order") == "big") > 7:
        checker.bad("signal_outside", where)
