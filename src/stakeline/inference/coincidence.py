"""Do two kinds of events fall together more often than chance? Event coincidence analysis.

Donges, Schleussner, Siegmund & Donner (2016), Eur. Phys. J. Special Topics 225, 471. An event A and
an earlier event B coincide when ``0 <= (t_A - delay) - t_B <= window``. The precursor rate is the
share of events A that some B went before, the trigger rate the share of events B that some A
followed. Null: both kinds fall independently and uniformly (Poisson), rare against the window.
"""

from dataclasses import dataclass

import numpy as np
from scipy.stats import binom

from ..errors import SettingsError


@dataclass(frozen=True)
class Coincidence:
    """Rates of coincidence and the chance that independent events reach them.

    ``precursor_rate`` of ``answers`` events A, ``trigger_rate`` of ``causes`` events B, each with
    its p (one-sided: at least so many) and the count ``expected`` by chance over the number of
    events. Times known as samples are averaged over: rates and p are means over samples.
    """

    precursor_rate: float
    precursor_p: float
    precursor_expected: float
    trigger_rate: float
    trigger_p: float
    trigger_expected: float
    answers: int
    causes: int


def coincidence(answers, causes, start, end, window, delay=0.0):
    """Return the :class:`Coincidence` of answers (A) with causes (B).

    Parameters
    ----------
    answers, causes : array (a,), (b,) or (a, samples), (b, samples)
        Times, or equally likely samples of them. [time]
    start, end : float
        The record. [time]
    window, delay : float
        Longest wait, and least delay, of an answer after its cause. [time]

    Raises
    ------
    SettingsError
        No event of a kind, one outside the record, or a window and delay that leave no record.
    """
    a, b = _samples(answers, start, end, "answer"), _samples(causes, start, end, "cause")
    if not (window > 0.0 and delay >= 0.0 and delay + window < end - start):
        raise SettingsError(
            f"window of {window} after a delay of {delay} in a record of {end - start:g}; expected "
            "a positive window, no negative delay, and both shorter than the record"
        )
    samples = max(a.shape[1], b.shape[1])
    found = np.array(
        [_one(a[:, s % a.shape[1]], b[:, s % b.shape[1]], window, delay) for s in range(samples)]
    )
    share = window / (end - start - delay)
    precursor, trigger = 1.0 - (1.0 - share) ** len(b), 1.0 - (1.0 - share) ** len(a)
    return Coincidence(
        precursor_rate=float(found[:, 0].mean() / len(a)),
        precursor_p=float(binom.sf(found[:, 0] - 1, len(a), precursor).mean()),
        precursor_expected=float(precursor),
        trigger_rate=float(found[:, 1].mean() / len(b)),
        trigger_p=float(binom.sf(found[:, 1] - 1, len(b), trigger).mean()),
        trigger_expected=float(trigger),
        answers=len(a),
        causes=len(b),
    )


def _one(a, b, window, delay):
    """Return how many answers had a cause, and how many causes an answer."""
    since = (a[:, None] - delay) - b
    close = (since >= 0.0) & (since <= window)
    return close.any(axis=1).sum(), close.any(axis=0).sum()


def _samples(times, start, end, name):
    times = np.asarray(times, float)
    if times.size == 0:
        raise SettingsError(f"no {name} was given: there is nothing to compare")
    times = times[:, None] if times.ndim == 1 else times
    outside = ~((times >= start) & (times <= end)).all(axis=1)
    if outside.any():
        worst = int(np.argmax(outside))
        raise SettingsError(
            f"{name} {worst + 1} at {times[worst].mean():g} is outside the record from {start:g} "
            f"to {end:g}: leave it out"
        )
    return times
