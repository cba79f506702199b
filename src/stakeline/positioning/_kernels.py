"""Compiled elimination in time order: the filter goes forward, the smoother backward.

The state vector has ``d`` entries: receiver clock, east, north, up, their three velocities, zenith
wet delay, two gradients, system biases, then one slot for each ambiguity alive. One step only
changes a state in time: a random walk of entry ``i`` whose inverse variance is ``w`` (0: the entry
starts anew, as the clock does at each epoch and a slot at the start of an arc).

Of the matrix only the rows of the first entries and the lower triangle of the others are kept up;
:func:`mirror` fills the rest for who needs it.

Information form: with information matrix ``a`` and vector ``b``, the old entry x_i given all
others and the new x_i' is (b_i + w x_i' - sum_j a_ij x_j) / (a_ii + w). The row is kept for the
way back; the others lose its share (one rank-one update).
"""

from ..compiling import njit

LOCAL = 10  # entries before the system biases


@njit
def walk(a, b, i, w, rows, offsets, pivots, at):
    """Eliminate entry ``i``, keep its row at ``at``, and put its successor in its place."""
    walk_above(a, b, i, w, rows, offsets, pivots, at, a.shape[0])


@njit
def walk_above(a, b, i, w, rows, offsets, pivots, at, height):
    """Do as :func:`walk`, for the first ``height`` rows of ``a`` alone; ``i`` is one of them.

    :func:`settle` owes the others their share.
    """
    d = a.shape[0]
    pivot = a[i, i] + w
    if pivot <= 0.0:
        pivot = 1e-12
    row = rows[at]
    own = a[i]
    for j in range(d):
        row[j] = -own[j] / pivot
    row[i] = 0.0
    bi = b[i]
    for j in range(d):
        b[j] += row[j] * bi
    for j in range(height):
        factor = row[j]
        if factor == 0.0:
            continue
        for k in range(d):
            a[j, k] += factor * own[k]
    for j in range(d):
        own[j] = -w * row[j]
    for j in range(height):
        a[j, i] = own[j]
    a[i, i] = w - w * w / pivot if w > 0.0 else 0.0
    row[i] = w / pivot
    offsets[at] = bi / pivot
    pivots[at] = pivot
    b[i] = bi * w / pivot


@njit
def shear(a, b, i, j, factor, height):
    """Change variables: the new x_i is x_i + factor * x_j; in the first ``height`` rows."""
    for k in range(a.shape[0]):
        a[j, k] -= factor * a[i, k]
    for k in range(height):
        a[k, j] -= factor * a[k, i]
    b[j] -= factor * b[i]


@njit
def settle(a, rows, pivots, begin, end, height):
    """Give the rows from ``height`` on the share of walks ``begin`` to ``end`` above.

    Five walks at a time, in the lower triangle alone; :func:`mirror` fills the rest.
    """
    d = a.shape[0]
    for j in range(height, d):
        own = a[j]
        at = begin
        while at + 5 <= end:
            r0, r1, r2, r3, r4 = rows[at], rows[at + 1], rows[at + 2], rows[at + 3], rows[at + 4]
            f0, f1, f2 = pivots[at] * r0[j], pivots[at + 1] * r1[j], pivots[at + 2] * r2[j]
            f3, f4 = pivots[at + 3] * r3[j], pivots[at + 4] * r4[j]
            at += 5
            if f0 == 0.0 and f1 == 0.0 and f2 == 0.0 and f3 == 0.0 and f4 == 0.0:
                continue
            for k in range(height, j + 1):
                own[k] -= f0 * r0[k] + f1 * r1[k] + f2 * r2[k] + f3 * r3[k] + f4 * r4[k]
        for rest in range(at, end):
            factor = pivots[rest] * rows[rest, j]
            if factor == 0.0:
                continue
            for k in range(height, j + 1):
                own[k] -= factor * rows[rest, k]


@njit
def mirror(a, height):
    """Fill what :func:`settle` leaves: columns up to ``height``, and the upper triangle beyond."""
    for j in range(height, a.shape[0]):
        for k in range(height):
            a[j, k] = a[k, j]
        for k in range(height, j):
            a[k, j] = a[j, k]


@njit
def retire(a, b, i, rows, offsets, pivots, at, height):
    """Eliminate entry ``i`` from ``height`` on for good, from the part that :func:`settle` keeps.

    That part are the first ``height`` rows, and the lower triangle of the others.
    """
    d = a.shape[0]
    pivot = a[i, i] if a[i, i] > 0.0 else 1e-12
    row = rows[at]
    for j in range(height):
        row[j] = -a[j, i] / pivot
    for j in range(height, i):
        row[j] = -a[i, j] / pivot
    for j in range(i, d):
        row[j] = -a[j, i] / pivot
    row[i] = 0.0
    for j in range(d):
        factor = pivot * row[j]
        b[j] += row[j] * b[i]
        if factor != 0.0:
            for k in range(0 if j < height else height, d if j < height else j + 1):
                a[j, k] -= factor * row[k]
    for j in range(d):
        a[i, j] = a[j, i] = 0.0
    offsets[at] = b[i] / pivot
    pivots[at] = pivot
    b[i] = 0.0


@njit
def move_forward(a, b, dt, noise, moving, rows, offsets, pivots, at):
    """Carry the state over ``dt``; return the next free row.

    ``noise``: velocity walk (variance per s), position walk, zenith walk, gradient walk, and extra
    position variance of this step. Velocity walk: exact discretisation of white acceleration.
    """
    begin = at
    walk_above(a, b, 0, 0.0, rows, offsets, pivots, at, LOCAL)
    at += 1
    if moving:
        for i in range(1, 4):
            shear(a, b, i, i + 3, 0.5 * dt, LOCAL)
            variance = noise[0] * dt**3 / 12.0 + noise[1] * dt + noise[4]
            if variance > 0.0:
                walk_above(a, b, i, 1.0 / variance, rows, offsets, pivots, at, LOCAL)
                at += 1
            if noise[0] > 0.0:
                w = 1.0 / (noise[0] * dt)
                walk_above(a, b, i + 3, w, rows, offsets, pivots, at, LOCAL)
                at += 1
            shear(a, b, i, i + 3, 0.5 * dt, LOCAL)
    for i in range(7, 10):
        variance = (noise[2] if i == 7 else noise[3]) * dt
        walk_above(a, b, i, 1.0 / variance, rows, offsets, pivots, at, LOCAL)
        at += 1
    settle(a, rows, pivots, begin, at, LOCAL)
    return at


@njit
def pass_on(b, i, row, pivot):
    """Do to the vector alone what :func:`walk` or :func:`retire` did; return the row's offset."""
    bi = b[i]
    for j in range(b.shape[0]):
        b[j] += row[j] * bi
    b[i] = row[i] * bi
    return bi / pivot


@njit
def move_values(b, dt, noise, moving, rows, offsets, pivots, at):
    """Carry the vector alone over ``dt``, with the rows that :func:`move_forward` has kept."""
    offsets[at] = pass_on(b, 0, rows[at], pivots[at])
    at += 1
    if moving:
        for i in range(1, 4):
            b[i + 3] -= 0.5 * dt * b[i]
            if noise[0] * dt**3 / 12.0 + noise[1] * dt + noise[4] > 0.0:
                offsets[at] = pass_on(b, i, rows[at], pivots[at])
                at += 1
            if noise[0] > 0.0:
                offsets[at] = pass_on(b, i + 3, rows[at], pivots[at])
                at += 1
            b[i + 3] -= 0.5 * dt * b[i]
    for i in range(7, 10):
        offsets[at] = pass_on(b, i, rows[at], pivots[at])
        at += 1
    return at


@njit
def add_observation(a, b, index, partial, count, weight, value):
    """Add one observation with ``count`` non-zero partials at ``index``."""
    for p in range(count):
        i = index[p]
        wp = weight * partial[p]
        b[i] += wp * value
        for q in range(count):
            a[i, index[q]] += wp * partial[q]


@njit
def undo_walk(x, c, i, row, offset, pivot, spread, work):
    """Turn entry ``i`` back into its predecessor; with ``spread`` the covariance ``c`` too."""
    d = x.shape[0]
    value = offset
    for j in range(d):
        value += row[j] * x[j]
    x[i] = value
    if not spread:
        return
    work[:] = 0.0
    for j in range(d):
        if row[j] != 0.0:
            for k in range(d):
                work[k] += row[j] * c[j, k]
    variance = 1.0 / pivot
    for j in range(d):
        variance += row[j] * work[j]
    for j in range(d):
        c[i, j] = work[j]
        c[j, i] = work[j]
    c[i, i] = variance


@njit
def undo_shear(x, c, i, j, factor, spread):
    """Undo :func:`shear` in the estimates and their covariance."""
    x[i] -= factor * x[j]
    if spread:
        for k in range(x.shape[0]):
            c[i, k] -= factor * c[j, k]
        for k in range(x.shape[0]):
            c[k, i] -= factor * c[k, j]


@njit
def move_backward(x, c, dt, noise, moving, rows, offsets, pivots, at, spread, work):
    """Undo :func:`move_forward`; ``at`` is one past its last row. Returns its first row."""
    for i in range(9, 6, -1):
        at -= 1
        undo_walk(x, c, i, rows[at], offsets[at], pivots[at], spread, work)
    if moving:
        for i in range(3, 0, -1):
            undo_shear(x, c, i, i + 3, 0.5 * dt, spread)
            if noise[0] > 0.0:
                at -= 1
                undo_walk(x, c, i + 3, rows[at], offsets[at], pivots[at], spread, work)
            if noise[0] * dt**3 / 12.0 + noise[1] * dt + noise[4] > 0.0:
                at -= 1
                undo_walk(x, c, i, rows[at], offsets[at], pivots[at], spread, work)
            undo_shear(x, c, i, i + 3, 0.5 * dt, spread)
    at -= 1
    undo_walk(x, c, 0, rows[at], offsets[at], pivots[at], spread, work)
    return at
