"""What a series does of itself: level, trend, season, and what a measured influence explains."""

from dataclasses import dataclass, replace

import numpy as np

from ..errors import SettingsError, SolutionError

LEAST_FREE = 8  # values beyond the unknowns; our choice, that of the noise models


@dataclass(frozen=True)
class Baseline:
    """A polynomial of degree ``trend``, harmonics of ``periods`` [time], covariates.

    ``covariates`` (n, c) get free factors; each is one measured influence. Where one is NaN the
    sample is left out.
    """

    trend: int = 1
    periods: tuple = ()
    covariates: np.ndarray | None = None


@dataclass(frozen=True)
class Prepared:
    """A series ready for estimates: only samples with a value, in ascending order.

    ``time`` (m,) [time], ``values`` (m,), ``design`` (m, p) of orthonormal columns, ``relative``
    (m,) variance of the white noise of each value over the mean one; ``present`` (n,) tells which
    samples these are; ``step`` the usual spacing. [time]
    """

    time: np.ndarray
    values: np.ndarray
    design: np.ndarray
    relative: np.ndarray
    present: np.ndarray
    step: float

    @property
    def span(self):
        """Return the time from the first to the last value. [time]"""
        return self.time[-1] - self.time[0]


def baseline_design(time, baseline):
    """Return the regressors (n, p) of a baseline: polynomial, harmonics, covariates."""
    time = np.asarray(time, float)
    if baseline.trend < 0 or not all(p > 0.0 for p in baseline.periods):
        raise SettingsError(
            f"trend of degree {baseline.trend}, periods {baseline.periods}; expected a degree "
            "from 0 up and positive periods"
        )
    middle, half = 0.5 * (time[0] + time[-1]), 0.5 * (time[-1] - time[0])
    columns = [((time - middle) / half) ** degree for degree in range(baseline.trend + 1)]
    for period in baseline.periods:
        angle = 2.0 * np.pi * (time - middle) / period
        columns += [np.cos(angle), np.sin(angle)]
    design = np.stack(columns, axis=1)
    if baseline.covariates is None:
        return design
    covariates = np.asarray(baseline.covariates, float)
    covariates = covariates[:, None] if covariates.ndim == 1 else covariates
    if len(covariates) != len(time):
        raise SettingsError(f"{len(covariates)} rows of covariates for {len(time)} values")
    return np.hstack([design, covariates])


def with_covariates(baseline, columns):
    """Return a baseline with more covariates (n,) or (n, c) beside those that it has."""
    columns = np.asarray(columns, float)
    columns = columns[:, None] if columns.ndim == 1 else columns
    if baseline.covariates is None:
        return replace(baseline, covariates=columns)
    old = np.asarray(baseline.covariates, float)
    return replace(baseline, covariates=np.column_stack([old, columns]))


def prepare(time, values, baseline, sigma=None):
    """Return the :class:`Prepared` series.

    ``sigma`` (n,) of each value, where known, shapes the white noise; its level is estimated.
    Raises SettingsError for shapes that do not match, SolutionError for a series with too few
    values, one that does not vary, or a baseline that its values cannot tell apart.
    """
    time, values = np.asarray(time, float), np.asarray(values, float)
    if time.ndim != 1 or time.shape != values.shape or len(time) < 2:
        raise SettingsError(f"time {time.shape} and values {values.shape}; expected equal rows")
    if not (np.diff(time) > 0.0).all():
        raise SettingsError("times do not ascend, or repeat: sort them and keep one value each")
    design = baseline_design(time, baseline)
    sigma = np.ones(len(time)) if sigma is None else np.asarray(sigma, float)
    if sigma.shape != time.shape or (sigma <= 0.0).any():
        raise SettingsError(f"sigma of shape {sigma.shape}; expected {time.shape}, positive")
    present = np.isfinite(values) & np.isfinite(design).all(axis=1) & np.isfinite(sigma)
    _refuse(values[present], design.shape[1], len(time))
    kept = design[present] / np.maximum(np.abs(design[present]).max(axis=0), 1e-300)
    basis, triangle = np.linalg.qr(kept)
    if np.abs(np.diag(triangle)).min() < 1e-6 * np.sqrt(len(kept)) * 0.1:
        raise SolutionError(
            "trend, season and covariates cannot be told apart where values are present: take "
            "fewer of them (a season needs about a period of data)"
        )
    relative = sigma[present] ** 2
    return Prepared(
        time=np.ascontiguousarray(time[present]),
        values=values[present],
        design=basis,
        relative=relative / relative.mean(),
        present=present,
        step=float(np.median(np.diff(time))),
    )


def without_baseline(time, values, baseline):
    """Return values minus their least-squares baseline (n,), NaN where nothing is known."""
    ready = prepare(time, values, baseline)
    rest = np.full(len(ready.present), np.nan)
    rest[ready.present] = ready.values - ready.design @ (ready.design.T @ ready.values)
    return rest


def _refuse(values, unknowns, n):
    if len(values) == 0:
        raise SolutionError(f"none of {n} values is present: nothing can be estimated")
    if len(values) < unknowns + LEAST_FREE:
        raise SolutionError(
            f"{len(values)} values present; a baseline of {unknowns} unknowns needs "
            f"{unknowns + LEAST_FREE}"
        )
    if np.ptp(values) <= 1e-12 * np.abs(values).max():
        raise SolutionError("the series does not vary: is it a stuck sensor?")
