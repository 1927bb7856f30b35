"""Addresses and numbers in which the RP2040 and the RP2350 differ; what both share stands beside its use.

RP2040 data sheet: address map 2.2, DMA requests 2.5.3.1, timer 4.6, watchdog 4.7, converter 4.9. RP2350 data sheet: the
same registers at other addresses (2.2), DMA requests 12.6.4.1. No RP2350 has run this yet.
"""

_CLEAR = 0x3000  # the alias of a register that clears bits (RP2040 data sheet, 2.1.2; RP2350 2.1.3)

# Both SPIs; the SIO's registers that raise and lower pins (RP2040 2.2, 2.3.1.7; RP2350 2.2, 3.1.11)
_RP2040_IO = (0x4003C000, 0x40040000), (0xD0000014, 0xD0000018)
_RP2350_IO = (0x40080000, 0x40088000), (0xD0000018, 0xD0000020)


class Chip:
    """adc, timer_raw, watchdog_clear: addresses of the converter, the running microseconds, and the watchdog's CTRL
    written to clear bits. adc_dreq: the converter's DMA request. spis: addresses of both SPIs. pins_high, pins_low:
    of what is written to raise and to lower pins below 32.

    adc_errors: counts of 12 bits that a reading may be off by, half of the width: as it comes, after calibration at two
    points.
    """

    def __init__(self, adc, adc_dreq, timer, watchdog, adc_errors, spis, pins):
        self.adc = adc
        self.adc_dreq = adc_dreq
        self.timer_raw = timer + 0x28
        self.watchdog_clear = watchdog + _CLEAR
        self.adc_errors = adc_errors
        self.spis = spis
        self.pins_high = pins[0]
        self.pins_low = pins[1]


def of(board):
    """The Chip of the board "rp2" or "rp2350"."""
    if board == "rp2350":
        # No step in its converter is known (from memory); its errors are taken as the RP2040's until one is measured
        return Chip(0x400A0000, 48, 0x400B0000, 0x400D8000, (15, 5), *_RP2350_IO)
    # The data sheet's erratum RP2040-E11 names the codes 512, 1536, 2560 and 3584, at which the converter steps; how
    # far is not in it. Published measurements of five boards lie within 15 counts, and within 5 of a line through two
    # points.
    return Chip(0x4004C000, 36, 0x40054000, 0x40058000, (15, 5), *_RP2040_IO)
