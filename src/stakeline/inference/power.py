"""What could be seen of a change: by formula, and by records yet to come.

What a whole decision would call a change is found by making it again on changes that are put in:
:mod:`~stakeline.inference.injection`.
"""

import numpy as np
from scipy.optimize import brentq
from scipy.stats import chi2, norm
from scipy.stats import t as student

from ..errors import SettingsError, SolutionError
from .baseline import Prepared, baseline_design
from .coloured import whiten
from .response import Choices
from .shape import Events, together

WISHED = 0.8
MOST_SIGMAS = 40.0  # the largest change looked at; our choice
LEVELS = 2000  # levels of the noise averaged over; our choice: power good to 1e-4


def power_formula(change, sigma, degrees, alpha=0.05):
    """Return the power of a two-sided t test of an estimate with a ``sigma`` [value].

    Cohen (1988), *Statistical Power Analysis*, chapter 2; the noncentral t by its definition: the
    normal power averaged over what the level of the noise may be estimated as.
    """
    bar = student.ppf(1.0 - 0.5 * alpha, degrees)
    levels = chi2.ppf((np.arange(LEVELS) + 0.5) / LEVELS, degrees)
    bars, away = bar * np.sqrt(levels / degrees), abs(change) / sigma
    return float(np.mean(norm.sf(bars - away) + norm.cdf(-bars - away)))


def smallest_formula(sigma, degrees, wished=WISHED, alpha=0.05):
    """Return the smallest change that the t test detects with the power wished. [value]

    About ``(z(1 - alpha / 2) + z(wished)) sigma``, 2.80 sigma for 80 % at 5 %.
    """
    return _smallest(lambda a: power_formula(a, sigma, degrees, alpha), sigma, wished, alpha)


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


def _smallest(power, scale, wished, alpha):
    if not alpha < wished < 1.0:
        raise SettingsError(f"power of {wished} at {alpha}; expected it between {alpha} and 1")
    if power(MOST_SIGMAS * scale) < wished:
        return np.inf
    return float(brentq(lambda a: power(a) - wished, 0.0, MOST_SIGMAS * scale, xtol=1e-4 * scale))
