"""Figures on the screen: large ones of seven strokes, small ones of the built-in letters. Nothing is allocated."""

# Strokes that are lit: top, upper right, lower right, bottom, lower left, upper left, middle
_STROKES = (0x3F, 0x06, 0x5B, 0x4F, 0x66, 0x6D, 0x7D, 0x07, 0x7F, 0x6F)
_MIDDLE = 0x40
_SMALL = ("0", "1", "2", "3", "4", "5", "6", "7", "8", "9")
WIDE = 20
HIGH = 40
_THICK = 5
_STEP = 24
_POINT = 8
LETTER = 8


def _strokes(frame, lit, x, y, colour):
    half = HIGH // 2
    if lit & 0x01:
        frame.fill_rect(x + 1, y, WIDE - 2, _THICK, colour)
    if lit & 0x02:
        frame.fill_rect(x + WIDE - _THICK, y + 1, _THICK, half - 1, colour)
    if lit & 0x04:
        frame.fill_rect(x + WIDE - _THICK, y + half, _THICK, half - 1, colour)
    if lit & 0x08:
        frame.fill_rect(x + 1, y + HIGH - _THICK, WIDE - 2, _THICK, colour)
    if lit & 0x10:
        frame.fill_rect(x, y + half, _THICK, half - 1, colour)
    if lit & 0x20:
        frame.fill_rect(x, y + 1, _THICK, half - 1, colour)
    if lit & 0x40:
        frame.fill_rect(x + 2, y + half - _THICK // 2, WIDE - 4, _THICK, colour)


def large(frame, milli, x, y, colour):
    """Thousandths with two decimals, 80 wide and 40 high; strokes alone for None. Up to 9.99."""
    hundredths = -1 if milli is None else min(999, (milli + 5) // 10)
    for place in (100, 10, 1):
        lit = _MIDDLE if hundredths < 0 else _STROKES[hundredths // place % 10]
        _strokes(frame, lit, x, y, colour)
        x += _STEP
        if place == 100:
            frame.fill_rect(x, y + HIGH - _THICK, _THICK, _THICK, colour)
            x += _POINT


def small(frame, value, right, y, decimals=0, colour=1):
    """A whole number, `decimals` of its digits after a point, ending before column `right`; returns its left edge."""
    below = value < 0
    value = abs(value)
    x = right
    while True:
        x -= LETTER
        frame.text(_SMALL[value % 10], x, y, colour)
        value //= 10
        decimals -= 1
        if decimals == 0:
            x -= LETTER
            frame.text(".", x, y, colour)
        elif decimals < 0 and value == 0:
            break
    if below:
        x -= LETTER
        frame.text("-", x, y, colour)
    return x
