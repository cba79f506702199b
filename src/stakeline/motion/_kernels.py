"""Compiled loops of the motion filter and smoother. Plain arrays, no checks, nothing allocated.

State of one axis: position, velocity, and one or two Gauss-Markov noises (d = 3 or 4; 2 without);
the measurement is position + noises + white. Every array of states has one column for each
regressor and a last one for the data (c = p + 1 columns): all are filtered with the same gain.
"""

import numpy as np

from ..compiling import njit
from ..inference._kernels import rotate


@njit
def fill_step(span, parameters, step):
    """Fill step (9) with the transition and its noise over ``span``.

    parameters (6): intensity q, 1/memory of the velocity (0: random walk), and sigma, 1/memory of
    each noise. step: f, g of the velocity (position += f velocity, velocity *= g), decay of each
    noise, then variance of position, covariance, variance of velocity, variance of each noise.
    """
    q, rate = parameters[0], parameters[1]
    x = rate * span
    if x == 0.0:
        step[0], step[1] = span, 1.0
        step[4], step[5], step[6] = q * span**3 / 3.0, 0.5 * q * span**2, q * span
    elif x < 0.2:  # series of the closed forms, which cancel here
        term, f, q00, q01, q11 = 1.0, 0.0, 0.0, 0.0, 0.0
        power = 1.0  # 2^(n - 1)
        for n in range(1, 15):
            f += term / n
            q11 += power * term / n
            q01 += (power - 1.0) * term / n
            q00 += (power - 2.0) * term / n if n > 2 else 0.0
            term *= -x / n
            power *= 2.0
        step[0], step[1] = f * span, np.exp(-x)
        step[6] = q * q11 * span
        step[5] = -q * q01 * span / rate
        step[4] = q * q00 * span / rate**2
    else:
        g = np.exp(-x)
        step[0], step[1] = (1.0 - g) / rate, g
        step[6] = q * (1.0 - g * g) / (2.0 * rate)
        step[5] = q * (1.0 - g) ** 2 / (2.0 * rate**2)
        step[4] = q * (x - 2.0 * (1.0 - g) + 0.5 * (1.0 - g * g)) / rate**3
    for j in range(2):
        decay = np.exp(-parameters[3 + 2 * j] * span)
        step[2 + j] = decay
        step[7 + j] = parameters[2 + 2 * j] ** 2 * (1.0 - decay * decay)


@njit
def predict(step, state, cov):
    """Carry state (d, c) and covariance (d, d) over one step."""
    f, g = step[0], step[1]
    d = cov.shape[0]
    for k in range(state.shape[1]):
        state[0, k] += f * state[1, k]
        state[1, k] *= g
    for j in range(2, d):
        for k in range(state.shape[1]):
            state[j, k] *= step[j]
    cov[0, 0] += 2.0 * f * cov[0, 1] + f * f * cov[1, 1] + step[4]
    cov[0, 1] = g * (cov[0, 1] + f * cov[1, 1]) + step[5]
    for j in range(2, d):
        cov[0, j] = step[j] * (cov[0, j] + f * cov[1, j])
        cov[1, j] *= g * step[j]
        for k in range(j, d):
            cov[j, k] *= step[j] * step[k]
        cov[j, j] += step[5 + j]
    cov[1, 1] = g * g * cov[1, 1] + step[6]
    for j in range(d):
        for k in range(j):
            cov[j, k] = cov[k, j]


@njit
def update(variance, values, state, cov, gain, innovation):
    """Take in one measured row (c) of this variance; fill gain (d), innovation (c); return S.

    The covariance is updated in the form of Joseph (Bucy & Joseph 1968), which stays positive.
    """
    d = cov.shape[0]
    total = variance
    for j in range(d):
        gain[j] = cov[j, 0]
        for k in range(2, d):
            gain[j] += cov[j, k]
    for j in range(d):
        total += gain[j] if j != 1 else 0.0
    for k in range(values.size):
        innovation[k] = values[k] - state[0, k]
    for j in range(2, d):
        for k in range(values.size):
            innovation[k] -= state[j, k]
    before = total - variance
    for j in range(d):
        # the row of (I - K H) P times H', less K R: rounding only, yet what keeps P positive
        share = gain[j] / total
        rest = gain[j] - share * before - share * variance
        for k in range(j, d):
            other = gain[k] / total
            cov[j, k] += -share * gain[k] - rest * other
    for j in range(d):
        gain[j] /= total
        for k in range(j):
            cov[j, k] = cov[k, j]
        for k in range(values.size):
            state[j, k] += gain[j] * innovation[k]
    return total


@njit
def filter_block(
    time, table, variance, first, last, parameters, state, cov,
    steps, states, covs, gains, innovations, totals,
):  # fmt: skip
    """Filter rows first..last-1, from state and cov after row first-1; keep all of the block.

    variance (n) is infinite where a row is no measurement; totals is 0 there. Kept are the step
    into each row, and state and covariance after it.
    """
    span_before = -1.0
    for i in range(first, last):
        k = i - first
        span = time[i] - time[i - 1] if i > 0 else 0.0
        if span == span_before:
            for j in range(9):
                steps[k, j] = steps[k - 1, j]
        else:
            fill_step(span, parameters, steps[k])
        span_before = span
        predict(steps[k], state, cov)
        totals[k] = 0.0
        if np.isfinite(variance[i]):
            totals[k] = update(variance[i], table[i], state, cov, gains[k], innovations[k])
        for j in range(cov.shape[0]):
            for m in range(cov.shape[0]):
                covs[k, j, m] = cov[j, m]
            for m in range(state.shape[1]):
                states[k, j, m] = state[j, m]


@njit
def project(base, state, row, triangle, held, work):
    """Return (value, added variance) of one state row with the regression put in.

    base (p): what each regressor itself adds; the derivative of the estimate by each coefficient
    is ``base - state``. Solves triangle' work = derivative; infinite where it is not determined.
    """
    p = held.size
    value, added = state[row, p], 0.0
    for j in range(p):
        rest = base[j] - state[row, j]
        for k in range(j):
            rest -= triangle[k, j] * work[k]
        if held[j]:
            work[j] = rest / triangle[j, j]
        else:
            work[j] = 0.0
            if abs(rest) > 1e-9:
                added = np.inf
        value += work[j] * triangle[j, p]
        added += work[j] * work[j]
    return value, added


@njit
def regress_block(
    time, count, states, covs, innovations, totals, causal, triangle, held, base, work,
    standard, estimates,
):  # fmt: skip
    """Take the innovations of a block into the triangle; return the sum of the log variances.

    Fills standard (count) with the standardised innovations and, where ``causal``, estimates
    (count, 4): position, its variance, velocity, its variance, from the rows so far.
    """
    logarithms = 0.0
    for k in range(count):
        standard[k] = np.nan
        if totals[k] > 0.0:
            root = np.sqrt(totals[k])
            for j in range(work.size):
                work[j] = innovations[k, j] / root
            standard[k] = rotate(work, triangle, held)
            logarithms += np.log(totals[k])
        if causal:
            for row in range(2):
                base[0], base[1] = 1.0 - row, time[k] * (1.0 - row) + row
                value, added = project(base, states[k], row, triangle, held, work)
                estimates[k, 2 * row] = value
                estimates[k, 2 * row + 1] = covs[k, row, row] + added
    return logarithms


@njit
def backward_block(
    count, steps, states, covs, gains, innovations, totals, adjoint, weight, work, smoothed, spread
):
    """Smooth a block backwards from adjoint (d, c) and weight (d, d) after its last row.

    Modified Bryson-Frazier form (Bierman 1973, Automatica 9, 503): no matrix is inverted. Fills
    smoothed (count, 2, c) and spread (count, 2) of position and velocity; adjoint and weight
    leave as those after the row before the block.
    """
    d = weight.shape[0]
    for k in range(count - 1, -1, -1):
        for row in range(2):
            spread[k, row] = covs[k, row, row]
            for j in range(d):
                for m in range(d):
                    spread[k, row] -= covs[k, row, j] * weight[j, m] * covs[k, row, m]
            for c in range(adjoint.shape[1]):
                smoothed[k, row, c] = states[k, row, c] - covs[k, row, 0] * adjoint[0, c]
            for j in range(1, d):
                for c in range(adjoint.shape[1]):
                    smoothed[k, row, c] -= covs[k, row, j] * adjoint[j, c]
        if totals[k] > 0.0:
            measured_back(gains[k], innovations[k], totals[k], adjoint, weight, work)
        step_back(steps[k], adjoint, weight)


@njit
def measured_back(gain, innovation, total, adjoint, weight, work):
    """Carry adjoint and weight back over a measurement."""
    d = weight.shape[0]
    both = 1.0 / total
    for j in range(d):
        work[j] = 0.0
        for k in range(d):
            work[j] += weight[j, k] * gain[k]
    for j in range(d):
        both += gain[j] * work[j]
    for j in range(d):
        for k in range(d):
            if j != 1:
                weight[j, k] -= work[k]
            if k != 1:
                weight[j, k] -= work[j]
            if j != 1 and k != 1:
                weight[j, k] += both
    for c in range(adjoint.shape[1]):
        change = innovation[c] / total + gain[0] * adjoint[0, c] + gain[1] * adjoint[1, c]
        for j in range(2, d):
            change += gain[j] * adjoint[j, c]
        adjoint[0, c] -= change
        for j in range(2, d):
            adjoint[j, c] -= change


@njit
def step_back(step, adjoint, weight):
    """Carry adjoint and weight back over one step."""
    f, g = step[0], step[1]
    d = weight.shape[0]
    for c in range(adjoint.shape[1]):
        adjoint[1, c] = f * adjoint[0, c] + g * adjoint[1, c]
    for j in range(2, d):
        for c in range(adjoint.shape[1]):
            adjoint[j, c] *= step[j]
    weight[1, 1] = f * f * weight[0, 0] + 2.0 * f * g * weight[0, 1] + g * g * weight[1, 1]
    for j in range(2, d):
        weight[1, j] = step[j] * (f * weight[0, j] + g * weight[1, j])
        weight[0, j] *= step[j]
        for k in range(j, d):
            weight[j, k] *= step[j] * step[k]
    weight[0, 1] = f * weight[0, 0] + g * weight[0, 1]
    for j in range(d):
        for k in range(j):
            weight[j, k] = weight[k, j]
