"""Where memory is short the row queue gets shorter, before the rest of the start finds none."""

import gc

import memory

BITS = [16] * 5
RATE_HZ = 1000
FULL = 512  # rows that half a second of stall takes, at least


def ballast(left):
    """Fill the heap in large pieces until about so many bytes are free; what is returned holds them."""
    held = []
    size = 16384
    while size >= 512:
        gc.collect()
        if gc.mem_free() - size < left:  # pyright: ignore[reportAttributeAccessIssue]
            size //= 2
            continue
        try:
            held.append(bytearray(size))
        except MemoryError:
            size //= 2
    return held


def rows_of(queue):
    return queue.mask + 1


def test_with_room_for_all_the_queue_is_whole():
    queue, waiting, pack = memory.arrays(BITS, RATE_HZ)
    assert rows_of(queue) == FULL and waiting and pack


def test_the_queue_leaves_room_for_opening_the_card():
    shorter = least = 0
    for left in range(20000, 80000, 4000):
        held = ballast(left)
        try:
            queue, waiting, pack = memory.arrays(BITS, RATE_HZ)
        except MemoryError:
            held.clear()
            least += 1
            continue
        count = rows_of(queue)
        assert 32 <= count <= FULL and waiting and pack
        if count > 32:
            gc.collect()
            bytearray(12000)  # a MemoryError without it
            if count < FULL:
                shorter += 1
        queue = waiting = pack = None
        held.clear()
    assert shorter > 0  # the case was met, and so was that of a heap too small for any
    assert least > 0
