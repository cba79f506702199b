"""Compiled loops of the search for outliers. Plain arrays, no checks, nothing allocated."""

import numpy as np

from ..compiling import njit


@njit
def sort_short(values, count):
    """Sort the first ``count`` values in place (by insertion: they are few)."""
    for i in range(1, count):
        held = values[i]
        j = i - 1
        while j >= 0 and values[j] > held:
            values[j + 1] = values[j]
            j -= 1
        values[j + 1] = held


@njit
def middle(values, count):
    """Sort the first ``count`` values in place and return their median."""
    sort_short(values, count)
    half = count // 2
    return values[half] if count % 2 else 0.5 * (values[half - 1] + values[half])


@njit
def side_line(time, values, count, at, slopes, residuals):
    """Return the resistant line through ``count`` points at time ``at``; fill residuals (count).

    Slope: median of the slopes of the pairs half the side apart (no row is in more than two of
    them); level: median of what is left.
    """
    pairs = 0
    for apart in range(count // 2, count // 2 + 2):
        for j in range(count - apart):
            slopes[pairs] = (values[j + apart] - values[j]) / (time[j + apart] - time[j])
            pairs += 1
    slope = middle(slopes, pairs)
    for i in range(count):
        residuals[i] = values[i] - slope * (time[i] - at)
        slopes[i] = residuals[i]
    level = middle(slopes, count)
    for i in range(count):
        residuals[i] = abs(residuals[i] - level)
    return level


@njit
def side_rows(time, values, i, step, most, longest_gap, side_time, side_values):
    """Fill the neighbours of row i on one side (step -1 or 1) that no long gap parts from it."""
    count, j, last = 0, i + step, time[i]
    while count < most and 0 <= j < time.size:
        if abs(time[j] - last) > longest_gap:
            break
        if np.isfinite(values[j]):
            side_time[count], side_values[count] = time[j], values[j]
            count += 1
            last = time[j]
        j += step
    return count


@njit
def both_sides(
    time, values, most, least, longest_gap, side_time, side_values, slopes, residuals, found
):
    """Fill found (n, 4): misfit to the side before and after, local scale, sides judged (0-2).

    A row that is not finite has no misfit; its neighbours are judged without it.
    """
    for i in range(time.size):
        found[i, 0], found[i, 1], found[i, 2], found[i, 3] = np.nan, np.nan, np.nan, 0.0
        if not np.isfinite(values[i]):
            continue
        total = 0
        for side in range(2):
            step = 2 * side - 1
            count = side_rows(time, values, i, step, most, longest_gap, side_time, side_values)
            if count >= least:
                level = side_line(side_time, side_values, count, time[i], slopes, residuals[total:])
                found[i, side] = values[i] - level
                found[i, 3] += 1.0
                total += count
        if total > 0:
            found[i, 2] = middle(residuals, total)
