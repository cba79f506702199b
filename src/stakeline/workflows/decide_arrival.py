"""When the response of each drainage comes to each station, from the way that it has gone."""

import numpy as np

from ..errors import StakelineError
from ..inference.arrival import arrival_likelihood
from .decide_covariates import influences_taken_off

STEP_D = 0.1  # d, between arrivals that are tried; choice
EARLY_D = 1.0  # d, by which an arrival may come before the onset, which is not known well; choice


def arrival_times(part):
    """Return the times (a,) after an onset at which half of a change may have come. [d]"""
    first, last = part.lag_d[0] - EARLY_D, part.lag_d[1] + 0.5 * max(part.rise_d)
    return np.arange(first, last + 0.5 * STEP_D, STEP_D)


def arrivals_of(part, question, speeds):
    """Return the logarithm of the likelihood (events, a) of a station's arrivals.

    NaN where its record around an event is too thin. That ends a day after the event, where the
    length of the decay hardly shows: the shortest is taken.
    """
    times = arrival_times(part)
    taken = influences_taken_off(part, question)
    gone = None if taken is None else np.cumsum(taken, axis=0) * part.window_d
    onset = question.events.middle
    lasting = np.median(question.events.end, axis=1) - onset
    found = np.full((len(onset), len(times)), np.nan)
    for number in range(len(onset)):
        try:
            found[number] = arrival_likelihood(
                question.days, speeds.way_percent_d, onset[number], lasting[number], times,
                rises=part.rise_d, decay=min(part.decay_d), covariates=gone,
            )  # fmt: skip
        except StakelineError:
            continue
    return found
