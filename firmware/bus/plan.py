"""What is asked of the car and taken from its frames, and what does it. Apart from build.py: a class of that module
would keep all that it works with in memory for as long as the recording lasts."""


class BusPlan:
    """ask, vin: whether it may. kbit: the rate, 0 for not told. ecu: id of the frames of the unit that is asked, -1 for
    not told. pids: asked for. periods: microseconds of each. parts: of each, ((channel, first byte, bytes, flip), ...).
    sizes: bytes of each PID. only: (id, mask) of the frames that are wanted. signals: signals.Signals or None. frame:
    room for one frame's bytes. count: of the channels."""

    def __init__(self, told):
        """told: the configuration's `bus`. build.make fills in the rest."""
        self.ask = told["ask"]
        self.vin = told["vin"]
        self.kbit = told.get("kbit", 0)
        self.chip = told["chip"]
        self.crystal_mhz = told["crystal_mhz"]
        self.frame = bytearray(8)
        self.car = self.columns = None  # `load` brings them
        self.signals = None
        self.ecu = -1
        self.count = 0
        self.pids = self.sizes = b""
        self.periods = self.parts = self.only = ()

    def load(self):
        """Load what will ask, before the large arrays take the room."""
        from acquire import bus_columns
        from bus import car

        self.car = car.Car
        self.columns = bus_columns.columns(self.count)

    def start(self, board):
        """The bus.car.Car of a session."""
        return self.car(board.bus_port(self), self, self.columns, board.ticks_us)  # pyright: ignore[reportOptionalCall]
