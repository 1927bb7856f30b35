"""The RP2040's converter, running by itself through its four pins in turn into a ring in RAM; a reading is a mean.

A mean gains one bit for each factor four of the rounds averaged.
"""

from machine import ADC, Pin, mem32

from drivers import dma_ring, viper_mean

INPUTS = 4
FIRST_PIN = 26
BITS = 12

# Counts of 12 bits that a reading may be off by, half of the width. The data sheet's erratum RP2040-E11 names the codes
# 512, 1536, 2560 and 3584, at which the converter steps; how far is not in it. Published measurements of five boards
# lie within 15 counts, and within 5 of a straight line through two points.
ERROR = 15
ERROR_CALIBRATED = 5

_ADC = 0x4004C000  # RP2040 data sheet, 4.9.6
_CS = _ADC
_FCS = _ADC + 0x08
_FIFO = _ADC + 0x0C
_DIV = _ADC + 0x10
_CLOCK_HZ = 48000000
_SLOWEST_HZ = 800  # the divider has 16 bits
_DREQ_ADC = 36
_RING_BITS = 10  # 128 rounds of eight bytes
_ENABLE = 1
_START_MANY = 1 << 3
_ALL_FOUR = 0xF << 16
_FIFO_ON = 1 | 1 << 3  # with DMA requests, from the first sample on
_OVERFLOWN = 1 << 11


class Converter:
    """The RP2040's converter for rows at `rate_hz`: 16 rounds a row averaged up to 500 Hz, four above."""

    def __init__(self, rate_hz):
        self.rounds = 16 if rate_hz <= 500 else 4
        self.bits = BITS + (2 if self.rounds == 16 else 1)
        self.pins = [ADC(Pin(FIRST_PIN + number)) for number in range(INPUTS)]
        sample_hz = max(INPUTS * self.rounds * rate_hz, _SLOWEST_HZ)
        divider = _CLOCK_HZ // sample_hz
        self.round_us = INPUTS * divider * 1000000 // _CLOCK_HZ
        mem32[_CS] = _ENABLE
        mem32[_FCS] = 0
        while mem32[_FCS] >> 16 & 0xF:
            mem32[_FIFO]  # noqa: B018  what an earlier run left in it
        mem32[_DIV] = (divider - 1) << 8
        mem32[_FCS] = _FIFO_ON | 1 << 24 | _OVERFLOWN
        self.ring = dma_ring.DmaRing(_FIFO, _DREQ_ADC, 1, _RING_BITS)
        mem32[_CS] = _ENABLE | _ALL_FOUR | _START_MANY

    def means(self, places):
        """What puts several inputs into a row at once. places: (place, input 0 to 3) for each."""
        return viper_mean.Means(self.ring.buffer, self.ring.left, self.rounds, places)

    def skew_us(self, number):
        """Microseconds from the moment of reading to the middle of the samples averaged: negative, they lie before it."""
        return -(self.round_us * (2 * self.rounds + INPUTS - 1 - number)) // 4

    def overflown(self):
        """Whether a sample was ever lost: then the inputs are exchanged and nothing read is true."""
        return mem32[_FCS] & _OVERFLOWN != 0
