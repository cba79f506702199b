"""One outcome from many numbers: changed up, changed down, no change larger than X, or cannot tell.

The rules are fixed here and stand beside the outcome. What is changed, and the words for up and
down, are the caller's.
"""

from dataclasses import dataclass

import numpy as np

from ..errors import SettingsError

UP, DOWN, NONE, UNKNOWN = "up", "down", "none larger", "cannot tell"
ALPHA = 0.05
LEAST_SEEN = 0.5  # of the samples around an onset that have values; our choice
LARGE_SHARE = 0.5  # of an effect that another cause explains; our choice
BEFORE = 0.5  # probability that the change began first, from which it is said; our choice
SURELY = 0.9  # probability that it began surely before, from which it is none; our choice
UNDER_WAY = 0.01  # p of a change under way before, below which it is none; our choice


@dataclass(frozen=True)
class Evidence:
    """What the outcome rests on. NaN, None or empty where a counter-test is missing: it is named.

    ``amplitude``, ``interval`` (2,) [value]; ``p`` of no effect, all searching paid for;
    ``events`` and ``series`` used; ``smallest`` change decided to be one in 80 of 100 [value];
    ``relevant`` the change that matters [value], set beforehand; ``pre_trend_p``;
    ``probability_before`` that the change began first, ``probability_early`` that it did by more
    than a value is a mean over; ``placebo_p``; ``placebo_series_p`` (adjusted, each); ``causes``:
    sequence of (name, p with the events, share explained); ``sign_holds`` without any one event;
    ``seen`` (events,) share of values around the onsets; ``noise_at_bound``, ``lag_at_edge``;
    ``agreeing`` of ``variations`` other choices whose sign is the same and whose interval
    excludes 0.
    """

    amplitude: float
    interval: tuple
    p: float
    events: int
    series: int
    smallest: float
    relevant: float = np.nan
    pre_trend_p: float = np.nan
    probability_before: float = np.nan
    probability_early: float = np.nan
    placebo_p: float = np.nan
    placebo_series_p: tuple = ()
    causes: tuple = ()
    sign_holds: bool | None = None
    seen: tuple = ()
    noise_at_bound: bool = False
    lag_at_edge: bool = False
    agreeing: int = 0
    variations: int = 0


@dataclass(frozen=True)
class Words:
    """The caller's words: what is ``changing``, ``up``, ``down``, and the ``unit`` of it.

    ``digits`` of numbers in sentences.
    """

    changing: str = "the value"
    up: str = "higher"
    down: str = "lower"
    unit: str = ""
    digits: int = 3

    def number(self, value):
        """Return a number with its unit."""
        return f"{value:.{self.digits}g} {self.unit}".strip()


@dataclass(frozen=True)
class Verdict:
    """``outcome``: ``up``, ``down``, ``none larger`` or ``cannot tell``; ``sentence`` says it.

    ``bound`` [value]: no change larger than this is compatible with the record, whatever the
    outcome; ``support`` and ``weakening``: sentences; ``missing``: counter-tests not made.
    """

    outcome: str
    sentence: str
    bound: float
    support: tuple
    weakening: tuple
    missing: tuple


def decide(evidence, words=None, alpha=ALPHA):
    """Return the :class:`Verdict`.

    Rules, in this order. (1) p at most ``alpha`` and an interval without 0: a change, up or down,
    unless it surely began before the events, was surely under way before them, or another cause
    explains half of it: then ``cannot tell``. (2) One of p and interval without the other: ``cannot
    tell``. (3) No change: ``none larger`` than the far end of the interval; but ``cannot tell``
    where that lies beyond the relevant change. Where none was set, it is named among what is
    missing.
    """
    words = Words() if words is None else words
    low, high = _checked(evidence)
    bound = max(abs(low), abs(high))
    support, weakening, missing = _support(evidence, words, alpha), [], []
    found = evidence.p <= alpha, low > 0.0 or high < 0.0
    blocking = _blocking(evidence, alpha, any(found))
    weakening += blocking + _weakening(evidence, alpha)
    missing += _missing(evidence)
    if all(found) and not blocking:
        outcome, sentence = _changed(evidence, words)
    elif all(found):
        outcome = UNKNOWN
        sentence = f"Cannot tell: {words.changing} changed with the events, but {blocking[0]}."
    elif any(found):
        outcome = UNKNOWN
        sentence = (
            f"Cannot tell: the test (p = {evidence.p:.2g}) and the interval "
            f"({_interval(evidence, words)}) do not agree."
        )
    else:
        outcome, sentence = _unchanged(evidence, words, bound)
    return Verdict(
        outcome=outcome,
        sentence=sentence,
        bound=bound,
        support=tuple(support),
        weakening=tuple(weakening),
        missing=tuple(missing),
    )


def _checked(evidence):
    low, high = evidence.interval
    if not (np.isfinite([evidence.amplitude, low, high, evidence.p]).all() and low <= high):
        raise SettingsError(
            f"amplitude {evidence.amplitude}, interval {low} to {high}, p {evidence.p}: nothing "
            "can be decided from numbers that are missing"
        )
    if evidence.events < 1 or evidence.series < 1 or not 0.0 < evidence.p <= 1.0:
        raise SettingsError(
            f"{evidence.events} events, {evidence.series} series, p {evidence.p}; expected one or "
            "more of each, and a p above 0 and up to 1"
        )
    return low, high


def _interval(evidence, words):
    low, high = evidence.interval
    return f"{words.number(low)} to {words.number(high)}"


def _changed(evidence, words):
    outcome = UP if evidence.amplitude > 0.0 else DOWN
    word = words.up if outcome == UP else words.down
    sentence = (
        f"{words.changing[0].upper()}{words.changing[1:]} becomes {word} with the events: by "
        f"{words.number(abs(evidence.amplitude))} (interval {_interval(evidence, words)}, "
        f"p = {evidence.p:.2g})."
    )
    return outcome, sentence


def _unchanged(evidence, words, bound):
    far = f"a change of up to {words.number(bound)} could have been missed"
    if np.isfinite(evidence.relevant) and bound > evidence.relevant:
        matters = words.number(evidence.relevant)
        return UNKNOWN, f"Cannot tell: {far}, more than the {matters} that matters."
    sentence = (
        f"No change of {words.changing} larger than {words.number(bound)} goes with the events "
        f"(interval {_interval(evidence, words)}, p = {evidence.p:.2g}); {far}."
    )
    return NONE, sentence


def _blocking(evidence, alpha, changed):
    """Return what forbids to call a change a response; what did not change began at no time."""
    found = []
    if changed and evidence.probability_early > SURELY:
        share = 100.0 * evidence.probability_early
        found.append(f"with {share:.0f} % probability it began before them")
    if evidence.pre_trend_p < UNDER_WAY:
        found.append(f"a change was under way before them (p = {evidence.pre_trend_p:.2g})")
    for name, p, explained in evidence.causes:
        if explained > LARGE_SHARE and (p < alpha or changed):
            too = "changes with them too, and " if p < alpha else ""
            found.append(f"{name} {too}explains {100 * explained:.0f} % of it")
    if any(p < alpha for p in evidence.placebo_series_p):
        found.append("a series that must not respond changes as well")
    return found


def _weakening(evidence, alpha):
    found = []
    if evidence.events == 1:
        found.append("there is one event only: chance or another cause of that day is not excluded")
    if evidence.series == 1:
        found.append("there is one series only: its instrument could be the cause")
    if evidence.p <= alpha and _maybe_before(evidence):
        share = 100.0 * evidence.probability_before
        found.append(f"it may have begun before them ({share:.0f} %), though not surely")
    if UNDER_WAY <= evidence.pre_trend_p < alpha:
        found.append(f"a change may have been under way before (p = {evidence.pre_trend_p:.2g})")
    if evidence.placebo_p > alpha >= evidence.p:
        found.append(f"other times give as much as often as p = {evidence.placebo_p:.2g} says")
    for name, p, explained in evidence.causes:
        if p < alpha and explained <= LARGE_SHARE:
            found.append(f"{name} changes with the events (p = {p:.2g})")
    if evidence.sign_holds is False:
        found.append("the direction rests on a single event")
    gaps = sum(share < LEAST_SEEN for share in evidence.seen)
    if gaps:
        found.append(f"{gaps} of {len(evidence.seen)} events have gaps at their onset")
    if evidence.noise_at_bound:
        found.append("the noise of the series is not well known: its memory ran against a limit")
    if evidence.lag_at_edge:
        found.append("the lag lies on the edge of what was allowed")
    if evidence.agreeing < evidence.variations and evidence.p <= alpha:
        others = evidence.variations - evidence.agreeing
        found.append(f"{others} of {evidence.variations} other choices do not show it")
    return found


def _maybe_before(evidence):
    """Say whether a change may have begun before the events, but not surely."""
    return evidence.probability_before > BEFORE and not evidence.probability_early > SURELY


def _support(evidence, words, alpha):
    found = []
    if evidence.p <= alpha:
        found.append(f"chance alone does as much with p = {evidence.p:.2g}")
    if evidence.placebo_p <= alpha:
        found.append(f"other times do not show it (p = {evidence.placebo_p:.2g})")
    if evidence.placebo_series_p and min(evidence.placebo_series_p) >= alpha:
        found.append("series that must not respond do not")
    if evidence.pre_trend_p >= alpha:
        found.append(f"nothing was under way before (p = {evidence.pre_trend_p:.2g})")
    if evidence.probability_before <= BEFORE:
        share = 100.0 * evidence.probability_before
        found.append(f"it began before the events with {share:.0f} % probability only")
    if evidence.sign_holds:
        found.append("the direction holds without any one event")
    if evidence.variations and evidence.agreeing == evidence.variations:
        found.append(f"all {evidence.variations} other choices show it")
    if np.isfinite(evidence.smallest):
        least = words.number(evidence.smallest)
        found.append(
            f"a change of {least} would have been called {words.up} or {words.down} in 80 of 100"
        )
    return found


def _missing(evidence):
    """Return the names of the counter-tests that were not made."""
    single = {
        "change before the events": evidence.pre_trend_p,
        "order in time": evidence.probability_before,
        "other times": evidence.placebo_p,
        "power": evidence.smallest,
        "a relevant change": evidence.relevant,
    }
    missing = [name for name, value in single.items() if not np.isfinite(value)]
    missing += [] if evidence.placebo_series_p else ["series that must not respond"]
    missing += [] if evidence.causes else ["other causes"]
    missing += [] if evidence.variations else ["other choices"]
    missing += ["leaving events out"] if evidence.sign_holds is None and evidence.events > 1 else []
    return missing
