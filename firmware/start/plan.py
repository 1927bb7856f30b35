"""What all sessions need to know, worked out once at power-on by plan_build.py."""


class Plan:
    """config: in force, whole. text: its JSON bytes. faults: numbers. number_of: fault's name -> number.

    words: fault number -> sentence for a screen, None without one. table: the columns as in the setup. throttle:
    (column + 1, first, last counts of the closed throttle) or None. supply: (column + 1, counts of a dip, counts from
    which it is over) or None. expected: (column + 1, lowest, highest counts) of each channel with `expect`, and
    pairs, of those with `checks`: as acquire.expected takes them. frame: the screen or None. live: panel.live.Live or
    None. watch: LeanWatch or None. warns: whether lamp and buzzer tell what it finds. bus: bus.plan.BusPlan or None.
    """

    def __init__(self, given, table, throttle, supply, expected, frame, live, watch, bus):
        """given: what settings.read gave."""
        config, text, faults, number_of, words = given
        self.config = config
        self.text = text
        self.faults = faults
        self.number_of = number_of
        self.words = words
        self.table = table
        self.throttle = throttle
        self.supply = supply
        self.expected, self.pairs = expected
        self.frame = frame
        self.live = live
        self.watch = watch
        self.bus = bus
        self.warns = watch is not None and config["lean_warning"] is not False

    def crank(self):
        """1 + the column that counts the crank's edges, or 0."""
        for channel in self.config["channels"]:
            if "per_rev" in channel:
                return [column["n"] for column in self.table].index(channel["name"]) + 1
        return 0
