"""Tests of the board's parts, each loaded, run and given back by itself. What is good is in shared_math/proving.py."""

import gc
import os
import time

from shared_math import layout, proving, ticks
from store import fatfile

_NAME = "selftest"
_FLICKER = (125, b"\1\0")
_TILE = 8


def prove(bench, what, much):
    """A dictionary of figures; None where the board has no such part. ValueError for a test that is not known."""
    if what == "card":
        return card(bench.board, much)
    if what == "memory":
        return memory()
    if what == "button":
        return button(bench, much)
    if what == "lamp":
        return lamp(bench.board, much)
    if what == "screen":
        return screen(bench.logger.plan.frame or bench.board.screen(), bench.board, much)
    if what == "clock":
        return {"utc": bench.board.utc(), "us": time.ticks_us() & ticks.MASK}
    raise ValueError


def pause(board, us):
    """Let time pass."""
    began = board.ticks_us()
    while (board.ticks_us() - began) & ticks.MASK < us and board.powered():
        board.feed()
        board.idle()


def card(board, slots):
    """So many sectors of a file of its own written one by one, each until the card has it; then read back."""
    medium = board.medium()
    device = getattr(medium, "device", None)
    if device is None:
        return None
    if not 1 <= slots <= 65535:
        raise ValueError
    path = medium.folder + "/" + _NAME + ".tmp"
    told = {"writes": 0, "worst_us": 0, "sum_us": 0, "classes": [0] * (len(proving.EDGES_MS) + 1)}
    told.update({"wrong": 0, "failed": 0, "read_us": 0})
    try:
        fatfile.make(path, slots)
        file = fatfile.FatFile(path, device)
        _write_all(board, device, file, told)
        _read_all(board, file, told)
    except OSError as error:
        told["failed"] = error.errno
    file = None
    gc.collect()
    try:
        os.remove(path)
    except OSError:
        pass
    return told


def _pattern():
    pattern = bytearray(2 * layout.SLOT)
    number = 1
    for n in range(len(pattern)):
        number = (number * 1103515245 + 12345) & 0x3FFFFFFF
        pattern[n] = number >> 16 & 0xFF
    return memoryview(pattern)


def _content(pattern, slot, block):
    start = slot * 37 % layout.SLOT
    block[:] = pattern[start : start + layout.SLOT]
    block[0] = slot & 0xFF
    block[1] = slot >> 8


def _write_all(board, device, file, told):
    pattern = _pattern()
    block = bytearray(layout.SLOT)
    for slot in range(file.slots):
        board.feed()
        _content(pattern, slot, block)
        began = board.ticks_us()
        file.write(slot, block)
        device.ioctl(3, 0)
        us = (board.ticks_us() - began) & ticks.MASK
        told["writes"] += 1
        told["sum_us"] += us
        told["worst_us"] = max(told["worst_us"], us)
        place = 0
        while place < len(proving.EDGES_MS) and us >= 1000 * proving.EDGES_MS[place]:
            place += 1
        told["classes"][place] += 1


def _read_all(board, file, told):
    pattern = _pattern()
    block = bytearray(layout.SLOT)
    wanted = bytearray(layout.SLOT)
    for slot in range(file.slots):
        board.feed()
        _content(pattern, slot, wanted)
        began = board.ticks_us()
        file.read(slot, block)
        told["read_us"] = max(told["read_us"], (board.ticks_us() - began) & ticks.MASK)
        if block != wanted:
            told["wrong"] += 1


def memory():
    """Bytes of the heap that are free, and in one piece."""
    gc.collect()
    free = gc.mem_free()
    low, high = 0, free
    while high - low > 256:
        size = (low + high) // 2
        try:
            bytearray(size)
            low = size
        except MemoryError:
            high = size
    return {"free": free, "largest": low, "all": free + gc.mem_alloc()}


def button(bench, ms):
    """Whether it is pressed now; with `ms` a press and a release are waited for."""
    board = bench.board
    pressed = bench.logger.button
    told = {"level": bool(pressed.level()), "held_ms": -1}
    began = board.ticks_us()
    since = -1
    while board.powered() and (board.ticks_us() - began) & ticks.MASK < 1000 * ms:
        board.feed()
        board.idle()
        pressed.look()
        if pressed.unsure:
            pressed.settle(board.ticks_us())
        if pressed.pressed:
            since = pressed.since
        elif since >= 0:
            told["held_ms"] = ((pressed.since - since) & ticks.MASK) // 1000
            break
    return told


def lamp(board, ms):
    """It flickers four times a second."""
    before = board.light.pattern
    board.light.pattern = _FLICKER
    pause(board, 1000 * ms)
    board.light.pattern = before
    return {"shown_ms": ms}


def screen(frame, board, ms):
    """Tiles on the whole glass."""
    if frame is None:
        return None
    frame.fill(0)
    for x in range(0, 128, _TILE):
        for y in range(0, 64, _TILE):
            if (x + y) // _TILE & 1:
                frame.fill_rect(x, y, _TILE, _TILE, 1)
    for _ in range(100):
        board.feed()
        if frame.send() or not frame.started:
            break
    answers = frame.started
    pause(board, 1000 * ms)
    return {"answers": answers}
