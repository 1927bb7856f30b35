"""What is asked of the car and taken from its frames, worked out of the configuration once; given back afterwards."""

from array import array

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


class BusPlan:
    """ask, vin: whether it may. kbit: the rate, 0 for not told. ecu: id of the frames of the unit that is asked, -1 for
    not told. pids: asked for. periods: microseconds of each. parts: of each, ((channel, first byte, bytes, flip), ...).
    sizes: bytes of each PID. only: (id, mask) of the frames that are wanted. signals: signals.Signals or None. frame:
    room for one frame's bytes."""

    def __init__(self, config):
        told = config["bus"]
        self.ask = told["ask"]
        self.vin = told["vin"]
        self.kbit = told.get("kbit", 0)
        self.ecu = (bus.frame_id(told["ecu"]) or -1) if "ecu" in told else -1
        if self.ecu > _PLAIN_IDS:
            self.ecu |= EXTENDED
        self.chip = told["chip"]
        self.crystal_mhz = told["crystal_mhz"]
        self.frame = bytearray(8)
        self.car = self.columns = None  # `load` brings them
        listed = channels.from_the_bus(config)
        self.count = len(listed)
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
        self.pids = bytes(sorted(wanted))
        self.periods = array("i", [round(1000000 / max([one[4] for one in wanted[pid]])) for pid in self.pids])
        self.parts = tuple([tuple([one[:4] for one in wanted[pid]]) for pid in self.pids])
        self.sizes = bytearray(256)
        for pid in self.pids:
            self.sizes[pid] = pids.length_of(pid) or 0
        self.signals = None
        self.only = _DIAGNOSTIC if self.ask else ()
        if heard:
            from bus import signals

            self.signals = signals.Signals(tuple(heard))
            self.only += tuple([(one, _EXACT) for one in sorted(set(self.signals.ids))])
        if self.ecu >= 0:
            self.only += ((self.ecu, _EXACT),)

    def load(self):
        """Load what will ask, before the large arrays take the room."""
        from acquire import bus_columns
        from bus import car

        self.car = car.Car
        self.columns = bus_columns.columns(self.count)

    def start(self, board):
        """The bus.car.Car of a session."""
        return self.car(board.bus_port(self), self, self.columns, board.ticks_us)


def _signal(at, channel):
    when = channel.get("when")
    if when:
        when = _place(when) + (when["is"],)
    return at, bus.frame_id(channel["id"]), channel["extended"], _place(channel), channel["signed"], when


def _place(signal):
    return signal["start_bit"], signal["length"], signal.get("order") == "big"
