"""Compiled numerical integration of satellite orbits with their partial derivatives."""

import math

import numpy as np

from ..compiling import njit
from ..constants import (
    ASTRONOMICAL_UNIT_M,
    EARTH_RADIUS_M,
    GM_EARTH_M3_S2,
    GM_MOON_M3_S2,
    GM_SUN_M3_S2,
    SPEED_OF_LIGHT_M_S,
)

_FORCES = 8
_COLUMNS = 7 + _FORCES
"""The state, six partials for its start and those for the empirical accelerations."""


@njit
def gravity(x, y, z, c, s, v, w, out):
    """Fill ``out`` (3,) with the Earth-fixed pull of a field with unnormalised ``c``, ``s``.

    Montenbruck & Gill (2000), equations 3.27 to 3.33 (Cunningham's recursion); ``v`` and ``w``
    are work arrays (degree + 2, degree + 2).
    """
    degree = c.shape[0] - 1
    r2 = x * x + y * y + z * z
    rho = EARTH_RADIUS_M**2 / r2
    x0, y0, z0 = EARTH_RADIUS_M * x / r2, EARTH_RADIUS_M * y / r2, EARTH_RADIUS_M * z / r2
    v[0, 0], w[0, 0] = EARTH_RADIUS_M / math.sqrt(r2), 0.0
    for m in range(degree + 2):
        if m > 0:
            v[m, m] = (2 * m - 1) * (x0 * v[m - 1, m - 1] - y0 * w[m - 1, m - 1])
            w[m, m] = (2 * m - 1) * (x0 * w[m - 1, m - 1] + y0 * v[m - 1, m - 1])
        if m <= degree:
            v[m + 1, m] = (2 * m + 1) * z0 * v[m, m]
            w[m + 1, m] = (2 * m + 1) * z0 * w[m, m]
        for n in range(m + 2, degree + 2):
            a, b = (2 * n - 1) * z0 / (n - m), (n + m - 1) * rho / (n - m)
            v[n, m] = a * v[n - 1, m] - b * v[n - 2, m]
            w[n, m] = a * w[n - 1, m] - b * w[n - 2, m]
    ax = ay = az = 0.0
    for n in range(degree + 1):
        ax -= c[n, 0] * v[n + 1, 1]
        ay -= c[n, 0] * w[n + 1, 1]
        az -= (n + 1) * c[n, 0] * v[n + 1, 0]
        for m in range(1, n + 1):
            cc, ss = c[n, m], s[n, m]
            f = 0.5 * (n - m + 1) * (n - m + 2)
            ax -= 0.5 * (cc * v[n + 1, m + 1] + ss * w[n + 1, m + 1])
            ax += f * (cc * v[n + 1, m - 1] + ss * w[n + 1, m - 1])
            ay += 0.5 * (ss * v[n + 1, m + 1] - cc * w[n + 1, m + 1])
            ay += f * (ss * v[n + 1, m - 1] - cc * w[n + 1, m - 1])
            az -= (n - m + 1) * (cc * v[n + 1, m] + ss * w[n + 1, m])
    scale = GM_EARTH_M3_S2 / EARTH_RADIUS_M**2
    out[0], out[1], out[2] = scale * ax, scale * ay, scale * az


@njit
def body_pull(gm, body, at, x, y, z, love, out):
    """Add to ``out`` the pull of a body (row ``at``) and of the Earth's tide it raises.

    Montenbruck & Gill (2000), equation 3.37; the tide with Love number ``love`` is the gradient
    of the degree-2 potential, their section 3.7.2.
    """
    bx, by, bz = body[at, 0], body[at, 1], body[at, 2]
    dx, dy, dz = bx - x, by - y, bz - z
    near = gm / (dx * dx + dy * dy + dz * dz) ** 1.5
    distance = math.sqrt(bx * bx + by * by + bz * bz)
    far = gm / distance**3
    r = math.sqrt(x * x + y * y + z * z)
    cosine = (x * bx + y * by + z * bz) / (r * distance)
    tide = 0.5 * love * far * EARTH_RADIUS_M**5 / r**4
    radial, along = tide * (3.0 - 15.0 * cosine * cosine) / r, tide * 6.0 * cosine / distance
    out[0] += near * dx - far * bx + radial * x + along * bx
    out[1] += near * dy - far * by + radial * y + along * by
    out[2] += near * dz - far * bz + radial * z + along * bz


@njit
def sun_axes(x, y, z, vx, vy, vz, sun, at, axes):
    """Fill ``axes`` (3, 8): directions of D0, Y0, B0, B cos u, B sin u, R0, R cos u, R sin u.

    Beutler et al. (1994), Manuscripta Geodaetica 19, 367: D toward the Sun, Y along the solar
    panels, B completes; u is the angle in the orbit from below the Sun. D vanishes in the Earth's
    shadow, a cylinder. R points up: light of the Earth and the push of the antenna.
    """
    dx, dy, dz = sun[at, 0] - x, sun[at, 1] - y, sun[at, 2] - z
    d = math.sqrt(dx * dx + dy * dy + dz * dz)
    dx, dy, dz = dx / d, dy / d, dz / d
    yx, yy, yz = dy * z - dz * y, dz * x - dx * z, dx * y - dy * x  # D x r = (-r) x D
    norm = math.sqrt(yx * yx + yy * yy + yz * yz)
    yx, yy, yz = yx / norm, yy / norm, yz / norm
    bx, by, bz = dy * yz - dz * yy, dz * yx - dx * yz, dx * yy - dy * yx
    nx, ny, nz = y * vz - z * vy, z * vx - x * vz, x * vy - y * vx
    norm_n = math.sqrt(nx * nx + ny * ny + nz * nz)
    nx, ny, nz = nx / norm_n, ny / norm_n, nz / norm_n
    up = dx * nx + dy * ny + dz * nz
    px, py, pz = dx - up * nx, dy - up * ny, dz - up * nz
    length = math.sqrt((px * px + py * py + pz * pz) * (x * x + y * y + z * z))
    cos_u = (x * px + y * py + z * pz) / length
    sin_u = x * (ny * pz - nz * py) + y * (nz * px - nx * pz) + z * (nx * py - ny * px)
    sin_u /= length
    along = x * dx + y * dy + z * dz
    lit = 1.0
    if along < 0.0 and x * x + y * y + z * z - along * along < EARTH_RADIUS_M**2:
        lit = 0.0
    lit *= (ASTRONOMICAL_UNIT_M / d) ** 2
    axes[0, 0], axes[1, 0], axes[2, 0] = lit * dx, lit * dy, lit * dz
    axes[0, 1], axes[1, 1], axes[2, 1] = yx, yy, yz
    axes[0, 2], axes[1, 2], axes[2, 2] = bx, by, bz
    axes[0, 3], axes[1, 3], axes[2, 3] = bx * cos_u, by * cos_u, bz * cos_u
    axes[0, 4], axes[1, 4], axes[2, 4] = bx * sin_u, by * sin_u, bz * sin_u
    r = math.sqrt(x * x + y * y + z * z)
    axes[0, 5], axes[1, 5], axes[2, 5] = x / r, y / r, z / r
    axes[0, 6], axes[1, 6], axes[2, 6] = x / r * cos_u, y / r * cos_u, z / r * cos_u
    axes[0, 7], axes[1, 7], axes[2, 7] = x / r * sin_u, y / r * sin_u, z / r * sin_u


@njit
def derivative(state, turn, sun, moon, at, force, j, c, s, love, work, slope, q):
    """Fill ``slope[q]`` (6, 15): motion and the variational equations, inertial axes.

    ``state`` (6, 15) holds the state in column 0 and its partials beside it; the variational
    equations keep the pull of a point mass only. ``turn``, ``sun`` and ``moon`` are read at row
    ``at``, ``force`` at row ``j``. ``work`` is (v, w, vector, axes).
    """
    v, w, pull, axes = work
    x, y, z = state[0, 0], state[1, 0], state[2, 0]
    vx, vy, vz = state[3, 0], state[4, 0], state[5, 0]
    fx = turn[at, 0, 0] * x + turn[at, 0, 1] * y + turn[at, 0, 2] * z
    fy = turn[at, 1, 0] * x + turn[at, 1, 1] * y + turn[at, 1, 2] * z
    fz = turn[at, 2, 0] * x + turn[at, 2, 1] * y + turn[at, 2, 2] * z
    gravity(fx, fy, fz, c, s, v, w, pull)
    fx, fy, fz = pull[0], pull[1], pull[2]
    for k in range(3):
        pull[k] = turn[at, 0, k] * fx + turn[at, 1, k] * fy + turn[at, 2, k] * fz
    body_pull(GM_SUN_M3_S2, sun, at, x, y, z, love, pull)
    body_pull(GM_MOON_M3_S2, moon, at, x, y, z, love, pull)
    r2 = x * x + y * y + z * z
    r = math.sqrt(r2)
    # Schwarzschild term: IERS Conventions (2010), equation 10.12, first line
    post = GM_EARTH_M3_S2 / (SPEED_OF_LIGHT_M_S**2 * r * r2)
    a = post * (4.0 * GM_EARTH_M3_S2 / r - (vx * vx + vy * vy + vz * vz))
    b = post * 4.0 * (x * vx + y * vy + z * vz)
    pull[0] += a * x + b * vx
    pull[1] += a * y + b * vy
    pull[2] += a * z + b * vz
    sun_axes(x, y, z, vx, vy, vz, sun, at, axes)
    for k in range(3):
        slope[q, k, 0] = state[3 + k, 0]
        slope[q, 3 + k, 0] = pull[k]
        for p in range(_FORCES):
            slope[q, 3 + k, 0] += axes[k, p] * force[j, p]
    f = GM_EARTH_M3_S2 / (r * r2)
    for p in range(1, _COLUMNS):
        px, py, pz = state[0, p], state[1, p], state[2, p]
        along = 3.0 * (x * px + y * py + z * pz) / r2
        slope[q, 0, p], slope[q, 1, p], slope[q, 2, p] = state[3, p], state[4, p], state[5, p]
        slope[q, 3, p] = f * (along * x - px)
        slope[q, 4, p] = f * (along * y - py)
        slope[q, 5, p] = f * (along * z - pz)
        if p >= 7:
            for k in range(3):
                slope[q, 3 + k, p] += axes[k, p - 7]


@njit
def integrate(start, force, step_s, turn, sun, moon, tableau, c, s, love, out, partial):
    """Fill ``out`` (steps + 1, m, 3) and ``partial`` (steps + 1, m, 3, 14) from ``start`` (m, 6).

    An explicit Runge-Kutta method: the rows of ``tableau`` (stages + 1, stages) are its stages and,
    last, the step; ``turn`` (steps * stages, 3, 3), ``sun`` and ``moon`` are of its instants.
    """
    stages, size = tableau.shape[1], c.shape[0] + 1
    work = (np.zeros((size, size)), np.zeros((size, size)), np.zeros(3), np.zeros((3, _FORCES)))
    slope = np.zeros((stages, 6, _COLUMNS))
    state, trial = np.zeros((6, _COLUMNS)), np.zeros((6, _COLUMNS))
    for j in range(start.shape[0]):
        for k in range(6):
            for p in range(1, _COLUMNS):
                state[k, p] = 0.0
            state[k, 0] = start[j, k]
            state[k, k + 1] = 1.0
        for i in range(out.shape[0]):
            for k in range(3):
                out[i, j, k] = state[k, 0]
                for p in range(_COLUMNS - 1):
                    partial[i, j, k, p] = state[k, p + 1]
            if i == out.shape[0] - 1:
                break
            for q in range(stages + 1):  # the last round adds up the step
                for k in range(6):
                    for p in range(_COLUMNS):
                        total = 0.0
                        for b in range(q):
                            total += tableau[q, b] * slope[b, k, p]
                        trial[k, p] = state[k, p] + step_s * total
                if q < stages:
                    at = i * stages + q
                    derivative(trial, turn, sun, moon, at, force, j, c, s, love, work, slope, q)
            for k in range(6):
                for p in range(_COLUMNS):
                    state[k, p] = trial[k, p]
