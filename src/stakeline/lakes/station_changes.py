"""What one change of a lake does at each station by itself, once its course is known."""

from dataclasses import replace

import numpy as np

from .combined import CONTROL_D
from .fit import Changes

CURVES = 60  # courses of the fit at which a station's change is solved; choice
AT_ONCE_SIGMA = 0.2  # -, by how much the share that ice shows at once differs by station; choice:
# by plate over flow (response), from the mean by at most 0.17 on lakes 4 to 10 thicknesses wide
HELD = 0.8  # -, of what all rows hold of a change, below which a station cannot size it; choice
LEAST_ROWS = 20  # choice
# Share of a lake's change by which controls move along: a plate of ice passes on 10 to 15 % at once
# two thicknesses outside the margin, 5 to 8 three, 1 five, -1 eight (response, lakes of the
# invented glacier); the flow takes it back to 1 % or less.
ALONG_SIGMA = 0.05  # -, choice


def station_changes(series, model, fit, j, rng, controls=False):
    """Return ({station: samples of its change (s,)}, {station: size over sigma}).

    The change is that until the last row of the record.

    Parameters
    ----------
    series : LakeSeries
    model : MotionModel
        Noise of the series. Of a station, white noise is its own, and so is coloured noise of a
        memory shorter than controls are smoothed: larger than the mean's as its white noise is.
    fit : Fit
    j : int
        Which change of the fit.
    rng : numpy.random.Generator
    controls : bool
        For the stations beside the lake, smoothed at the last row as they are taken off; else for
        those over it, less what the controls do.

    Notes
    -----
    Courses are those of the fit, but each station may show another share of the change at once:
    the difference times what is still to come is a regressor with a prior. A station whose rows
    do not hold the change as all rows do (a gap, a late beginning) is left out.
    """
    chosen = np.linspace(0, len(fit.onset_d) - 1, CURVES).astype(int)
    numbers, size = fit.numbers()[chosen], fit.size_m[chosen]
    whole = Changes(series, model, size.shape[1], (fit.first, fit.last)).courses(numbers)
    held = HELD * np.median(np.ptp(whole[..., j], axis=0))
    which = rng.integers(0, CURVES, len(fit.onset_d))
    found, sure = {}, {}
    for name, *own in series.controls if controls else series.own:
        part = _rows_of(series, fit, *own, controls)
        if part is None:
            continue
        noise = _own_noise(model, part, series)
        one = Changes(part, noise, size.shape[1], (0, len(part.place)))
        courses = one.courses(numbers)
        if np.median(np.ptp(courses[..., j], axis=0)) < held:
            continue
        later = _still_to_come(one, numbers, one.row) * size
        end = _at_the_end(one, numbers, size, j, series.place[-1] - part.place[0], controls)
        columns = np.concatenate([courses, later.sum(axis=2, keepdims=True)], axis=2)
        value, covariance = _solved(one, columns, max(1.0, fit.misfit))
        sure[name] = float(np.median(np.abs(value[:, j]) / np.sqrt(covariance[:, j, j])))
        root = np.linalg.cholesky(covariance)[which]
        drawn = value[which] + np.einsum(
            "sij,sj->si", root, rng.standard_normal(value[which].shape)
        )
        found[name] = (drawn[:, [j, -1]] * end[which]).sum(axis=1)
    return found, sure


def _own_noise(model, part, series):
    """Return the noise model of one station's rows, from that of the mean of all."""
    own = float(np.median(part.sigma_m) / np.median(series.sigma_m))
    pairs = zip(model.coloured_sigma_m, model.coloured_memory_d, strict=True)
    sigma = tuple(s * (max(own, 1.0) if memory < CONTROL_D else 1.0) for s, memory in pairs)
    return replace(model, coloured_sigma_m=sigma)


def given_back(controls, change):
    """Return what the controls did by a lake's change, which was taken off with them. [m]

    Parameters
    ----------
    controls : dict
        Change at each control: samples (s,), at least one.
    change : float
        Of the lake; controls move along by a share of it with sigma ALONG_SIGMA. [m]

    Notes
    -----
    The mean of two normal distributions: of a small change nothing is given back, since the
    controls do not tell so little from what all ice does. It adds no spread: the noise of the
    controls is in the difference already, and leaves it by as much as is given back.
    """
    found = np.mean(list(controls.values()), axis=0)
    likely = (ALONG_SIGMA * change) ** 2
    return float(np.median(found) * likely / (likely + np.var(found) + 1e-12))


def _rows_of(series, fit, up, sigma, table, controls):
    """Return the rows of one station as a series of its own; None where they are too few."""
    row = np.flatnonzero(np.isfinite(up[: series.place[-1] + 1]))
    row = row[(row >= series.place[fit.first]) & (row <= series.place[fit.last - 1])]
    if len(row) < LEAST_ROWS:
        return None
    beside = 0.0 if controls else series.beside_m[np.searchsorted(series.place, row)]
    line = (row - row.mean()) / max(np.ptp(row), 1)
    kept = table[row][:, np.ptp(table[row], axis=0) > 0.0] if table.shape[1] else table[row]
    return replace(
        series, place=row, up_m=up[row] - beside, sigma_m=np.maximum(sigma[row], 1e-4),
        gain=np.ones(len(row)), design=np.column_stack([np.ones(len(row)), line, kept]),
    )  # fmt: skip


def _still_to_come(one, numbers, row):
    """Return what each change (r, w, k) has done below that the surface shows only later."""
    at_once, late = numbers.copy(), numbers.copy()
    at_once[:, -2], late[:, -2] = 1.0, 0.0
    return one.courses_at(at_once, row) - one.courses_at(late, row)


def _at_the_end(one, numbers, size, j, last, controls):
    """Return the course of change ``j`` and what is still to come of it (w, 2), at the last row.

    ``last``: number of the record's last row, which may be later than those fitted: ice that
    answers late has still moved since. Of controls a mean, as they are smoothed there.
    """
    back = round(0.25 * CONTROL_D / one.step) if controls else 0
    row = np.append(0, np.arange(max(last - back, 1), last + 1))
    both = one.courses_at(numbers, row), _still_to_come(one, numbers, row) * size
    return np.stack([c[1:, :, j].mean(axis=0) - c[0, :, j] for c in both], axis=1)


def _solved(one, columns, widened):
    """Return (values (w, c), covariances) of columns (n, w, c), the last one with its prior."""
    n, w, c = columns.shape
    white = one.white(columns.reshape(n, -1))
    white -= one.base @ (one.base.T @ white)
    lines = np.ascontiguousarray(white.reshape(n, w, c).transpose(1, 2, 0))
    normal = lines @ lines.transpose(0, 2, 1) / widened + 1e-9 * np.eye(c)
    normal[:, -1, -1] += 1.0 / AT_ONCE_SIGMA**2
    covariance = np.linalg.inv(normal)
    return np.einsum("wij,wj->wi", covariance, lines @ one.data / widened), covariance
