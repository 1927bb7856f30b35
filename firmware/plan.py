"""What all sessions need to know, worked out once at power-on. The modules that this takes are given back before the
recording begins: its floats, tables and sentences would take a quarter of a small board's heap.
"""

import settings
from shared_math import layout, lean_watch

_CLOSED_PCT = 12  # throttle below this is closed
_HEAVY = ("channels", "converters", "target", "transfer", "whole_build")


class Plan:
    """config: in force, whole. text: its JSON bytes. faults: numbers. number_of: fault's name -> number.

    words: fault number -> sentence for a screen, None without one. table: the columns as in the setup. throttle:
    (column + 1, counts below which it is closed) or None. supply: (column + 1, counts of a dip, counts from which it is
    over) or None. frame: the screen or None. live: panel.live.Live or None. watch: LeanWatch or None. warns: whether
    lamp and buzzer tell what it finds.
    """

    def __init__(self, board):
        from shared_math import channels

        self.config, self.text, self.faults, self.number_of, self.words = settings.read(board.read_config())
        config = self.config
        board.configure(config)
        self.table = channels.columns(config, board.converter)
        self.throttle = self._throttle()
        self.supply = self._supply(channels.supply_of(config))
        self.frame = board.screen() if self.words is not None else None
        self.live = self.watch = None
        self.warns = config["lean_warning"] is not False
        if self.warns or self.frame is not None:
            self._make_live()
        settings.forget(_HEAVY)

    def _make_live(self):
        from panel import live_build

        config = self.config
        self.live = live = live_build.make(config, self.table, self.throttle)
        if not lean_watch.lacking(config):
            warm = [len(sensor[2].names) > 0 for sensor in live.sensors]
            given = config["lean_warning"] or {"margin": lean_watch.MARGIN, "after_s": lean_watch.AFTER_S}
            in_kpa = live.unit == "kPa"
            self.watch = lean_watch.LeanWatch(len(warm), given["margin"], given["after_s"], in_kpa, warm)
        settings.forget(("live_build",), "panel")

    def first(self, role):
        """1 + the first column with this role, or 0."""
        for at in range(len(self.table)):
            if self.table[at]["r"] == role:
                return at + 1
        return 0

    def _at(self, name):
        """Place of the column called `name`."""
        return [column["n"] for column in self.table].index(name)

    def _counts(self, channel, value):
        """Counts of a linear channel at a value; a fraction."""
        (v0, v1), (low, high) = channel["volts"], channel["values"]
        column = self.table[self._at(channel["name"])]
        return (v0 + (value - low) * (v1 - v0) / (high - low) - column["o"]) / column["s"]

    def _throttle(self):
        for channel in self.config["channels"]:
            if channel["name"] == "throttle" and channel["kind"] == "linear":
                (v0, v1), (low, high) = channel["volts"], channel["values"]
                if (v1 - v0) * (high - low) <= 0:
                    return None
                return self._at("throttle") + 1, int(self._counts(channel, _CLOSED_PCT))
        return None

    def _supply(self, channel):
        if channel is None:
            return None
        dip, back = [int(self._counts(channel, volts)) for volts in (layout.DIP_V, layout.SUPPLY_BACK_V)]
        return self._at(channel["name"]) + 1, dip, back
