"""An access to a bus controller on the RP2's SPI, compiled, at eight times the clock of the converter that shares it.

The converter takes 1 MHz, at which an answer and the request that follows it spend half a millisecond on this wire;
both controllers take 10. SSP registers: RP2040 data sheet, 4.4.4.
"""

import micropython

from shared_math.compat import const

_CONTROL = const(0)  # registers, as words from the first one on
_ENABLE = const(1)
_DATA = const(2)
_STATUS = const(3)
_ON = const(2)  # of the second one
_FILLED = const(4)  # of the status: something was received
_BUSY = const(16)
_LOOKS = const(2000)  # at the status, some 0.4 ms: a byte takes a microsecond


class Exchange:
    """registers: of the SSP, the address of the first one or a buffer."""

    def __init__(self, registers):
        self.registers = registers

    @micropython.viper
    def exchange(self, ask: object, answer: object):
        """As machine.SPI.write_readinto: bytes out of `ask`, as many into `answer`. With interrupts off."""
        ssp = ptr32(self.registers)
        out = ptr8(ask)
        got = ptr8(answer)
        count = int(len(ask))
        before = ssp[_CONTROL]
        on = ssp[_ENABLE]
        # The clock is changed while the SSP is off
        ssp[_ENABLE] = on & ~_ON
        ssp[_CONTROL] = before & 0xFF | before >> 11 << 8  # the divider, less one, is in the upper byte
        ssp[_ENABLE] = on
        n = 0
        while n < count:
            ssp[_DATA] = out[n]
            looks = _LOOKS
            while (ssp[_STATUS] & _FILLED) == 0 and looks > 0:
                looks -= 1
            got[n] = ssp[_DATA]
            n += 1
        looks = _LOOKS
        while (ssp[_STATUS] & _BUSY) != 0 and looks > 0:
            looks -= 1
        ssp[_ENABLE] = on & ~_ON
        ssp[_CONTROL] = before
        ssp[_ENABLE] = on
