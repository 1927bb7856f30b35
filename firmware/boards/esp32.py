"""The ESP32: its converter read in calibrated microvolts, its SD host. Pins are in pin_table.py.

Timers and pin interrupts of this port are soft: they wait for a write to the card to end. What is missed is counted.
"""

import machine

from boards import generic
from drivers import sdhost

_BITS = 16
_SHIFT = 6  # a count is 64 microvolts at the pin
_SPAN_V = (1 << _BITS + _SHIFT) / 1e6
_ERRORS_V = (
    0.060,
    0.010,
)  # at the pin: as calibrated in the factory, and what no straight line takes away (from memory)


class Esp32Board(generic.GenericBoard):
    """What the firmware asks of a board; the same methods as boards/desk.py."""

    name = "esp32"
    host = None

    def open_card(self):
        """The card as a block device: on the chip's SD host where the wiring table says so, else on SPI."""
        place = self.pins["sd_host"]
        if place is None:
            return super().open_card()
        if self.host:
            self.host.deinit()
        self.host = machine.SDCard(slot=place["slot"], width=place["width"])
        return sdhost.HostCard(self.host)

    def own_converter(self, _name):
        """(bits, volts, skew in microseconds, volts it may be off by): microvolts, 64 to a count."""
        return _BITS, _SPAN_V, 0, _ERRORS_V

    def own_reader(self, pin):
        """A function without arguments that reads a pin as this chip's own calibration sees it.

        The converter ends near 3.1 V and near 0.15 V, in counts far from both ends of their range.
        """
        read = machine.ADC(machine.Pin(pin), atten=machine.ADC.ATTN_11DB).read_uv
        return lambda: read() >> _SHIFT

    def start_timer(self, period_us, handler):
        """Call `handler` at a grid of `period_us`; None: the first call tells when the grid begins."""
        self.timer = machine.Timer(0)
        every = {"period": period_us, "tick_hz": 1000000}
        self.timer.init(mode=machine.Timer.PERIODIC, callback=handler, **every)
