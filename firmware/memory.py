"""The large arrays, row queue, outbox and open block: room for them is held while modules load, and given back when
they are made, one after the other. The modules they come from are the largest, so they are loaded before."""

import gc

from acquire import rows
from shared_math import layout
from store import outbox, packer

_QUEUE_S = 0.51  # rows the queue holds at least: the longest stall a card may take
_QUEUE_LEAST = 32
_OPEN_BLOCK_BYTES = 8192  # the open block's rows at most: with many columns a quiet block closes early

_held = []


def _queue_rows(rate_hz):
    count = _QUEUE_LEAST
    while count < rate_hz * _QUEUE_S:
        count *= 2
    return count


def _open_rows(columns, rate_hz):
    return min(rate_hz, _OPEN_BLOCK_BYTES // (4 * columns))


def hold(columns, rate_hz):
    """Reserve the room for rows of so many columns, while the heap still has it in one piece."""
    numbers = _queue_rows(rate_hz) * (columns + 1) + _open_rows(columns, rate_hz) * columns
    gc.collect()
    _held.append(bytearray(4 * numbers + outbox.BLOCKS * layout.SLOT))


def arrays(bits, rate_hz):
    """(row queue, outbox, packer) for columns of these widths; a smaller queue where memory does not allow half a second."""
    columns = len(bits)
    _held.clear()
    gc.collect()
    capacity = _queue_rows(rate_hz)
    while True:
        try:
            queue = rows.RowQueue(columns, capacity)
            break
        except MemoryError:
            if capacity <= _QUEUE_LEAST:
                raise
            capacity //= 2
    return queue, outbox.Outbox(), packer.make(bits, _open_rows(columns, rate_hz))


def settle():
    """Recording begins: nothing is made per row, so memory is looked through only when it is full, not every 4 kB.

    Where a port keeps the local variables of a Python function on the heap, that share counts as garbage.
    """
    gc.collect()
    gc.threshold(-1)
