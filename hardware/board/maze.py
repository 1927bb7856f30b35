"""The searches of the router on its grid, compiled by numba: stamps of copper, and the cheapest way between copper.

A cell is layer * cells + y * wide + x. Costs are whole numbers, so that every machine finds the same way.
"""

from __future__ import annotations

import numba
import numpy as np

STRAIGHT, DIAGONAL, TURN, VIA = 10, 14, 4, 90
DX = np.array([1, 1, 0, -1, -1, -1, 0, 1])
DY = np.array([0, 1, 1, 1, 0, -1, -1, -1])


@numba.njit(cache=True)
def stamp(field, wide, high, layer, x, y, radius, by):
    """Add `by` to every cell nearer than radius (grid steps) to the point (x, y)."""
    reach = int(radius) + 1
    for v in range(max(0, int(y) - reach), min(high, int(y) + reach + 2)):
        for u in range(max(0, int(x) - reach), min(wide, int(x) + reach + 2)):
            if (u - x) ** 2 + (v - y) ** 2 < radius * radius:
                field[layer * wide * high + v * wide + u] += by


@numba.njit(cache=True)
def stamp_box(field, wide, high, layer, x0, y0, x1, y1, radius, by):
    """Add `by` to every cell nearer than radius to the box; all in grid steps."""
    for v in range(max(0, int(y0 - radius) - 1), min(high, int(y1 + radius) + 2)):
        for u in range(max(0, int(x0 - radius) - 1), min(wide, int(x1 + radius) + 2)):
            dx, dy = max(x0 - u, 0.0, u - x1), max(y0 - v, 0.0, v - y1)
            if dx * dx + dy * dy < radius * radius:
                field[layer * wide * high + v * wide + u] += by


@numba.njit(cache=True)
def flood(wide, high, start, free):
    """Which free cells touch a start cell by other free cells of the same side."""
    cells = wide * high
    out = start.astype(np.bool_)
    waiting = [cell for cell in range(2 * cells) if start[cell]]
    while waiting:
        cell = waiting.pop()
        layer, rest = cell // cells, cell % cells
        y, x = rest // wide, rest % wide
        for d in range(0, 8, 2):
            u, v = x + DX[d], y + DY[d]
            if u < 0 or v < 0 or u >= wide or v >= high:
                continue
            to = layer * cells + v * wide + u
            if free[to] and not out[to]:
                out[to] = True
                waiting.append(to)
    return out


@numba.njit(cache=True)
def _push(heap, keys, size, cell, key):
    k = size
    while k > 0:
        up = (k - 1) >> 1
        if keys[up] <= key:
            break
        heap[k], keys[k] = heap[up], keys[up]
        k = up
    heap[k], keys[k] = cell, key
    return size + 1


@numba.njit(cache=True)
def _pop(heap, keys, size):
    cell, key = heap[0], keys[0]
    size -= 1
    last, last_key = heap[size], keys[size]
    k = 0
    while True:
        down = 2 * k + 1
        if down >= size:
            break
        if down + 1 < size and keys[down + 1] < keys[down]:
            down += 1
        if keys[down] >= last_key:
            break
        heap[k], keys[k] = heap[down], keys[down]
        k = down
    heap[k], keys[k] = last, last_key
    return cell, key, size


@numba.njit(cache=True)
def search(wide, high, tree, goal, hard, hard_via, used, used_via, history, press, lower_cost, heap, keys):
    """Cells from the tree to the nearest goal cell, goal first; empty where there is no way.

    tree, goal: 1 where copper of the net stands. hard: > 0 where nothing may go. used: how many tracks of other nets
    are in the way, each of which costs `press`. lower_cost: per hundred, of a step on the lower side.
    """
    cells = wide * high
    best = np.full(2 * cells, 1 << 60, np.int64)
    came = np.full(2 * cells, -1, np.int64)
    heading = np.full(2 * cells, -1, np.int64)
    size = 0
    for cell in range(2 * cells):
        if tree[cell]:
            best[cell] = 0
            size = _push(heap, keys, size, cell, 0)
    found = -1
    while size:
        cell, key, size = _pop(heap, keys, size)
        if key > best[cell]:
            continue
        if goal[cell]:
            found = cell
            break
        layer, rest = cell // cells, cell % cells
        y, x = rest // wide, rest % wide
        for d in range(8):
            u, v = x + DX[d], y + DY[d]
            if u < 0 or v < 0 or u >= wide or v >= high:
                continue
            to = layer * cells + v * wide + u
            if hard[to]:
                continue
            crowd = used[to]
            if d & 1:
                one, two = layer * cells + y * wide + u, layer * cells + v * wide + x
                if hard[one] or hard[two]:
                    continue
                crowd = max(crowd, used[one], used[two])
            step = DIAGONAL if d & 1 else STRAIGHT
            if layer == 1:
                step = step * lower_cost // 100
            if heading[cell] >= 0 and heading[cell] != d:
                turn = abs(heading[cell] - d)
                turn = min(turn, 8 - turn)
                if turn > 2:
                    continue
                step += TURN * turn
            cost = key + step + crowd * press + history[to]
            if cost < best[to]:
                best[to], came[to], heading[to] = cost, cell, d
                size = _push(heap, keys, size, to, cost)
        to = (1 - layer) * cells + rest
        if hard_via[rest] or hard_via[cells + rest]:
            continue
        cost = key + VIA + (used_via[rest] + used_via[cells + rest]) * press + history[to]
        if cost < best[to]:
            best[to], came[to], heading[to] = cost, cell, -1
            size = _push(heap, keys, size, to, cost)
    path = []
    while found >= 0:
        path.append(found)
        found = came[found]
    return np.array(path, np.int64)
