"""The desk's clocks: how virtual time keeps pace with the real one, and the wall clock."""

import time


class DeskClock:
    """told: wall clock at power-on as text, or None. pace: virtual time goes no faster than so many times the real one;
    0: as it may."""

    def __init__(self, told, pace):
        self.told = told
        self.pace = pace
        self.began_ms = time.ticks_ms()
        self.began_s = None  # wall clock at power-on, once it was set

    def ahead_ms(self, now_us):
        """How long it is until virtual time may be `now_us` after power-on; 0: it may be."""
        if not self.pace:
            return 0
        return max(0, now_us // (1000 * self.pace) - time.ticks_diff(time.ticks_ms(), self.began_ms))

    def utc(self, now_us):
        """The wall clock as it was set, else as it was told."""
        if self.began_s is None:
            return self.told
        now = time.gmtime(self.began_s + now_us // 1000000)
        return "%04d-%02d-%02dT%02d:%02d:%02dZ" % now[:6]

    def set_to(self, date, now_us):
        """Set the wall clock to year, month, day, weekday, hour, minute, second; whether there is one: not where
        virtual time runs as fast as it may. ValueError where that is no date."""
        year, month, day, weekday, hour, minute, second = date
        if self.pace:
            self.began_s = time.mktime((year, month, day, hour, minute, second, weekday, 0)) - now_us // 1000000
        return self.pace > 0
