"""Where in a series a change of the roof may hide: a matched filter, and how often it errs.

Cubic steps of many onsets and lengths are laid over the whitened series. The score of a step is
half the square of its size over its sigma: what it adds to the log likelihood. How often noise
alone reaches a score is simulated with the noise as fitted: in the whitened series it is white.
"""

from dataclasses import dataclass

import numpy as np

from .curve import ramp
from .whitening import Whitener, taken_out

LENGTHS_D = (1.0, 2.0, 4.0, 8.0, 16.0, 32.0, 64.0)  # d; choice
PER_LENGTH = 4  # onsets by length; choice
SIMULATIONS = 300  # of the whole record; choice
_TAIL = 0.7  # quantile of the simulated maxima from which the tail is taken as exponential; choice
_LEAST_SEEN = 0.05  # -, share of a step's length in white rows that must be left of it; choice


@dataclass(frozen=True)
class FalseAlarms:
    """How often noise alone reaches a score, from simulated greatest scores of a record."""

    greatest: np.ndarray
    years: float

    def per_year(self, score):
        """Return the expected number a year of one lake's record; an exponential tail."""
        start = np.quantile(self.greatest, _TAIL)
        mean = np.mean(self.greatest[self.greatest > start] - start)
        if score <= start:
            share = np.mean(self.greatest >= score)
        else:
            share = (1.0 - _TAIL) * np.exp(-(score - start) / mean)
        # share of records with one or more, of a Poisson number
        return float(-np.log1p(-min(share, 1.0 - 1e-9)) / self.years)


@dataclass(frozen=True)
class Candidate:
    """A step that may be an event; ``size_m`` is that of the cubic step."""

    onset_d: float
    length_d: float
    size_m: float
    score: float
    false_per_year: float


class Trials:
    """The trial steps of a series, laid over it; whitened once for each noise."""

    def __init__(self, series):
        self.onset, self.length = _steps(series)
        share = (series.day[:, None] - self.onset) / self.length
        self.columns = ramp(share, 2.0, 2.0) * series.gain[:, None]
        self.model = self.whole = None

    def whitened(self, white):
        """Return the columns (n, c) as a :class:`~.whitening.Whitener` leaves them."""
        if white.model != self.model:
            self.model, self.whole = white.model, white(self.columns)
        return self.whole


class Search:
    """The matched filter of one series under one noise, with the courses known so far."""

    def __init__(self, series, model, known=None, trials=None):
        trials = trials or Trials(series)
        self.series, self.model = series, model
        self.white = Whitener(series.day, series.sigma_m, model)
        self.known = np.zeros((len(series.day), 0)) if known is None else known
        base = self.white(np.hstack([series.design, self.known]))
        whole = trials.whitened(self.white)
        before = np.linalg.norm(whole, axis=0)
        q, left = taken_out(base, whole)
        size = np.linalg.norm(left, axis=0)
        seen = size > _LEAST_SEEN * np.maximum(before, 1e-12)
        self.onset, self.length = trials.onset[seen], trials.length[seen]
        self.unit, self.size = left[:, seen] / size[seen], size[seen]
        data = self.white(series.up_m[:, None])[:, 0]
        self.data = data - q @ (q.T @ data)

    def false_alarms(self, rng, simulations=SIMULATIONS):
        """Return the :class:`FalseAlarms` of this record."""
        noise = rng.standard_normal((len(self.data), simulations))
        parts = range(0, simulations, 50)
        greatest = [np.abs(self.unit.T @ noise[:, k : k + 50]).max(axis=0) for k in parts]
        greatest = 0.5 * np.concatenate(greatest) ** 2
        return FalseAlarms(greatest, self.series.years)

    def best(self, alarms, excluded=()):
        """Return the best :class:`Candidate` outside the excluded (begin, end) days; or None."""
        found = self.unit.T @ self.data
        score = 0.5 * found**2
        for begin, end in excluded:
            score[(self.onset + self.length > begin) & (self.onset < end)] = 0.0
        if not score.size or score.max() <= 0.0:
            return None
        k = int(np.argmax(score))
        return Candidate(
            float(self.onset[k]),
            float(self.length[k]),
            float(found[k] / self.size[k]),
            float(score[k]),
            alarms.per_year(score[k]),
        )


def _steps(series):
    """Return onsets and lengths of all trial steps. [d]"""
    begin, end = series.day[0], series.day[-1]
    onset, length = [], []
    for trial in LENGTHS_D:
        if trial <= 0.5 * (end - begin):
            step = max(trial / PER_LENGTH, series.step_d)
            some = np.arange(begin, end - 0.25 * trial, step)
            onset.append(some)
            length.append(np.full(len(some), trial))
    return np.concatenate(onset), np.concatenate(length)
