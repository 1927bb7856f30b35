"""A 128 x 64 one-colour screen on I2C with a controller of the SSD1306 class: commands as in its data sheet.

The frame buffer is drawn on with MicroPython's framebuf and goes out in pieces, one at each call of `send`: 32 bytes,
0.8 ms on a bus of 400 kHz, so that rows of boards whose timers wait for the main loop are never later than that.
"""

import framebuf

WIDTH = 128
HEIGHT = 64
PIECE = 32
_PIECES = WIDTH * HEIGHT // 8 // PIECE
_ADDRESSES = (0x3C, 0x3D)
_DATA = 0x40  # first byte of a transfer: the rest goes into the picture
_REST = 1000  # calls of `send` that a screen which does not answer is left alone

_START = (
    b"\x00"  # commands follow
    b"\xae"  # off while it is set up
    b"\xd5\x80"  # clock
    b"\xa8\x3f"  # 64 lines
    b"\xd3\x00"  # no vertical shift
    b"\x40"  # first line at the top
    b"\x8d\x14"  # charge pump on
    b"\x20\x00"  # the address goes right, then to the next page
    b"\xa1"  # column 0 at the left edge
    b"\xc8"  # and line 0 at the top
    b"\xda\x12"  # common pins of a 64-line glass
    b"\x81\xcf"  # contrast
    b"\xd9\xf1"  # precharge
    b"\xdb\x20"  # deselect level
    b"\xa4"  # show the memory
    b"\xa6"  # 1 is lit
    b"\x2e"  # no scrolling
    b"\x21\x00\x7f\x22\x00\x07"  # all columns and pages, the address at their beginning
    b"\xaf"  # on
)
_HOME = b"\x00\x21\x00\x7f\x22\x00\x07"


def open_on(bus):
    """An Oled on an I2C bus, or None where none answers."""
    for address in _ADDRESSES:
        try:
            bus.writeto(address, _START)
        except OSError:
            continue
        return Oled(bus, address)
    return None


class Oled(framebuf.FrameBuffer):
    """Draw on it, then call `send` until it returns True: then the whole picture is on the glass."""

    def __init__(self, bus, address):
        memory = bytearray(WIDTH * HEIGHT // 8)
        super().__init__(memory, WIDTH, HEIGHT, framebuf.MONO_VLSB)
        whole = memoryview(memory)
        self.pieces = tuple([whole[at : at + PIECE] for at in range(0, len(memory), PIECE)])
        self.out = bytearray(1 + PIECE)
        self.out[0] = _DATA
        self.data = memoryview(self.out)[1:]
        self.bus = bus
        self.address = address
        self.at = 0
        self.rest = 0
        self.started = True

    def send(self):
        """Send the next piece. A screen that was pulled off costs one refused transfer in a thousand calls."""
        if self.rest:
            self.rest -= 1
            return False
        try:
            if not self.started:
                self.bus.writeto(self.address, _START)
                self.started = True
                self.at = 0
            elif self.at < 0:
                self.bus.writeto(self.address, _HOME)
                self.at = 0
            else:
                self.data[:] = self.pieces[self.at]
                self.bus.writeto(self.address, self.out)
                self.at += 1
        except OSError:
            self.started = False
            self.rest = _REST
            return False
        if self.at == _PIECES:
            self.at = -1
            return True
        return False
