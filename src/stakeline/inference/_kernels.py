"""Compiled loops of noise, responses and permutations. Plain arrays, no checks, no allocation."""

import numpy as np

from ..compiling import njit


@njit
def rotate(row, triangle, held):
    """Rotate one row [regressors, value] (p + 1) into a triangle (p + 1, p + 1); row is spent.

    Givens rotations (Golub & Van Loan 2013, algorithm 5.1.3): afterwards triangle[:p, :p] is the
    root of the normal matrix, its last column the transformed values. ``held[j]`` counts from
    False to True when column j first gets a diagonal. The last diagonal gathers the squared
    residuals; returned is the part of the row that the regressors could not have foretold, NaN
    where the row was used up by a new one.
    """
    p = row.size - 1
    fresh = False
    for j in range(p):
        if row[j] == 0.0:
            continue
        diagonal = triangle[j, j]
        radius = np.sqrt(diagonal * diagonal + row[j] * row[j])
        cosine, sine = diagonal / radius, row[j] / radius
        triangle[j, j] = radius
        for k in range(j + 1, p + 1):
            above = triangle[j, k]
            triangle[j, k] = cosine * above + sine * row[k]
            row[k] = cosine * row[k] - sine * above
        if not held[j]:
            held[j] = True
            fresh = True
            break
    if fresh:
        return np.nan
    triangle[p, p] = np.sqrt(triangle[p, p] ** 2 + row[p] * row[p])
    return row[p]


@njit
def memory_filter(time, table, ratio, memory, row, state, triangle, held):
    """Filter a Gauss-Markov process of unit variance plus white noise of variance ``ratio``.

    table (n, p + 1) holds regressors and values; row and state (p + 1) are work space. Fills
    triangle; returns the sum of the logarithms of the innovations' variances.
    """
    variance, logarithms = 1.0, 0.0
    state[:] = 0.0
    for i in range(time.size):
        if i > 0:
            decay = np.exp(-(time[i] - time[i - 1]) / memory)
            variance = decay * decay * variance + 1.0 - decay * decay
            for k in range(state.size):
                state[k] *= decay
        total = variance + ratio
        gain, root = variance / total, np.sqrt(total)
        for k in range(state.size):
            innovation = table[i, k] - state[k]
            state[k] += gain * innovation
            row[k] = innovation / root
        variance = gain * ratio
        logarithms += np.log(total)
        rotate(row, triangle, held)
    return logarithms


@njit
def memory_quadratic(time, weight, memory):
    """Return sum over i, j of weight_i weight_j exp(-|t_i - t_j| / memory), in one pass."""
    total, behind = 0.0, 0.0
    for i in range(time.size):
        if i > 0:
            behind *= np.exp(-(time[i] - time[i - 1]) / memory)
        total += weight[i] * (weight[i] + 2.0 * behind)
        behind += weight[i]
    return total


@njit
def shifted_statistics(
    contrast, present, push, place, weight, event, group, shifts, work, greatest
):
    """Fill greatest (draws, series): the largest absolute statistic of each series over its lags.

    contrast and present (n, series, lags) hold 0 where a contrast is missing; push (series, lags)
    is added to the contrast of each event. An event is a run
    of entries (place, weight) of equal ``event``, of weight 1 together; ``shifts`` (draws, groups)
    moves the places of each group around the record. work (4, series, lags) is work space.
    """
    n, series, lags = contrast.shape
    total, count, part, seen = work[0], work[1], work[2], work[3]
    for draw in range(shifts.shape[0]):
        total[:, :] = 0.0
        count[:, :] = 0.0
        entry = 0
        while entry < place.size:
            now = event[entry]
            part[:, :] = 0.0
            seen[:, :] = 0.0
            while entry < place.size and event[entry] == now:
                at = (place[entry] + shifts[draw, group[entry]]) % n
                for s in range(series):
                    for k in range(lags):
                        part[s, k] += weight[entry] * contrast[at, s, k]
                        seen[s, k] += weight[entry] * present[at, s, k]
                entry += 1
            for s in range(series):
                for k in range(lags):
                    if seen[s, k] >= 0.5:
                        total[s, k] += part[s, k] / seen[s, k] + push[s, k]
                        count[s, k] += 1.0
        for s in range(series):
            largest = 0.0
            for k in range(lags):
                if count[s, k] > 0.0:
                    largest = max(largest, abs(total[s, k]) / np.sqrt(count[s, k]))
            greatest[draw, s] = largest


@njit
def states_whiten(time, table, memories, variances, white, covariance, work, state, out):
    """Whiten the columns of a table under a sum of Gauss-Markov processes plus white noise.

    time (n,) ascending; table, out (n, c); memories, variances (k,); white (n,) the variances of
    the white noise; covariance (k, k), work (2, k) and state (k, c) are work space. One Kalman
    filter for all columns, since its gains do not know the values. Returns the sum of the
    logarithms of the innovations' variances.
    """
    kinds, columns = state.shape
    logarithms, step = 0.0, -1.0
    decay, gain = work[0], work[1]
    covariance[:, :] = 0.0
    state[:, :] = 0.0
    for k in range(kinds):
        covariance[k, k] = variances[k]
    for i in range(time.size):
        if i > 0:
            if time[i] - time[i - 1] != step:
                step = time[i] - time[i - 1]
                for k in range(kinds):
                    decay[k] = np.exp(-step / memories[k])
            for k in range(kinds):
                for m in range(kinds):
                    covariance[k, m] *= decay[k] * decay[m]
                covariance[k, k] += variances[k] * (1.0 - decay[k] * decay[k])
                for c in range(columns):
                    state[k, c] *= decay[k]
        total = white[i]
        for k in range(kinds):
            gain[k] = covariance[k].sum()
            total += gain[k]
        root = np.sqrt(total)
        for c in range(columns):
            expected = 0.0
            for k in range(kinds):
                expected += state[k, c]
            innovation = table[i, c] - expected
            for k in range(kinds):
                state[k, c] += gain[k] / total * innovation
            out[i, c] = innovation / root
        for k in range(kinds):
            for m in range(kinds):
                covariance[k, m] -= gain[k] * gain[m] / total
        logarithms += np.log(total)
    return logarithms


@njit
def shape_integral(since, rise, duration, decay):
    """Return the integral of one shape up to ``since`` after its beginning; 0 before it."""
    if since <= 0.0:
        return 0.0
    if since < rise:
        return 0.5 * since * since / rise
    late = since - rise
    if late <= duration:
        return 0.5 * rise + late
    area = 0.5 * rise + duration
    if decay <= 0.0:
        return area
    if np.isinf(decay):
        return area + late - duration
    return area - decay * np.expm1(-(late - duration) / decay)


@njit
def add_shapes(time, onset, last, table, width, out):
    """Add the mean shapes of one event to out (n, g); table (g, 4): lag, rise, duration, decay.

    ``last`` is added to the durations, ``width`` the interval that each value is a mean over.
    """
    half = 0.5 * width
    for g in range(table.shape[0]):
        rise, duration, decay = table[g, 1], table[g, 2] + last, table[g, 3]
        end = rise + duration
        scale = 0.0
        if decay > 0.0 and not np.isinf(decay):
            scale = -decay * np.expm1(-width / decay) / width
        for i in range(time.size):
            since = time[i] - onset - table[g, 0]
            if since + half <= 0.0 or since - half > end + 40.0 * decay:
                continue
            if since - half >= rise and since + half <= end:
                out[i, g] += 1.0
            elif since - half >= end and scale > 0.0:
                out[i, g] += scale * np.exp(-(since - half - end) / decay)
            else:
                upper = shape_integral(since + half, rise, duration, decay)
                out[i, g] += (upper - shape_integral(since - half, rise, duration, decay)) / width
