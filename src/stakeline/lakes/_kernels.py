"""Compiled loops of the water's way, over flat grids with a border of one missing cell.

Directions are counted 0 to 7 from the next column over the next row, turning: even ones go along
the axes, odd ones along the diagonals. ``offsets`` (8,) are the steps in the flat grid. A missing
cell has level NaN: no comparison with it is ever true, so nothing is routed through it.
"""

import numpy as np

from ..compiling import njit

EXIT = -1  # direction of a cell where water leaves the grid
DRY = -2  # of a cell that the flood has not reached


@njit
def _push(key, cell, size, new_key, new_cell):
    """Put into a binary heap of ``size`` entries, the smallest first; return the new size."""
    place = size
    while place > 0:
        above = (place - 1) >> 1
        if key[above] <= new_key:
            break
        key[place] = key[above]
        cell[place] = cell[above]
        place = above
    key[place] = new_key
    cell[place] = new_cell
    return size + 1


@njit
def _pop(key, cell, size):
    """Take the first entry off a binary heap; return the new size."""
    size -= 1
    last_key, last_cell = key[size], cell[size]
    place = 0
    below = 1
    while below < size:
        if below + 1 < size and key[below + 1] < key[below]:
            below += 1
        if key[below] >= last_key:
            break
        key[place] = key[below]
        cell[place] = cell[below]
        place = below
        below = 2 * place + 1
    key[place] = last_key
    cell[place] = last_cell
    return size


@njit
def flood(leaves, offsets, low, scale, first, after, level, back, order, key, cell):
    """Raise the water from all exits at once, lowest first; return how many cells it reached.

    ``level`` comes in as the head (NaN where missing) and gets its sinks filled. ``back`` comes in
    as ``DRY`` (``EXIT`` where missing) and becomes the direction to the cell that the flood came
    from, ``EXIT`` where it began; it is small, so that asking it first spares the memory. ``order``
    becomes the cells in the order of the flood, never falling, and is at the same time the queue of
    what lies at the present level: sinks and flats are reached by the fewest steps from their
    outlet. Cells that wait lie in steps of height (number ``(level - low) * scale``) as linked
    lists, ``first`` (-1: none) and ``after``; only those of the present step are sorted, in the
    heap ``key`` and ``cell``.
    """
    step = size = count = at = 0
    for c in range(level.size):
        if leaves[c]:
            back[c] = EXIT
            s = int((level[c] - low) * scale)
            after[c] = first[s]
            first[s] = c
    while True:
        while size == 0 and step < first.size:
            c = first[step]
            while c >= 0:
                size = _push(key, cell, size, level[c], c)
                c = after[c]
            step += size == 0
        if size == 0:
            return count
        first[step] = -1
        now = key[0]
        while size > 0 and key[0] == now:
            order[count] = cell[0]
            count += 1
            size = _pop(key, cell, size)
        while at < count:
            c = order[at]
            at += 1
            for k in range(8):
                d = 2 * k if k < 4 else 2 * k - 7  # along the axes first
                n = c + offsets[d]
                if back[n] == DRY:
                    back[n] = (d + 4) & 7
                    if level[n] <= now:
                        level[n] = now
                        order[count] = n
                        count += 1
                        continue
                    s = int((level[n] - low) * scale)
                    if s == step:
                        size = _push(key, cell, size, level[n], n)
                    else:
                        after[n] = first[s]
                        first[s] = n


@njit
def steepest(level, back, offsets, distance, c):
    """Return the direction of the steepest fall; on a flat the way the flood came."""
    best, found = 0.0, back[c]
    for d in range(8):
        slope = (level[c] - level[c + offsets[d]]) / distance[d]
        if slope > best:
            best, found = slope, d
    return found


@njit
def accumulate(level, back, order, count, offsets, distance, breadth, exponent, flow):
    """Let ``flow`` (in: what each cell adds; out: what passes through it) run down, all of it.

    A cell shares out among its lower neighbours by ``breadth`` times slope to the power
    ``exponent`` (infinite: all to the steepest); where none is lower (sinks, flats) all goes the
    way the flood came.
    """
    single = exponent == np.inf
    steepness = 1.0 / distance
    share = np.empty(8)
    for i in range(count - 1, -1, -1):
        c = order[i]
        if back[c] == EXIT:
            continue
        if single:
            flow[c + offsets[steepest(level, back, offsets, distance, c)]] += flow[c]
            continue
        total = 0.0
        for d in range(8):
            drop = level[c] - level[c + offsets[d]]
            share[d] = 0.0
            if drop > 0.0:
                slope = drop * steepness[d]
                share[d] = breadth[d] * (slope if exponent == 1.0 else slope**exponent)
                total += share[d]
        if total == 0.0:
            flow[c + offsets[back[c]]] += flow[c]
            continue
        part = flow[c] / total
        for d in range(8):
            if share[d] > 0.0:
                flow[c + offsets[d]] += part * share[d]


@njit
def label(level, back, order, count, offsets, distance, place):
    """Give every cell without a ``place`` (0) that of the cell it drains to by steepest fall."""
    for i in range(count):
        c = order[i]
        if place[c] == 0 and back[c] != EXIT:
            place[c] = place[c + offsets[steepest(level, back, offsets, distance, c)]]


@njit
def _facet(level, offsets, distance, c, d):
    """Return slope and angle from the axis of the steepest fall between axis and diagonal d."""
    axis = d if d & 1 == 0 else (d + 1) & 7
    diagonal = d if d & 1 == 1 else (d + 1) & 7
    along = distance[axis]
    across = distance[(axis + 2) & 7]
    first = (level[c] - level[c + offsets[axis]]) / along
    second = (level[c + offsets[axis]] - level[c + offsets[diagonal]]) / across
    if second <= 0.0:
        return first, 0.0
    widest = np.arctan2(across, along)
    angle = np.arctan2(second, first)
    if angle > widest or first < 0.0:
        return (level[c] - level[c + offsets[diagonal]]) / distance[diagonal], widest
    return np.hypot(first, second), angle


@njit
def _next(level, back, offsets, distance, c, off):
    """Return the next direction by least deviation, and the deviation after it."""
    best, facet, angle = 0.0, -1, 0.0
    for d in range(8):
        slope, turn = _facet(level, offsets, distance, c, d)
        if slope > best:
            best, facet, angle = slope, d, turn
    if facet < 0:
        return steepest(level, back, offsets, distance, c), 0.0
    # facets from an axis to the diagonal after it turn one way, the others the other way
    axis, diagonal, sign = facet, (facet + 1) & 7, 1.0
    if facet & 1 == 1:
        axis, diagonal, sign = diagonal, facet, -1.0
    widest = np.arctan2(distance[(axis + 2) & 7], distance[axis])
    by_axis = off + sign * distance[axis] * np.sin(angle)
    by_diagonal = off - sign * distance[diagonal] * np.sin(widest - angle)
    on_axis = level[c + offsets[axis]] < level[c]
    on_diagonal = level[c + offsets[diagonal]] < level[c]
    if on_axis and (not on_diagonal or abs(by_axis) <= abs(by_diagonal)):
        return axis, by_axis
    if on_diagonal:
        return diagonal, by_diagonal
    return steepest(level, back, offsets, distance, c), 0.0


@njit
def trace(level, back, offsets, distance, start, path):
    """Follow the water from a cell to where it leaves; return how many cells ``path`` got.

    Of the two cells beside the steepest fall the one is taken that keeps the path nearest to a
    true line of fall since it began (least transversal deviation, all of it remembered).
    """
    c, off, count = start, 0.0, 1
    path[0] = c
    while back[c] != EXIT:
        d, off = _next(level, back, offsets, distance, c, off)
        c += offsets[d]
        path[count] = c
        count += 1
    return count
