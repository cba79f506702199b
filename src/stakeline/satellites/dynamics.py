"""A short dynamic fit to the end of an orbit table, and what it says of the hour beyond.

The force model is small: gravity field to degree 6, Sun and Moon with the tide they raise,
relativity, and eight empirical accelerations for radiation pressure. It is meant for hours, not
for days.
"""

from dataclasses import replace

import numpy as np
from scipy.integrate import DOP853

from ..constants import NS_PER_DAY, NS_PER_S
from ..earth.rotation import celestial_to_terrestrial
from ..earth.sun_moon import sun_moon_celestial
from ..time import gps_minus_utc_s
from ._dynamics_kernels import integrate

# Fully normalised coefficients of EGM2008 (Pavlis et al. 2012, J. Geophys. Res. 117, B04406),
# tide-free, written from memory; each degree was kept because it lowers the error of
# ``validation/orbits_interpolation.py``. Rows: degree, order, C, S.
_EGM2008 = (
    (2, 0, -4.84165143790815e-4, 0.0),
    (2, 1, -2.06615509074176e-10, 1.38441389137979e-9),
    (2, 2, 2.43938357328313e-6, -1.40027370385934e-6),
    (3, 0, 9.57161207093473e-7, 0.0),
    (3, 1, 2.03046201047864e-6, 2.48200415856872e-7),
    (3, 2, 9.04787894809528e-7, -6.19005475177618e-7),
    (3, 3, 7.21321757121568e-7, 1.41434926192941e-6),
    (4, 0, 5.39965866638991e-7, 0.0),
    (4, 1, -5.36157389388867e-7, -4.73567346518086e-7),
    (4, 2, 3.50501623962649e-7, 6.62480026275829e-7),
    (4, 3, 9.90856766672321e-7, -2.00956723567452e-7),
    (4, 4, -1.88519633023033e-7, 3.08803882149194e-7),
    (5, 0, 6.86702913736681e-8, 0.0),
    (5, 1, -6.29211923042529e-8, -9.43698073395769e-8),
    (5, 2, 6.52078043176164e-7, -3.23353192540522e-7),
    (5, 3, -4.51847152328843e-7, -2.14955408306046e-7),
    (5, 4, -2.95328761175629e-7, 4.98070550102351e-8),
    (5, 5, 1.74811795496002e-7, -6.69379935180165e-7),
    (6, 0, -1.49953927978527e-7, 0.0),
    (6, 1, -7.59210081892527e-8, 2.65122593213647e-8),
    (6, 2, 4.86488924604690e-8, -3.73789324523752e-7),
    (6, 3, 5.72451611175653e-8, 8.95201130010730e-9),
    (6, 4, -8.60237937191611e-8, -4.71425573429095e-7),
    (6, 5, -2.67166423703038e-7, -5.36493151500206e-7),
    (6, 6, 9.47068749756882e-9, -2.37382353351005e-7),
)
_DEGREE = 6
_LOVE_K2 = 0.30  # -, nominal degree-2 potential Love number; IERS Conventions (2010), table 6.3
_START_FORCE_M_S2 = (
    -1e-7,
    0.0,
    0.0,
    0.0,
    0.0,
    1e-9,
    0.0,
    0.0,
)  # m/s2; GNSS radiation pressure, from memory
_FORCE_SIGMA_M_S2 = (
    5e-8,
    1e-9,
    2e-9,
    1e-9,
    1e-9,
    3e-9,
    3e-9,
    3e-9,
)  # m/s2; our choice
_NODE_SIGMA_M = 0.002  # m; noise of a precise orbit's node, common practice, no source
_POLE_SIGMA_RAD = 1.5e-6  # rad; 0.3 arcsec, size of polar motion (IERS bulletins, from memory)
_DAY_SIGMA_S = 1.5e-3  # s/d; size of the excess length of day (IERS bulletins, from memory)
_POLE_TIDE_RAD = 5e-9  # rad; 1 mas of subdaily polar motion, IERS Conventions (2010), section 5.5.1
_DAY_TIDE_S = 5e-4  # s/d; rate of subdaily UT1, same section; both stay where orientation is given


def _coefficients(degree=_DEGREE):
    """Return the unnormalised C and S, (degree + 1, degree + 1), C[0, 0] = 1."""
    c, s = np.zeros((degree + 1, degree + 1)), np.zeros((degree + 1, degree + 1))
    c[0, 0] = 1.0
    for n, m, cosine, sine in _EGM2008:
        ratio = np.prod(np.arange(n - m + 1, n + m + 1, dtype=float))  # (n + m)! / (n - m)!
        factor = np.sqrt((2 * n + 1) * (1.0 if m == 0 else 2.0) / ratio)
        if n <= degree:
            c[n, m], s[n, m] = factor * cosine, factor * sine
    return c, s


def persistent_orientation(orientation, first_ns, last_ns):
    """Return Earth orientation held constant for up to two days outside its table.

    Parameters
    ----------
    orientation : EarthOrientation or None
    first_ns, last_ns : int
        Span of GPS time that must be covered. [ns]

    Returns
    -------
    EarthOrientation or None
        None where it is None or ends more than two days away from the span.
    """
    if orientation is None:
        return None
    node = np.asarray(orientation.time_utc_ns, np.int64)
    margin = 2 * NS_PER_DAY
    if first_ns < node[0] - margin or last_ns > node[-1] + margin:
        return None
    outer = np.concatenate([[node[0] - margin], node, [node[-1] + margin]])
    names = "pole_x_rad pole_y_rad ut1_minus_utc_s day_length_excess_s dx_rad dy_rad"
    held = {name: np.pad(getattr(orientation, name), 1, mode="edge") for name in names.split()}
    step = gps_minus_utc_s(outer[[0, -1]]) - gps_minus_utc_s(outer[[1, -2]])
    held["ut1_minus_utc_s"][[0, -1]] += step  # UT1 does not jump with a leap second
    return replace(orientation, time_utc_ns=outer, **held)


def _integrated(start, force, start_ns, step_ns, steps, orientation):
    """Return positions (steps + 1, m, 3) and partials (steps + 1, m, 3, 14), inertial."""
    stage = np.arange(steps)[:, None] * step_ns + np.round(DOP853.C * step_ns)
    stage_ns = (start_ns + stage.astype(np.int64)).ravel()
    turn = celestial_to_terrestrial(stage_ns, orientation)
    sun, moon = sun_moon_celestial(stage_ns)
    c, s = _coefficients()
    out = np.empty((steps + 1, start.shape[0], 3))
    partial = np.empty((steps + 1, start.shape[0], 3, 14))
    tableau = np.concatenate([DOP853.A, DOP853.B[None, :]])
    step_s = step_ns / NS_PER_S
    integrate(start, force, step_s, turn, sun, moon, tableau, c, s, _LOVE_K2, out, partial)
    return out, partial


def _orientation_partials(position, turn, elapsed_s):
    """Return what Earth-fixed nodes (k, m, 3) move in inertial axes per pole x, y [rad], day [s/d].

    To first order the pole turns Earth-fixed axes about y (pole x) and x (pole y), a longer day
    turns them about z: IERS Conventions (2010), equations 5.3 and 5.15.
    """
    x, y, z = np.moveaxis(position, -1, 0)
    zero = np.zeros_like(x)
    spin = 2.0 * np.pi / 86400.0**2 * elapsed_s[:, None]  # rad for each s/d of excess
    moved = np.stack(
        [
            np.stack([-z, zero, x], axis=-1),
            np.stack([zero, z, -y], axis=-1),
            np.stack([spin * y, -spin * x, zero], axis=-1),
        ],
        axis=-1,
    )
    return np.einsum("kji,kmjp->kmip", turn, moved)


def _solve(partial, common, residual, good, from_prior, orientation_sigma):
    """Return corrections (m, 14) of the satellites and (3,) of Earth orientation.

    Least squares with a-priori sigmas, ``from_prior`` (m, 8) being a-priori minus present forces;
    the satellites' unknowns are eliminated first.
    """
    m = partial.shape[1]
    weight = np.where(good, 1.0 / _NODE_SIGMA_M**2, 0.0)
    prior = np.zeros(14)
    prior[6:] = np.asarray(_FORCE_SIGMA_M_S2) ** -2.0
    scale = np.array([1.0] * 3 + [1e-4] * 3 + [1e-8] * 8)
    design = np.nan_to_num(partial) * scale
    b, r = np.nan_to_num(common), np.nan_to_num(residual)
    normal = np.einsum("kmip,kmiq,km->mpq", design, design, weight)
    normal += np.diag(prior * scale**2)
    mixed = np.einsum("kmip,kmiq,km->mpq", design, b, weight)
    right = np.einsum("kmip,kmi,km->mp", design, r, weight)
    right[:, 6:] += (prior * scale)[6:] * from_prior
    normal[~good.any(axis=0)] = np.eye(14)
    solved = np.linalg.solve(normal, np.concatenate([mixed, right[..., None]], axis=2))
    by_common, alone = solved[..., :3], solved[..., 3]
    reduced = np.einsum("kmip,kmiq,km->pq", b, b, weight) - np.einsum(
        "mpq,mpr->qr", mixed, by_common
    )
    reduced += np.diag(orientation_sigma**-2.0)
    left = np.einsum("kmip,kmi,km->p", b, r, weight) - np.einsum("mpq,mp->q", mixed, alone)
    shared = np.linalg.solve(reduced, left)
    return (alone - by_common @ shared).reshape(m, 14) * scale, shared


def continue_orbits(node_ns, position_m, velocity_m_s, steps, orientation=None, sub_steps=2):
    """Return positions beyond the last node of an arc from a dynamic fit to the arc.

    Parameters
    ----------
    node_ns : int64 array, shape (k,)
        Nodes of the arc, evenly spaced, in the direction of the continuation (decreasing to go
        back in time). [ns]
    position_m : array, shape (k, m, 3)
        Earth-fixed positions; NaN where missing (never in the first node). [m]
    velocity_m_s : array, shape (m, 3)
        Velocity at the first node in axes that do not turn but are Earth-fixed then. [m/s]
    steps : int
        Nodes to add.
    orientation : EarthOrientation, optional
        Without it (and in its finest part always) pole and length of day are estimated with the
        orbits, common to all satellites.
    sub_steps : int
        Steps of integration between nodes.

    Returns
    -------
    position_m : array, shape (steps, m, 3)
        Earth-fixed. [m]
    rms_m : array, shape (m,)
        Residual rms of the fit. [m]

    Notes
    -----
    Runge-Kutta of order 8 (Hairer, Norsett & Wanner 1993, DOP853), variational equations, two
    passes of least squares.
    """
    k = node_ns.size
    spacing = int(node_ns[1] - node_ns[0])
    all_ns = node_ns[0] + np.arange(k + steps) * spacing
    orientation = persistent_orientation(orientation, int(all_ns.min()), int(all_ns.max()))
    sigma = np.array([_POLE_SIGMA_RAD, _POLE_SIGMA_RAD, _DAY_SIGMA_S])
    if orientation is not None:
        sigma = np.array([_POLE_TIDE_RAD, _POLE_TIDE_RAD, _DAY_TIDE_S])
    turn = celestial_to_terrestrial(all_ns, orientation)
    inertial = np.einsum("kji,kmj->kmi", turn[:k], position_m)
    start = np.concatenate([inertial[0], velocity_m_s @ turn[0]], axis=1)
    elapsed_s = (all_ns - node_ns[0]) / NS_PER_S
    common = _orientation_partials(position_m, turn[:k], elapsed_s[:k])
    good = np.isfinite(position_m).all(axis=2) & np.isfinite(start).all(axis=1)
    expected = np.tile(_START_FORCE_M_S2, (start.shape[0], 1))
    force = expected
    start = np.nan_to_num(start, nan=3e7)
    for _ in range(2):
        path, partial = _integrated(
            start,
            force,
            int(node_ns[0]),
            spacing // sub_steps,
            sub_steps * (k + steps - 1),
            orientation,
        )
        path, partial = path[::sub_steps], partial[::sub_steps]
        residual = inertial - path[:k]
        change, shared = _solve(partial[:k], -common, residual, good, expected - force, sigma)
        start, force = start + change[:, :6], force + change[:, 6:]
    path = path + np.einsum("kmip,mp->kmi", partial, change)
    left = np.where(good[..., None], inertial + common @ shared - path[:k], np.nan)
    rms = np.sqrt(np.nanmean(left**2, axis=(0, 2))) if good.any() else np.full(len(start), np.nan)
    ahead = np.einsum("kij,kmj->kmi", turn[k:], path[k:])
    moved = _orientation_partials(ahead, turn[k:], elapsed_s[k:]) @ shared
    ahead = ahead - np.einsum("kij,kmj->kmi", turn[k:], moved)
    ahead[:, ~good.any(axis=0)] = np.nan
    return ahead, rms
