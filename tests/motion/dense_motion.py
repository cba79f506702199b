"""The motion model by dense algebra, apart from the code under test, and series drawn from it."""

import numpy as np
from scipy.linalg import cholesky, solve_triangular

from stakeline.constants import NS_PER_DAY


def epochs(days):
    """Return times [ns] and the days that they really are."""
    time_ns = np.round(np.asarray(days) * NS_PER_DAY).astype(np.int64)
    return time_ns, time_ns / NS_PER_DAY


def covariances(model, t, u, start=0.0):
    """Return cov(position t, position u), cov(velocity t, position u), cov(v t, v u).

    Times are days after ``start``, a day of the count of the model's changes.
    """
    a, b = np.asarray(t)[:, None], np.asarray(u)[None, :]
    if model.change_ns:
        return in_parts(model, a, b, start)
    q, memory = model.acceleration_m2_d3, model.velocity_memory_d
    low, high = np.minimum(a, b), np.maximum(a, b)
    if np.isinf(memory):  # integrated Wiener process: Rasmussen & Williams (2006), section 6.3
        return (
            q * low**2 * (3 * high - low) / 6,
            q * np.where(b < a, b**2 / 2, a * b - a**2 / 2),
            q * low,
        )
    # integrated Ornstein-Uhlenbeck process: double integral of its exponential covariance
    s = 0.5 * q * memory
    e = np.exp
    pp = (
        s
        * memory
        * (2 * low + memory * (e(-a / memory) + e(-b / memory) - 1 - e(-(high - low) / memory)))
    )
    vp = np.where(
        b < a,
        s * memory * (e(-(a - b) / memory) - e(-a / memory)),
        s * memory * (2 - e(-a / memory) - e(-(b - a) / memory)),
    )
    return pp, vp, s * e(-(high - low) / memory)


def in_parts(model, a, b, start):
    """The same of an integrated random walk whose q changes: integrals of q (a - s) (b - s)."""
    changes = np.array(model.change_ns) / NS_PER_DAY - start
    edges = [0.0, *np.maximum(changes, 0.0), np.inf]
    found = np.zeros((3, *np.broadcast_shapes(a.shape, b.shape)))
    for first, last, factor in zip(edges[:-1], edges[1:], (1.0, *model.change_factor), strict=True):
        for sign, s in ((1.0, np.minimum(last, np.minimum(a, b))), (-1.0, first)):
            s = np.minimum(s, np.minimum(a, b))
            whole = a * b * s - (a + b) * s**2 / 2 + s**3 / 3, b * s - s**2 / 2, s + 0.0 * a * b
            found += sign * factor * model.acceleration_m2_d3 * np.stack(whole)
    return tuple(found)


def noise_covariance(model, t, sigma):
    lag = np.abs(np.subtract.outer(t, t))
    pairs = zip(model.coloured_sigma_m, model.coloured_memory_d, strict=True)
    coloured = sum((s * s * np.exp(-lag / m) for s, m in pairs), np.zeros_like(lag))
    return coloured + np.diag((model.white_scale * sigma) ** 2)


def generalised_least_squares(model, t, y, sigma, design, at):
    """Return a dictionary of estimates at ``at``; the state starts at the least time of all."""
    start = min(t[0], at[0])
    measured = np.isfinite(y)
    own, y = t[measured], y[measured]
    a = np.column_stack([np.ones(len(own)), own - t[measured][0], design[measured]])
    pp, _, _ = covariances(model, own - start, own - start, start)
    # whitened by the root of the covariance: an inverse would lose half of the digits
    root = cholesky(pp + noise_covariance(model, own, sigma[measured]), lower=True)
    white_a, white_y = (solve_triangular(root, x, lower=True) for x in (a, y))
    cov = np.linalg.inv(white_a.T @ white_a)
    beta = np.linalg.lstsq(white_a, white_y, rcond=None)[0]
    away = white_y - white_a @ beta
    pos, vel, _ = covariances(model, at - start, own - start, start)
    pos_all, _, vel_all = covariances(model, at - start, at - start, start)
    base_p = np.zeros((len(at), a.shape[1]))
    base_p[:, 0], base_p[:, 1] = 1.0, at - own[0]
    base_v = np.zeros_like(base_p)
    base_v[:, 1] = 1.0
    found = {"beta": beta, "cov": cov}
    for name, cross, whole, base in (("p", pos, pos_all, base_p), ("v", vel, vel_all, base_v)):
        share = solve_triangular(root, cross.T, lower=True)
        d = base - share.T @ white_a
        found[name] = base @ beta + share.T @ away
        variance = np.diag(whole) - (share**2).sum(axis=0) + np.einsum("ij,jk,ik->i", d, cov, d)
        found[f"{name}_sigma"] = np.sqrt(variance)
    logs = 2.0 * np.log(np.diag(root)).sum() - np.linalg.slogdet(cov)[1]
    free = len(own) - a.shape[1]
    found["likelihood"] = -0.5 * (logs + free * np.log(2 * np.pi) + away @ away)
    return found


def drawn(model, generator, n, interval_d, sigma_m, speed_m_d=1.0):
    """Return (days, true velocity, true position, measured) of one evenly sampled draw."""
    days = np.arange(n) * interval_d
    steps = np.sqrt(model.acceleration_m2_d3 * interval_d) * generator.standard_normal(n)
    keep = np.exp(-interval_d / model.velocity_memory_d)
    velocity = np.zeros(n)
    for i in range(1, n):
        velocity[i] = keep * velocity[i - 1] + steps[i]
    velocity += speed_m_d
    middle = 0.5 * (velocity[1:] + velocity[:-1])
    # between epochs the position wanders about the trapezium: variance q interval^3 / 12
    bridge = np.sqrt(model.acceleration_m2_d3 * interval_d**3 / 12) * generator.standard_normal(
        n - 1
    )
    position = np.concatenate([[0.0], np.cumsum(middle * interval_d + bridge)])
    noise = model.white_scale * sigma_m * generator.standard_normal(n)
    for s, m in zip(model.coloured_sigma_m, model.coloured_memory_d, strict=True):
        noise += memory_noise(generator, n, s, np.exp(-interval_d / m))
    return days, velocity, position, position + noise


def memory_noise(generator, n, sigma, keep):
    noise = sigma * generator.standard_normal(n)
    for i in range(1, n):
        noise[i] = keep * noise[i - 1] + np.sqrt(1 - keep**2) * noise[i]
    return noise
