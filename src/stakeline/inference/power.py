"""What could have been seen: changes put into the real residuals, and a formula beside them.

The estimate of an amplitude is linear in the values: a change put in at any other time of the
record gives what the record says there without a change, plus the change. So the estimates at all
shifted catalogues tell the power for every size of change at once.
"""

from dataclasses import dataclass

import numpy as np
from scipy.optimize import brentq
from scipy.stats import chi2, norm
from scipy.stats import t as student

from ..errors import SettingsError, SolutionError
from .baseline import Prepared, baseline_design
from .coloured import whiten
from .permutation import chance
from .pooling import series_correlation
from .response import Choices, begin, fit_noise_rounds
from .shape import Events, together

WISHED = 0.8
MOST_SIGMAS = 40.0  # the largest change looked at; our choice
LEVELS = 2000  # levels of the noise averaged over; our choice: power good to 1e-4
LEAST_ESTIMATES = 20  # shifts that saw the events; our choice


@dataclass(frozen=True)
class Unmoved:
    """What the record says at shifted catalogues, where nothing happened.

    ``estimates`` (k,) [value] and their formal ``sigmas`` (k,), NaN where the record does not see
    the events; ``degrees`` of freedom; ``formal`` sigma at the catalogue itself.
    """

    estimates: np.ndarray
    sigmas: np.ndarray
    degrees: float
    formal: float


def moved_catalogues(events, start, end, generator, count=400):
    """Return onsets (count, events) of the catalogue shifted around a record. [time]"""
    if not end > start:
        raise SettingsError(f"a record from {start} to {end}; expected its end after its start")
    shifts = generator.uniform(0.0, end - start, (count, 1))
    return start + (events.middle - start + shifts) % (end - start)


def unmoved(time, values, events, grid, places, choices=None, sigma=None):
    """Return the estimates at other onsets ``places`` (k, events) (:class:`Unmoved`).

    Other arguments as of ``fit_response``; with several shapes the most likely is used. The
    response found at the catalogue itself is taken out of the values before.
    """
    choices = Choices() if choices is None else choices
    problem = begin(time, values, events, grid, choices, sigma)
    fit_noise_rounds(problem, choices.noise)
    estimates, sigmas = elsewhere(problem, places)
    seen = np.isfinite(estimates).sum()
    if seen < LEAST_ESTIMATES:
        raise SolutionError(
            f"{seen} of {len(places)} shifted catalogues can be seen by the record; power needs "
            f"{LEAST_ESTIMATES}: the record has too many gaps, or is too short"
        )
    own = _own(problem)
    return Unmoved(
        estimates=estimates,
        sigmas=sigmas,
        degrees=problem.degrees,
        formal=float(np.sqrt(problem.noise.level / (own @ own))),
    )


def elsewhere(problem, places):
    """Return amplitudes (k,) and sigmas (k,) of catalogues at other onsets (k, events). [value]

    At the most likely shape, the response at the catalogue itself taken out before; NaN where the
    record does not see the events.
    """
    one, events = problem.grid.only(problem.best), problem.events
    last = np.median(events.end - events.onset, axis=1) if one.as_event else None
    if last is not None and np.shape(places)[1] != len(last):  # fewer events than the catalogue
        last = np.median(last)
    shapes = []
    for onset in places:
        moved = Events(onset, None if last is None else onset + last)
        shapes.append(together(problem.ready.time, moved, one, problem.width, 0)[:, 0])
    own = _own(problem)
    rest = problem.rest - own * (own @ problem.rest) / (own @ own)
    white = problem.whitened_shapes(np.stack(shapes, axis=1), problem.peak[problem.best])
    information = (white**2).sum(axis=0)
    information = np.where(information > 0.0, information, np.nan)
    return white.T @ rest / information, np.sqrt(problem.noise.level / information)


def power_injected(change, found, alpha=0.05):
    """Return the share of shifted catalogues at which a change, of either sign, is detected."""
    bar = student.ppf(1.0 - 0.5 * alpha, found.degrees)
    known = np.isfinite(found.estimates)
    estimates, bars = found.estimates[known], bar * found.sigmas[known]
    return float(np.mean([np.abs(sign * change + estimates) > bars for sign in (1.0, -1.0)]))


def power_formula(change, sigma, degrees, alpha=0.05):
    """Return the power of a two-sided t test of an estimate with a ``sigma`` [value].

    Cohen (1988), *Statistical Power Analysis*, chapter 2; the noncentral t by its definition: the
    normal power averaged over what the level of the noise may be estimated as.
    """
    bar = student.ppf(1.0 - 0.5 * alpha, degrees)
    levels = chi2.ppf((np.arange(LEVELS) + 0.5) / LEVELS, degrees)
    bars, away = bar * np.sqrt(levels / degrees), abs(change) / sigma
    return float(np.mean(norm.sf(bars - away) + norm.cdf(-bars - away)))


def smallest_injected(found, wished=WISHED, alpha=0.05):
    """Return the smallest change that injection detects with the power wished. [value]"""
    return _smallest(lambda a: power_injected(a, found, alpha), found.formal, wished, alpha)


def smallest_formula(sigma, degrees, wished=WISHED, alpha=0.05):
    """Return the smallest change that the t test detects with the power wished. [value]

    About ``(z(1 - alpha / 2) + z(wished)) sigma``, 2.80 sigma for 80 % at 5 %.
    """
    return _smallest(lambda a: power_formula(a, sigma, degrees, alpha), sigma, wished, alpha)


def pooled_unmoved(each):
    """Return the :class:`Unmoved` of the mean of series at the same places, by information.

    A series that does not see a place is left out there. The correlation between series is that of
    their estimates, negative ones taken as none.
    """
    sizes = {len(e.estimates) for e in each}
    if len(sizes) != 1:
        raise SettingsError(
            f"series with {sorted(sizes)} estimates cannot be averaged: use the same places for all"
        )
    estimates, sigmas = np.array([e.estimates for e in each]), np.array([e.sigmas for e in each])
    formal = np.array([e.formal for e in each])
    correlation = np.maximum(series_correlation(estimates / sigmas, LEAST_ESTIMATES), 0.0)
    weights = np.where(np.isfinite(estimates), formal[:, None] ** -2.0, 0.0)
    total = weights.sum(axis=0)
    weights = weights / np.where(total > 0.0, total, np.nan)
    spread = weights * np.nan_to_num(sigmas)
    whole = formal**-2.0 / (formal**-2.0).sum() * formal
    return Unmoved(
        estimates=(weights * np.nan_to_num(estimates)).sum(axis=0),
        sigmas=np.sqrt(np.einsum("ik,ij,jk->k", spread, correlation, spread)),
        degrees=float(np.mean([e.degrees for e in each])),
        formal=float(np.sqrt(whole @ correlation @ whole)),
    )


def smallest_by_series(each, counts, generator, tries=20, wished=WISHED, alpha=0.05):
    """Return the smallest change (counts,) that means of so many series detect, by injection.

    The median over ``tries`` random choices of series.
    """
    if not 1 <= min(counts) <= max(counts) <= len(each):
        raise SettingsError(f"{list(counts)} of {len(each)} series; expected 1 to {len(each)}")
    found = []
    for count in counts:
        chosen = [generator.choice(len(each), count, replace=False) for _ in range(tries)]
        means = [pooled_unmoved([each[i] for i in some]) for some in chosen]
        found.append(np.median([smallest_injected(m, wished, alpha) for m in means]))
    return np.array(found)


def sigma_of_series(sigma, count, correlation):
    """Return the sigma of a mean of series with equal correlation. [value]

    ``sigma sqrt((1 + (m - 1) r) / m)``: Kish (1965), *Survey Sampling*, section 5.4. More
    series help down to ``sigma sqrt(r)`` and no further.
    """
    if count < 1 or not 0.0 <= correlation <= 1.0:
        raise SettingsError(f"{count} series of correlation {correlation}; expected 1 or more, 0-1")
    return sigma * np.sqrt((1.0 + (count - 1) * correlation) / count)


def sigma_of_design(noise, step, days, count, grid, choices=None):
    """Return the sigma of an amplitude that a record yet to come would give. [value]

    ``noise`` as estimated, ``days`` long each ``step`` [time], with ``count`` events evenly
    spread. The first shape of the grid is used, the baseline without covariates.
    """
    choices = Choices() if choices is None else choices
    time = np.arange(0.0, days, step)
    if choices.baseline.covariates is not None:
        raise SettingsError("covariates of a record yet to come are not known: leave them out")
    if count < 1 or len(time) < 10:
        raise SettingsError(
            f"{count} events in {len(time)} values; expected 1 or more in 10 or more"
        )
    design = np.linalg.qr(baseline_design(time, choices.baseline))[0]
    ones = np.ones(len(time))
    ready = Prepared(time, ones, design, ones, ones.astype(bool), step)
    events = Events(days * (np.arange(count) + 0.5) / count)
    shape = together(time, events, grid.only(0), step, 0)
    triangle = np.linalg.qr(whiten(noise, ready, np.hstack([design, shape])), mode="r")
    if abs(triangle[-1, -1]) < 1e-6 * np.linalg.norm(triangle[:, -1]):
        raise SolutionError("the shape cannot be told from trend and season in such a record")
    return float(np.sqrt(noise.level) / abs(triangle[-1, -1]))


def permutation_power(plan, unit, changes, alpha=0.05):
    """Return the power (changes,) of the permutation test for changes put in at every shift.

    ``unit`` (series, lags) is the contrast that a change of 1 makes. [value/value]
    """
    draws = len(plan.shifts)
    bar = np.quantile(chance(plan, 0, draws).max(axis=1), 1.0 - alpha, method="higher")
    unit = np.asarray(unit, float)
    return np.array([(chance(plan, 0, draws, a * unit).max(axis=1) > bar).mean() for a in changes])


def _own(problem):
    """Return the most likely response (m,) at the catalogue itself, whitened."""
    return problem.whitened_shapes(problem.mean_shape(problem.best), 0.0)[:, 0]


def _smallest(power, scale, wished, alpha):
    if not alpha < wished < 1.0:
        raise SettingsError(f"power of {wished} at {alpha}; expected it between {alpha} and 1")
    if power(MOST_SIGMAS * scale) < wished:
        return np.inf
    return float(brentq(lambda a: power(a) - wished, 0.0, MOST_SIGMAS * scale, xtol=1e-4 * scale))
