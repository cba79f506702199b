"""Has a bank lost capacity: does its charge, by the voltage at rest, fall faster than it did?

The usable charge left, by the voltage's law, is held against that by counting: (charge less what
the cold locks up) by what it leaves. What is wrong with the law shows by temperature as it does by
discharge, so that a cold week is no loss, and hides none. Two models of up to 30 days are weighed
by their marginal likelihoods, as linear with normal priors (Rasmussen & Williams 2006, Gaussian
Processes for Machine Learning, section 2.7): as before, and half of the capacity gone at a day
within the last twelve, each as likely. What was told holds until the same two, of the nights before
the loss and the last thirty, speak for a bank as it was.
"""

import numpy as np
from scipy.linalg import cho_factor, cho_solve
from scipy.special import logsumexp

from .battery import RATED_DEGC
from .health_fit import SHARE, left_V, plain_bank, usable_share
from .health_parts import BANK, ended, grown, held_on

BEFORE_D, NEWEST_D, OLDEST_D = 30, 2, 12  # d, looked at; d since the loss; own choice
LEAST_NIGHTS = 10  # of a window: fewer leave the slope to its prior; own choice
NIGHT_SIGMA = 0.004  # -, of the charge by a night's voltage, besides what stays the same; measured
WALK_SIGMA = 0.0015  # -, by root of a day, by which law and charge part; own choice
CHARGED_SIGMA = 0.10  # -, of what was charged, how much of it is kept; own choice
CAPACITY_SIGMA = 0.10  # -, of the capacity fitted; own choice
LAW_SIGMA, BEND_SIGMA = 0.5, 0.25  # -, of the law's slope and its bend, by charge left; own choice
LOCKED_SIGMA_K = 0.001  # 1/K, of the share locked up by the cold; an eighth of the handbook's
WARM_SIGMA_K = 0.001  # 1/K, by which the charge told may follow the temperature; own choice
LEVEL_SIGMA = 0.1  # -, of the charge from which it is counted; own choice
SAME_SIGMA, LOST_SIGMA = 0.10, 0.35  # -, of the slope's change without and with loss; own choice
CHARGED_SHARE = 0.3  # -, of what is drawn, charged in a day: no night at rest then; own choice
LEAST_LEFT = 0.0  # -, of the usable charge, below which law and bank part; own choice
LOST_AT = 1.1  # -, logarithm of the odds at which it is told; set on 328 invented winters
BACK_AT = -3.0  # -, the same logarithm, at which the capacity is said to be back; own choice
ABOVE_FULL_V = 0.1  # V of 12, over the full bank's at rest: it is being charged; own choice


def aged_bank(design, nights, course):
    """Return findings of a bank whose charge falls faster than it did.

    Parameters
    ----------
    design : Design
    nights : Nights
    course : BankCourse
        Of the same days; what it told twelve days before is taken for sound.
    """
    found, begins, sound = [], 0, 0
    for day in range(OLDEST_D, nights.in_Ah.size):
        holds = bool(found) and found[-1].ended < 0
        sound = sound if holds else day - OLDEST_D
        given = design.bank, course.clouds[day - OLDEST_D], nights, day
        odds, since, times = loss_odds(*given, float(course.capacity_Ah[day - OLDEST_D]))
        before = float(course.capacity_Ah[sound])
        if odds > LOST_AT:
            begins = begins if holds else since
            why = (
                f"its charge falls {times:.1f} times as fast as it did, of {before:.0f} Ah, by the "
                "voltage at rest: cells fail, a string is off, or it is colder than its sensor"
            )
            found = grown(found, BANK, begins, day, why)
        elif holds:
            span = begins, found[-1].told, day
            odds = still_lost_odds(design.bank, course.clouds[sound], nights, span, before)
            found = ended(found, day) if odds < BACK_AT else held_on(found, day)
    return found


def left_told(bank, cloud, nights, rows):
    """Return the usable charge left by the voltage at rest of days, by a cloud's mean; NaN: none.

    Of what the cold leaves; above 1 while the voltage is above the law for a full bank.
    """
    bank, degrees = plain_bank(bank), nights.rest_degC[rows]
    left = np.linspace(LEAST_LEFT, 1.0, 56)
    ohm = bank.resistance_ohm * 2.0 ** ((RATED_DEGC - degrees) / 40.0)
    volts = nights.rest_V[rows] - nights.rest_A[rows] * ohm
    laws = left_V(bank, cloud.mean, left, np.nan_to_num(degrees)[:, None])
    above = ABOVE_FULL_V * bank.nominal_V / 12.0
    now = np.full(rows.size, np.nan)
    for k in np.flatnonzero((volts >= laws[:, 0]) & (volts <= laws[:, -1] + above)):
        now[k] = np.interp(volts[k], laws[k], left)
        over = volts[k] - laws[k, -1]
        if over > 0.0:  # goes on straight: a law that is low by a little shows no fall otherwise
            now[k] = 1.0 + over * (left[-1] - left[-6]) / (laws[k, -1] - laws[k, -6])
    return now


def loss_odds(bank, cloud, nights, day, capacity_Ah):
    """Return (logarithm of the odds for a loss, day of it, times as fast as before) at a day's end.

    Parameters
    ----------
    bank : Bank
    cloud : Cloud
        Possible banks before any loss, whose mean tells charge by voltage.
    nights : Nights
    day : int
    capacity_Ah : float
        Before any loss.

    Returns
    -------
    tuple
        (-inf, day, 1) where too few nights tell. A day that was charged is left out, and what the
        bank held then is taken for unknown.
    """
    rows = np.arange(max(day - BEFORE_D + 1, 0), day + 1)
    since = np.arange(max(rows.size - OLDEST_D, 1), rows.size - NEWEST_D + 1)
    apart = np.zeros(rows.size, bool)
    told = _held_against(bank, cloud, nights, rows, apart, since, capacity_Ah)
    return (-np.inf, day, 1.0) if told is None else told


def still_lost_odds(bank, cloud, nights, span, capacity_Ah):
    """Return the logarithm of the odds that a loss told still holds, against a bank as before.

    Of the nights before the loss, which tell the law, and up to thirty after it was told. What the
    bank held when those begin is taken for unknown.

    Parameters
    ----------
    bank : Bank
    cloud : Cloud
        Before the loss.
    nights : Nights
    span : tuple of int
        Day of the loss, day it was told, and today.
    capacity_Ah : float
        Before the loss.

    Returns
    -------
    float
        0 where too few nights tell.
    """
    begins, told, day = span
    rows = np.arange(max(begins - (BEFORE_D - OLDEST_D), 0), day + 1)
    again = max(told + 1, day - BEFORE_D + 1)
    apart = (rows >= begins) & (rows < again)
    after = np.arange(again, day + 1)
    quiet = nights.in_Ah[after] <= CHARGED_SHARE * nights.out_Ah[after]
    if (quiet & np.isfinite(nights.rest_V[after])).sum() < LEAST_NIGHTS:
        return 0.0
    since = np.array([again - rows[0]])
    found = _held_against(bank, cloud, nights, rows, apart, since, capacity_Ah)
    return 0.0 if found is None else found[0]


def _held_against(bank, cloud, nights, rows, apart, since, capacity_Ah):
    """Return what :func:`loss_odds` does of rows; None where they do not tell.

    ``apart`` (n,): days left out, the charge after them unknown; ``since`` (k,): places in the rows
    at which the loss may have come.
    """
    into, out = nights.in_Ah[rows], nights.out_Ah[rows]
    charged = into > CHARGED_SHARE * out
    if charged[-NEWEST_D:].any():
        return None
    left = np.where(charged | apart, np.nan, left_told(bank, cloud, nights, rows))
    known = np.isfinite(left)
    if known.sum() < LEAST_NIGHTS or not known[-NEWEST_D:].any():
        return None
    change = (SHARE * into - out) / capacity_Ah
    doubt = WALK_SIGMA**2 + (CHARGED_SIGMA * into / capacity_Ah) ** 2 + (charged | apart)
    usable = usable_share(cloud.mean.cold_per_K, nights.rest_degC[rows])[known]
    cold = RATED_DEGC - nights.rest_degC[rows][known]
    counted = np.cumsum(change)[known]
    level = _levels(1.0 - (1.0 - left[known]) * usable - counted, np.cumsum(apart)[known])
    held = 1.0 - (1.0 - level - counted) / usable
    common = _common(counted, held, usable, cold, np.cumsum(doubt)[known])
    faster = np.cumsum(np.where(np.arange(rows.size) >= since[:, None], change, 0.0), axis=1)
    off = left[known] - held
    return _weighed(off - off.mean(), common, faster[:, known] / usable, rows[since])


def _levels(values, part):
    """Return the mean of values (n,) in each part, for each of them."""
    _, place = np.unique(part, return_inverse=True)
    return (np.bincount(place, values) / np.bincount(place))[place]


def _common(counted, held, usable, cold, walked):
    """Return the covariance (n, n) of the usable charge told less counted, without any loss.

    Parameters
    ----------
    counted : array, shape (n,)
        What was charged and drawn by then, by capacity.
    held : array, shape (n,)
        Usable charge left by counting.
    usable : array, shape (n,)
        Share of the capacity that the cold leaves.
    cold : array, shape (n,)
        By which it is colder than where capacity is rated. [K]
    walked : array, shape (n,)
        Variance of the charge counted by then.
    """
    night = np.minimum(walked[:, None], walked) + NIGHT_SIGMA**2 * np.eye(counted.size)
    common = 1.0 + night / np.outer(usable, usable)  # 1: whatever the height
    about = held - held.mean()
    locked = (1.0 - held) * cold / usable
    for course, sigma in (
        (1.0 / usable, LEVEL_SIGMA),
        (counted / usable, CAPACITY_SIGMA),
        (about, LAW_SIGMA),
        (about**2, BEND_SIGMA),
        (locked - locked.mean(), LOCKED_SIGMA_K),
        (cold - cold.mean(), WARM_SIGMA_K),
    ):
        common += sigma**2 * np.outer(course, course)
    return common


def _weighed(off, common, faster, begins):
    """Return what :func:`loss_odds` does; ``faster`` (k, n): what a loss at ``begins`` adds."""
    whole = cho_factor(common, lower=True)
    solved, own = cho_solve(whole, off), cho_solve(whole, faster.T)
    seen, size = faster @ solved, np.einsum("kn,nk->k", faster, own)

    def logarithm(mean, sigma):  # of the likelihood, less what both have
        precise = size + sigma**-2
        told = (seen + mean / sigma**2) ** 2 / precise - (mean / sigma) ** 2
        return 0.5 * told - 0.5 * np.log(sigma**2 * precise)

    lost = logarithm(1.0, LOST_SIGMA)
    odds = logsumexp(lost) - logsumexp(logarithm(0.0, SAME_SIGMA))
    best = int(np.argmax(lost))
    times = 1.0 + (seen[best] + LOST_SIGMA**-2) / (size[best] + LOST_SIGMA**-2)
    return float(odds), int(begins[best]), float(times)
