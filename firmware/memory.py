"""The large arrays, row queue, outbox and open block: room for them is held while modules load, and given back when
they are made, one after the other. The modules they come from are the largest, so they are loaded before."""

import gc
import sys

from acquire import rows
from shared_math import layout
from shared_math.compat import const
from store import outbox, packer

_QUEUE_MS = const(510)  # rows the queue holds at least: the longest stall a card may take
_QUEUE_LEAST = const(32)
_OPEN_BLOCK_BYTES = const(8192)  # the open block's rows at most: with many columns a quiet block closes early
_MOST_HELD = const(32768)  # modules need room too while they load
_LEAST_HELD = const(4096)  # less is not worth holding: the arrays take what there is
# For opening the card and the rest of the start: 12 to 16 kB on the 64-bit port, whose objects are large
_SPARE = const(12288)

# Of store: needed to open a card, or to get one back
_OPENING = ("card", "complete", "fatmap", "recover", "revival", "setup_text", "viper_fatmap")
_SMALLEST = const(32)  # bytes of a tuple of one, at most
_LONG_RUN = const(64)  # tuples side by side: the large free piece has begun

_held = []


def _queue_rows(rate_hz):
    count = _QUEUE_LEAST
    while 1000 * count < rate_hz * _QUEUE_MS:
        count *= 2
    return count


def _open_rows(columns, rate_hz):
    return min(rate_hz, _OPEN_BLOCK_BYTES // (4 * columns))


def hold(columns, rate_hz):
    """Reserve the room for rows of so many columns, while the heap still has it in one piece."""
    packer.kind()  # what is compiled later finds no room
    try:
        __import__("acquire.viper_rows")
    except (ImportError, SyntaxError, ValueError):
        pass
    numbers = _queue_rows(rate_hz) * (columns + 1) + _open_rows(columns, rate_hz) * columns
    size = min(4 * numbers + outbox.BLOCKS * layout.SLOT, _MOST_HELD)
    gc.collect()
    while size > _LEAST_HELD:
        try:
            _held.append(bytearray(size))
            return
        except MemoryError:
            size -= size >> 2


def arrays(bits, rate_hz):
    """(row queue, outbox, packer) for columns of these widths; smaller ones where memory does not allow them."""
    columns = len(bits)
    _held.clear()
    size = _queue_rows(rate_hz)
    while True:
        gc.collect()
        try:
            queue = rows.RowQueue(columns, size)
            waiting = outbox.Outbox()
            pack = _packer(bits, _open_rows(columns, rate_hz))
            if size <= _QUEUE_LEAST or _has_room(_SPARE):
                return queue, waiting, pack
        except MemoryError:
            if size <= _QUEUE_LEAST:
                raise
        queue = waiting = pack = None
        size //= 2


def _packer(bits, most_rows):
    while True:
        try:
            return packer.kind()(bits, most_rows)
        except MemoryError:
            if most_rows <= _QUEUE_LEAST:
                raise
            most_rows //= 2


def _has_room(size):
    try:
        bytearray(size)
        return True
    except MemoryError:
        return False
    finally:
        gc.collect()


def forget_opening():
    """Give back the modules that opened the card."""
    for name in _OPENING:
        if sys.modules.pop("store." + name, None) is not None:
            delattr(sys.modules["store"], name)
    if sys.modules.pop("start.session", None) is not None:
        delattr(sys.modules["start"], "session")


def settle():
    """Recording begins: modules that opened the card are given back (a card that comes back loads them again); memory
    is looked through only when it is full, not every 4 kB, and has no small holes left.

    Where the port keeps the local variables of a Python function on the heap, each call looks for the first hole that
    is large enough: with small ones below the large arrays it walks past these every time, some 300 us on an RP2040.
    """
    forget_opening()
    gc.collect()
    gc.threshold(-1)
    plug = None
    before = run = 0
    try:
        while run < _LONG_RUN:
            plug = (plug,)  # the smallest thing there is: it takes the lowest hole
            run = run + 1 if 0 < id(plug) - before <= _SMALLEST else 0
            before = id(plug)
        for _ in range(_LONG_RUN):  # these lie in the large piece
            plug = plug[0]  # pyright: ignore[reportOptionalSubscript]
    except MemoryError:
        plug = None
    _held.append(plug)
