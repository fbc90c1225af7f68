"""The way-finder: marking boxes on a grid of uneven lines, and the cheapest square way through.

Lines of the grid are where a pipe may run. Costs lie on the pieces between neighbouring nodes, one
array an axis, so that a box between two lines is never stepped over unseen.
"""

from __future__ import annotations

from typing import Any

import numba
import numpy as np

Floats = np.ndarray[Any, np.dtype[np.float64]]
Ints = np.ndarray[Any, np.dtype[np.int64]]
SHUT = 1e9


@numba.njit(cache=True, nogil=True)
def _span(lines: Any, low: float, high: float) -> Any:
    """First and one past the last line strictly inside an interval."""
    return np.searchsorted(lines, low, side="right"), np.searchsorted(lines, high, side="left")


@numba.njit(cache=True, nogil=True)
def mark(
    xs: Any, ys: Any, zs: Any, ex: Any, ey: Any, ez: Any, boxes: Any, weights: Any, put: bool
) -> None:
    """Add (or put) each box's weight on every piece of the grid that enters it.

    `boxes` rows are west, south, low, east, north, high. `put` replaces the cost.
    """
    nx, ny, nz = len(xs), len(ys), len(zs)
    for b in range(boxes.shape[0]):
        x1, y1, z1, x2, y2, z2 = boxes[b]
        w = weights[b]
        i1, i2 = _span(xs, x1, x2)
        j1, j2 = _span(ys, y1, y2)
        k1, k2 = _span(zs, z1, z2)
        for i in range(max(0, i1 - 1), min(nx - 1, i2)):
            for j in range(j1, j2):
                for k in range(k1, k2):
                    ex[i, j, k] = w if put else ex[i, j, k] + w
        for i in range(i1, i2):
            for j in range(max(0, j1 - 1), min(ny - 1, j2)):
                for k in range(k1, k2):
                    ey[i, j, k] = w if put else ey[i, j, k] + w
        for i in range(i1, i2):
            for j in range(j1, j2):
                for k in range(max(0, k1 - 1), min(nz - 1, k2)):
                    ez[i, j, k] = w if put else ez[i, j, k] + w


@numba.njit(cache=True, nogil=True)
def spaces(xs: Any, ys: Any, zs: Any, ex: Any, ey: Any, ez: Any, boxes: Any, costs: Any) -> None:
    """Put the cost a metre of each space on the pieces whose middle lies in it, later ones over
    earlier ones. Columns of `costs`: east-west, north-south, upright."""
    nx, ny, nz = len(xs), len(ys), len(zs)
    for b in range(boxes.shape[0]):
        x1, y1, z1, x2, y2, z2 = boxes[b]
        for i in range(nx):
            mx = 0.5 * (xs[i] + xs[min(i + 1, nx - 1)])
            if (xs[i] < x1 - 1e-6 and mx < x1) or xs[i] > x2 + 1e-6:
                continue
            for j in range(ny):
                my = 0.5 * (ys[j] + ys[min(j + 1, ny - 1)])
                if (ys[j] < y1 - 1e-6 and my < y1) or ys[j] > y2 + 1e-6:
                    continue
                for k in range(nz):
                    mz = 0.5 * (zs[k] + zs[min(k + 1, nz - 1)])
                    if (zs[k] < z1 - 1e-6 and mz < z1) or zs[k] > z2 + 1e-6:
                        continue
                    on_x = x1 - 1e-6 <= xs[i]
                    on_y = y1 - 1e-6 <= ys[j]
                    on_z = z1 - 1e-6 <= zs[k]
                    if i + 1 < nx and mx >= x1 and mx <= x2 and on_y and on_z:
                        ex[i, j, k] = costs[b, 0]
                    if j + 1 < ny and my >= y1 and my <= y2 and on_x and on_z:
                        ey[i, j, k] = costs[b, 1]
                    if k + 1 < nz and mz >= z1 and mz <= z2 and on_x and on_y:
                        ez[i, j, k] = costs[b, 2]


@numba.njit(cache=True, nogil=True)
def _push(heap: Any, keys: Any, size: int, item: int, key: float) -> int:
    at = size
    while at > 0:
        up = (at - 1) >> 1
        if keys[up] <= key:
            break
        heap[at] = heap[up]
        keys[at] = keys[up]
        at = up
    heap[at] = item
    keys[at] = key
    return size + 1


@numba.njit(cache=True, nogil=True)
def _pop(heap: Any, keys: Any, size: int) -> int:
    size -= 1
    item, key = heap[size], keys[size]
    at = 0
    while True:
        down = 2 * at + 1
        if down >= size:
            break
        if down + 1 < size and keys[down + 1] < keys[down]:
            down += 1
        if keys[down] >= key:
            break
        heap[at] = heap[down]
        keys[at] = keys[down]
        at = down
    heap[at] = item
    keys[at] = key
    return size


@numba.njit(cache=True, nogil=True)
def find(
    xs: Any, ys: Any, zs: Any, ex: Any, ey: Any, ez: Any, px: Any, py: Any, pz: Any,
    start: Any, first: int, goal: Any, last: int, bend: float,
) -> Any:  # fmt: skip
    """Nodes of the cheapest way from `start` to `goal` (indices), or an empty array.

    `ex`, `ey`, `ez` are costs a metre, `px`, `py`, `pz` what is added on a piece. `first` and
    `last` are the directions (0..5: east, west, north, south, up, down) of leaving and arriving;
    a change of direction costs `bend`.
    """
    nx, ny, nz = len(xs), len(ys), len(zs)
    total = nx * ny * nz * 6
    best = np.full(total, 1e18)
    came = np.full(total, -1, dtype=np.int64)
    room = 1 << 16
    heap = np.empty(room, dtype=np.int64)
    keys = np.empty(room, dtype=np.float64)
    size = 0
    gx, gy, gz = xs[goal[0]], ys[goal[1]], zs[goal[2]]
    at = ((start[0] * ny + start[1]) * nz + start[2]) * 6 + first
    best[at] = 0.0
    size = _push(heap, keys, size, at, 0.0)
    end = -1
    while size > 0:
        at = heap[0]
        f = keys[0]
        size = _pop(heap, keys, size)
        d = at % 6
        node = at // 6
        k = node % nz
        j = (node // nz) % ny
        i = node // (nz * ny)
        here = best[at]
        h = abs(xs[i] - gx) + abs(ys[j] - gy) + abs(zs[k] - gz)
        if f > here + h + 1e-9:
            continue
        if i == goal[0] and j == goal[1] and k == goal[2]:
            if d == last:
                end = at
                break
            turn = ((i * ny + j) * nz + k) * 6 + last
            if (d ^ 1) != last and here + bend < best[turn] - 1e-12:
                best[turn] = here + bend
                came[turn] = at
                size = _push(heap, keys, size, turn, here + bend)
            continue
        for e in range(6):
            if e == (d ^ 1):
                continue
            a, b, c = i, j, k
            if e == 0:
                if i + 1 >= nx:
                    continue
                cost, extra, long = ex[i, j, k], px[i, j, k], xs[i + 1] - xs[i]
                a = i + 1
            elif e == 1:
                if i == 0:
                    continue
                cost, extra, long = ex[i - 1, j, k], px[i - 1, j, k], xs[i] - xs[i - 1]
                a = i - 1
            elif e == 2:
                if j + 1 >= ny:
                    continue
                cost, extra, long = ey[i, j, k], py[i, j, k], ys[j + 1] - ys[j]
                b = j + 1
            elif e == 3:
                if j == 0:
                    continue
                cost, extra, long = ey[i, j - 1, k], py[i, j - 1, k], ys[j] - ys[j - 1]
                b = j - 1
            elif e == 4:
                if k + 1 >= nz:
                    continue
                cost, extra, long = ez[i, j, k], pz[i, j, k], zs[k + 1] - zs[k]
                c = k + 1
            else:
                if k == 0:
                    continue
                cost, extra, long = ez[i, j, k - 1], pz[i, j, k - 1], zs[k] - zs[k - 1]
                c = k - 1
            if cost >= SHUT or extra >= SHUT:
                continue
            g = here + cost * long + extra
            if e != d:
                g += bend
            there = ((a * ny + b) * nz + c) * 6 + e
            if g < best[there] - 1e-12:
                best[there] = g
                came[there] = at
                if size + 1 >= room:
                    more = np.empty(room * 2, dtype=np.int64)
                    more[:room] = heap
                    heap = more
                    wide = np.empty(room * 2, dtype=np.float64)
                    wide[:room] = keys
                    keys = wide
                    room *= 2
                left = abs(xs[a] - gx) + abs(ys[b] - gy) + abs(zs[c] - gz)
                size = _push(heap, keys, size, there, g + left)
    if end < 0:
        return np.empty((0, 3), dtype=np.int64)
    count = 0
    at = end
    while at >= 0:
        count += 1
        at = came[at]
    way = np.empty((count, 3), dtype=np.int64)
    at = end
    for step in range(count - 1, -1, -1):
        node = at // 6
        way[step, 2] = node % nz
        way[step, 1] = (node // nz) % ny
        way[step, 0] = node // (nz * ny)
        at = came[at]
    return way
