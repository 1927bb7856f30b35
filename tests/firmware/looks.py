"""What stands on the glass of a car on the bench."""

import car
import framebuf

from panel import digits


def page(one):
    one.show()
    return one.panel.screen.page


def has(one, text, x=None, y=None):
    """Whether the text stands on the glass, in either colour: anywhere, or at (x, y)."""
    width = 8 * len(text)
    pattern = framebuf.FrameBuffer(bytearray(width), width, 8, framebuf.MONO_VLSB)
    pattern.text(text, 0, 0)
    glass = framebuf.FrameBuffer(one.glass.shown, 128, 64, framebuf.MONO_VLSB)
    for top in range(57) if y is None else (y,):
        for left in range(129 - width) if x is None else (x,):
            if alike(glass, left, top, pattern, width, 0) or alike(glass, left, top, pattern, width, 1):
                return True
    return False


def alike(glass, left, top, pattern, width, turned):
    """Whether the pattern stands there; turned 1: dark on light. Without lists, for which the heap may have no room."""
    for py in range(8):
        for px in range(width):
            if glass.pixel(left + px, top + py) != pattern.pixel(px, py) ^ turned:
                return False
    return True


def large_at(one, milli, colour=1):
    """Whether the large figures show this lambda."""
    wanted = framebuf.FrameBuffer(bytearray(1024), 128, 64, framebuf.MONO_VLSB)
    if not colour:
        wanted.fill(1)
    digits.large(wanted, milli, 0, 12, colour)
    glass = framebuf.FrameBuffer(one.glass.shown, 128, 64, framebuf.MONO_VLSB)
    for x in range(76):
        for y in range(12, 52):
            if glass.pixel(x, y) != wanted.pixel(x, y):
                return False
    return True


def pulled(hole=0.15):
    one = car.Car()
    one.drive(2, car.cruise)
    one.drive(5.6, car.pull(hole), [0.0])
    one.drive(1, car.cruise, [0.1])
    return one
