"""The way-finder: marking boxes on a grid of uneven lines, and the cheapest square way through.

Lines of the grid are where a pipe may run. Costs lie on the pieces between neighbouring nodes, one
array an axis, so that a box between two lines is never stepped over unseen.
"""

from __future__ import annotations

from typing import Any

import numpy as np

from byrewright.caches import compiled_in

_kernel = compiled_in("place")

Floats = np.ndarray[Any, np.dtype[np.float64]]
Ints = np.ndarray[Any, np.dtype[np.int64]]
SHUT = 1e9


@_kernel
def _span(lines: Any, low: float, high: float) -> Any:
    """First and one past the last line strictly inside an interval."""
    return np.searchsorted(lines, low, side="right"), np.searchsorted(lines, high, side="left")


@_kernel
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


@_kernel
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


@_kernel
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


@_kernel
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


@_kernel
def _ahead(lines: Any, at: int, low: int, high: int) -> Any:
    """How far it is, along one axis, to the lines from `low` to `high`, m."""
    if at < low:
        return lines[low] - lines[at]
    if at > high:
        return lines[at] - lines[high]
    return 0.0


@_kernel
def shut_in(ex: Any, ey: Any, ez: Any, at: Any, most: int) -> Any:
    """Whether fewer than `most` nodes can be reached from one: walls or machines all round it."""
    nx, ny, nz = ex.shape
    seen = np.zeros(nx * ny * nz, dtype=np.bool_)
    todo = np.empty(most + 6, dtype=np.int64)
    todo[0] = (at[0] * ny + at[1]) * nz + at[2]
    seen[todo[0]] = True
    done, count = 0, 1
    while done < count:
        node = todo[done]
        done += 1
        k, j, i = node % nz, (node // nz) % ny, node // (nz * ny)
        for e in range(6):
            there, cost = node, SHUT
            if e == 0 and i + 1 < nx:
                there, cost = node + ny * nz, ex[i, j, k]
            elif e == 1 and i > 0:
                there, cost = node - ny * nz, ex[i - 1, j, k]
            elif e == 2 and j + 1 < ny:
                there, cost = node + nz, ey[i, j, k]
            elif e == 3 and j > 0:
                there, cost = node - nz, ey[i, j - 1, k]
            elif e == 4 and k + 1 < nz:
                there, cost = node + 1, ez[i, j, k]
            elif e == 5 and k > 0:
                there, cost = node - 1, ez[i, j, k - 1]
            if cost < SHUT and not seen[there]:
                seen[there] = True
                todo[count] = there
                count += 1
        if count >= most:
            return False
    return True


@_kernel
def _turns(i: int, j: int, k: int, goal: Any, d: int, last: int) -> int:
    """Fewest changes of direction from a node to the goal, going `d` and arriving `last`: one for
    each direction that must still be taken, and one to arrive where it is not gone already."""
    count, other = 0, False
    for axis in range(3):
        at = i if axis == 0 else j if axis == 1 else k
        if at != goal[axis]:
            e = 2 * axis + (1 if at > goal[axis] else 0)
            if e != d:
                other = True
                if e != last:
                    count += 1
    if d != last or other:
        count += 1
    return count


@_kernel
def find(
    xs: Any, ys: Any, zs: Any, ex: Any, ey: Any, ez: Any, px: Any, py: Any, pz: Any,
    start: Any, first: int, goal: Any, last: int, bend: float, via: Any,
) -> Any:  # fmt: skip
    """Nodes of the cheapest way from `start` to `goal` (indices), or an empty array.

    `ex`, `ey`, `ez` are costs a metre, `px`, `py`, `pz` what is added on a piece. `first` and
    `last` are the directions (0..5: east, west, north, south, up, down) of leaving and arriving;
    a change of direction costs `bend`. `via`: boxes that the way must touch in turn, as first and
    last line on each axis (columns: east, north, upright); the way counts its stages through them.
    """
    nx, ny, nz = len(xs), len(ys), len(zs)
    stages = via.shape[0]
    size_of_stage = nx * ny * nz * 6
    # Arrays are filled one by one: numba compiles text for a slice that might not fit.
    best = np.empty(size_of_stage * (stages + 1))
    came = np.empty(size_of_stage * (stages + 1), dtype=np.int64)
    for every in range(len(best)):
        best[every] = 1e18
    # Where a node lies is looked up: to divide takes longer than all else that a step does.
    at_x = np.empty(nx * ny * nz, dtype=np.int32)
    at_y = np.empty(nx * ny * nz, dtype=np.int32)
    at_z = np.empty(nx * ny * nz, dtype=np.int32)
    node = 0
    for i in range(nx):
        for j in range(ny):
            for k in range(nz):
                at_x[node], at_y[node], at_z[node] = i, j, k
                node += 1
    far_x, far_y, far_z = np.empty(nx), np.empty(ny), np.empty(nz)
    for i in range(nx):
        far_x[i] = abs(xs[i] - xs[goal[0]])
    for j in range(ny):
        far_y[j] = abs(ys[j] - ys[goal[1]])
    for k in range(nz):
        far_z[k] = abs(zs[k] - zs[goal[2]])
    room = 1 << 16
    heap = np.empty(room, dtype=np.int64)
    keys = np.empty(room, dtype=np.float64)
    at = ((start[0] * ny + start[1]) * nz + start[2]) * 6 + first
    best[at] = 0.0
    came[at] = -1
    heap[0] = at
    keys[0] = 0.0
    size = 1
    end = -1
    while size > 0:
        at = heap[0]
        f = keys[0]
        size = _pop(heap, keys, size)
        s = at // size_of_stage if stages else 0
        node = (at - s * size_of_stage) // 6
        d = at - s * size_of_stage - node * 6
        i, j, k = at_x[node], at_y[node], at_z[node]
        here = best[at]
        if s < stages:
            v = via[s]
            h = _ahead(xs, i, v[0], v[1]) + _ahead(ys, j, v[2], v[3]) + _ahead(zs, k, v[4], v[5])
        else:
            h = far_x[i] + far_y[j] + far_z[k] + bend * _turns(i, j, k, goal, d, last)
        if f > here + h + 1e-9:
            continue
        if s == stages and i == goal[0] and j == goal[1] and k == goal[2]:
            if d == last:
                end = at
                break
            turn = at - d + last
            if (d ^ 1) != last and here + bend < best[turn] - 1e-12:
                best[turn] = here + bend
                came[turn] = at
                size = _push(heap, keys, size, turn, here + bend)
            continue
        for e in range(6):
            if e == (d ^ 1):
                continue
            a, b, c, on = i, j, k, node
            if e == 0:
                if i + 1 >= nx:
                    continue
                cost, extra, long = ex[i, j, k], px[i, j, k], xs[i + 1] - xs[i]
                a, on = i + 1, node + ny * nz
            elif e == 1:
                if i == 0:
                    continue
                cost, extra, long = ex[i - 1, j, k], px[i - 1, j, k], xs[i] - xs[i - 1]
                a, on = i - 1, node - ny * nz
            elif e == 2:
                if j + 1 >= ny:
                    continue
                cost, extra, long = ey[i, j, k], py[i, j, k], ys[j + 1] - ys[j]
                b, on = j + 1, node + nz
            elif e == 3:
                if j == 0:
                    continue
                cost, extra, long = ey[i, j - 1, k], py[i, j - 1, k], ys[j] - ys[j - 1]
                b, on = j - 1, node - nz
            elif e == 4:
                if k + 1 >= nz:
                    continue
                cost, extra, long = ez[i, j, k], pz[i, j, k], zs[k + 1] - zs[k]
                c, on = k + 1, node + 1
            else:
                if k == 0:
                    continue
                cost, extra, long = ez[i, j, k - 1], pz[i, j, k - 1], zs[k] - zs[k - 1]
                c, on = k - 1, node - 1
            if cost >= SHUT or extra >= SHUT:
                continue
            g = here + cost * long + extra
            if e != d:
                g += bend
            t = s
            while t < stages:
                v = via[t]
                if a < v[0] or a > v[1] or b < v[2] or b > v[3] or c < v[4] or c > v[5]:
                    break
                t += 1
            there = t * size_of_stage + on * 6 + e
            if g < best[there] - 1e-12:
                best[there] = g
                came[there] = at
                if size + 1 >= room:
                    more = np.empty(room * 2, dtype=np.int64)
                    wide = np.empty(room * 2, dtype=np.float64)
                    for old in range(room):
                        more[old] = heap[old]
                        wide[old] = keys[old]
                    heap, keys = more, wide
                    room *= 2
                if t < stages:
                    v = via[t]
                    left = (_ahead(xs, a, v[0], v[1]) + _ahead(ys, b, v[2], v[3])
                            + _ahead(zs, c, v[4], v[5]))  # fmt: skip
                else:
                    left = far_x[a] + far_y[b] + far_z[c] + bend * _turns(a, b, c, goal, e, last)
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
        node = (at % size_of_stage) // 6
        way[step, 2] = node % nz
        way[step, 1] = (node // nz) % ny
        way[step, 0] = node // (nz * ny)
        at = came[at]
    return way


@_kernel
def _gap(a: Any, b: Any, c: Any, d: Any) -> Any:
    """Least distance of two pieces that run along axes: that of their boxes, m."""
    total = 0.0
    for i in range(3):
        low = max(min(a[i], b[i]), min(c[i], d[i]))
        high = min(max(a[i], b[i]), max(c[i], d[i]))
        if low > high:
            total += (low - high) ** 2
    return total**0.5


@_kernel
def touch(p: Any, q: Any, need: float, centres: Any, reach: float) -> Any:
    """Whether two ways come nearer than `need` anywhere but within `reach` of one of `centres`."""
    for i in range(len(p) - 1):
        for j in range(len(q) - 1):
            if _gap(p[i], p[i + 1], q[j], q[j + 1]) >= need - 1e-9:
                continue
            let_off = False
            for k in range(len(centres)):
                s = centres[k]
                if _gap(p[i], p[i + 1], s, s) < reach and _gap(q[j], q[j + 1], s, s) < reach:
                    let_off = True
            if not let_off:
                return True
    return False
