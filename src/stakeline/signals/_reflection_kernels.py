"""Compiled search of arcs for the swing that a reflection leaves in the signal strength."""

import numpy as np

from ..compiling import njit

TREND = 4  # columns of the direct wave's strength: a cubic in sin(e)
SUMS = 12  # of each trial height: y c, y s, s s, c s, and c and s by each column of the trend
FACTS = 7  # told of each arc: height, sigma, amplitude, share, ratio, cells, trouble
SOUND, TOO_FEW, TOO_SHORT, AT_EDGE = 0, 1, 2, 3  # trouble
FINE = 17  # trial heights around the highest one


@njit
def arc_swings(sine, strength_dB, wavelength_m, start, between_m, limits, sizes, facts):
    """Fill ``facts`` (arcs, FACTS) of arcs ``start[k]:start[k + 1]``; NaN where there is none.

    ``between_m``: lowest and highest possible height; ``limits``: least samples, least swings in
    an arc, trial heights by resolution cell; ``sizes``: samples of the longest arc and the most
    trial heights, for the work arrays.
    """
    x, y, trend = np.empty(sizes[0]), np.empty(sizes[0]), np.empty((TREND, sizes[0]))
    work = np.empty((SUMS + 4, sizes[1]))
    for arc in range(start.size - 1):
        first, n = start[arc], start[arc + 1] - start[arc]
        row = facts[arc]
        row[:] = np.nan
        row[6] = TOO_FEW
        if n < limits[0]:
            continue
        span = 0.0
        for k in range(n):
            span = max(span, abs(sine[first + k] - sine[first]))
            x[k] = sine[first + k]
            y[k] = 10.0 ** (strength_dB[first + k] / 20.0)
        wavelength = wavelength_m[first]
        low = max(between_m[0], limits[1] * wavelength / (2.0 * span))
        high = min(between_m[1], wavelength * (n - 1) / (4.0 * span))
        row[6] = TOO_SHORT
        if high - low >= wavelength / span:
            step = wavelength / (2.0 * span * limits[2])
            search(x[:n], y[:n], trend, span, wavelength, low, high, step, work, row)


@njit
def search(x, y, trend, span, wavelength, low, high, step, work, row):
    """Fill the facts of one arc from all trial heights between ``low`` and ``high``."""
    n, count = x.size, int(np.ceil((high + step - low) / step))
    total = without_trend(x, y, trend, span)
    turn = 4.0 * np.pi / wavelength
    powers(x, y, trend, turn, low, step, count, work)
    best = low + step * np.argmax(work[0, :count])
    rest = powers_apart(work[0, :count], low, step, best, 2.0 * wavelength / (2.0 * span))
    finer = 2.0 * step / (FINE - 1)
    powers(x, y, trend, turn, best - step, finer, FINE, work)
    top = np.argmax(work[0, :FINE])
    power, amplitude = work[0, top], work[1, top]
    noise = np.sqrt(max(total - power, 0.0) / (n - TREND - 2))
    row[0] = best - step + finer * (top + summit(work[0, :FINE], top))
    # Rife & Boorstyn (1974), IEEE Trans. Inf. Theory 20, 591: sigma of a frequency
    row[1] = np.sqrt(6.0 / n) * noise / (np.pi * max(amplitude, 1e-12) * span)
    row[1] *= 0.5 * wavelength
    row[2] = amplitude
    row[3] = min(power / total, 1.0) if total > 0.0 else 0.0
    row[4] = np.sqrt(power / rest) if rest > 0.0 else np.inf
    row[5] = 4.0 * (high - low) * span / wavelength
    row[6] = SOUND if low + step < row[0] < high - step else AT_EDGE


@njit
def summit(power, top):
    """Return by how much of a step the summit of a parabola lies beyond the highest value."""
    if top == 0 or top == power.size - 1:
        return 0.0
    below, above = power[top] - power[top - 1], power[top] - power[top + 1]
    return 0.5 * (below - above) / (below + above) if below + above > 0.0 else 0.0


@njit
def without_trend(x, y, trend, span):
    """Scale ``y`` to a mean of 1, fill the orthonormal ``trend``, take it off; return the squares.

    ``x`` comes back with its mean taken off: a change of phase that the sine wave takes up.
    """
    n = x.size
    middle, level = np.mean(x), np.mean(y)
    for k in range(n):
        x[k] -= middle
        y[k] /= level
        trend[0, k] = 1.0
        for i in range(1, TREND):
            trend[i, k] = trend[i - 1, k] * x[k] / span
    for i in range(TREND):
        for j in range(i):
            take_off(trend[i], trend[j], n)
        squares = 0.0
        for k in range(n):
            squares += trend[i, k] * trend[i, k]
        for k in range(n):
            trend[i, k] /= np.sqrt(squares)
        take_off(y, trend[i], n)
    squares = 0.0
    for k in range(n):
        squares += y[k] * y[k]
    return squares


@njit
def take_off(column, unit, n):
    """Take its part along ``unit`` off ``column``."""
    part = 0.0
    for k in range(n):
        part += column[k] * unit[k]
    for k in range(n):
        column[k] -= part * unit[k]


@njit
def turns(begin, step, c, s):
    """Fill cosines and sines of ``begin + k step``, by doubling what is there."""
    c[0], s[0] = np.cos(begin), np.sin(begin)
    here, by_c, by_s = 1, np.cos(step), np.sin(step)
    while here < c.size:
        for k in range(min(here, c.size - here)):
            c[here + k] = c[k] * by_c - s[k] * by_s
            s[here + k] = s[k] * by_c + c[k] * by_s
        here *= 2
        by_c, by_s = by_c * by_c - by_s * by_s, 2.0 * by_c * by_s


@njit
def powers(x, y, trend, turn, first_m, step_m, count, work):
    """Fill rows 0 and 1 of ``work``: the squares a sine wave takes at each height, its amplitude.

    The sine wave is fitted together with the trend, of which ``y`` is free: least squares with
    what the trend takes of cosine and sine left out.
    """
    n, c, s, sums = x.size, work[2, :count], work[3, :count], work[4:]
    sums[:] = 0.0
    for k in range(n):
        turns(turn * x[k] * first_m, turn * x[k] * step_m, c, s)
        add(y[k], c, sums[0])
        add(y[k], s, sums[1])
        for i in range(TREND):
            add(trend[i, k], c, sums[4 + i])
            add(trend[i, k], s, sums[8 + i])
        add_products(s, s, sums[2])
        add_products(c, s, sums[3])
    for j in range(count):
        cc, ss, cs = n - sums[2, j], sums[2, j], sums[3, j]
        for i in range(4, 4 + TREND):
            cc -= sums[i, j] * sums[i, j]
            ss -= sums[i + 4, j] * sums[i + 4, j]
            cs -= sums[i, j] * sums[i + 4, j]
        determinant = max(cc * ss - cs * cs, 1e-12 * cc * ss + 1e-300)
        a = (ss * sums[0, j] - cs * sums[1, j]) / determinant
        b = (cc * sums[1, j] - cs * sums[0, j]) / determinant
        work[0, j] = a * sums[0, j] + b * sums[1, j]
        work[1, j] = np.sqrt(a * a + b * b)


@njit
def add(weight, column, total):
    """Add a weighted column to a total; a loop of its own, so that the compiler takes it wide."""
    for j in range(column.size):
        total[j] += weight * column[j]


@njit
def add_products(one, other, total):
    """Add the products of two columns to a total."""
    for j in range(one.size):
        total[j] += one[j] * other[j]


@njit
def powers_apart(power, low, step, best, distance):
    """Return the mean power of trial heights further than ``distance`` from the best; 0: none."""
    total, count = 0.0, 0
    for k in range(power.size):
        if abs(low + k * step - best) > distance:
            total += power[k]
            count += 1
    return total / count if count else 0.0
