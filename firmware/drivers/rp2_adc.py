"""The RP2's converter, running by itself through its four pins in turn into a ring in RAM; a reading is a mean.

A mean gains one bit for each factor four of the rounds averaged.
"""

from machine import ADC, Pin, mem32

from drivers import dma_ring, viper_mean

INPUTS = 4
FIRST_PIN = 26
BITS = 12

# From the converter's address (RP2040 data sheet, 4.9.6; RP2350's is alike)
_CS = 0
_FCS = 0x08
_FIFO = 0x0C
_DIV = 0x10
_CLOCK_HZ = 48000000
_SLOWEST_HZ = 800  # the divider has 16 bits
_RING_BITS = 10  # 128 rounds of eight bytes
_ENABLE = 1
_START_MANY = 1 << 3
_ALL_FOUR = 0xF << 16
_FIFO_ON = 1 | 1 << 3  # with DMA requests, from the first sample on
_OVERFLOWN = 1 << 11


class Converter:
    """The converter of an rp2_chip.Chip for rows at `rate_hz`: 16 rounds a row averaged up to 500 Hz, four above."""

    def __init__(self, chip, rate_hz):
        self.rounds = 16 if rate_hz <= 500 else 4
        self.bits = BITS + (2 if self.rounds == 16 else 1)
        self.pins = [ADC(Pin(FIRST_PIN + number)) for number in range(INPUTS)]
        sample_hz = max(INPUTS * self.rounds * rate_hz, _SLOWEST_HZ)
        divider = _CLOCK_HZ // sample_hz
        self.round_us = INPUTS * divider * 1000000 // _CLOCK_HZ
        self.fcs = chip.adc + _FCS
        mem32[chip.adc + _CS] = _ENABLE
        mem32[self.fcs] = 0
        while mem32[self.fcs] >> 16 & 0xF:
            mem32[chip.adc + _FIFO]  # noqa: B018  what an earlier run left in it
        mem32[chip.adc + _DIV] = (divider - 1) << 8
        mem32[self.fcs] = _FIFO_ON | 1 << 24 | _OVERFLOWN
        self.ring = dma_ring.DmaRing(chip.adc + _FIFO, chip.adc_dreq, 1, _RING_BITS)
        mem32[chip.adc + _CS] = _ENABLE | _ALL_FOUR | _START_MANY

    def means(self, places):
        """What puts several inputs into a row at once. places: (place, input 0 to 3) for each."""
        return viper_mean.Means(self.ring.buffer, self.ring.left, self.rounds, places)

    def skew_us(self, number):
        """Microseconds from the moment of reading to the middle of the samples averaged: negative, they lie before
        it."""
        return -(self.round_us * (2 * self.rounds + INPUTS - 1 - number)) // 4

    def overflown(self):
        """Whether a sample was ever lost: then the inputs are exchanged and nothing read is true."""
        return mem32[self.fcs] & _OVERFLOWN != 0
