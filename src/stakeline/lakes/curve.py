"""The course of one filling or draining, and what its onset, peak and end are.

The roof has moved by the share I(p, q; x) of the whole, the regularised incomplete beta function
(DLMF 8.17), x = (time - onset) / length: it begins as x^p and ends as (1 - x)^q, the rate has one
peak. p = q = 1 is an even rate, p = q = 2 a cubic step.
"""

import numpy as np
from scipy.signal import lfilter
from scipy.special import betainc, betaincinv, betaln

ONSETS = {
    "start": "the fitted curve leaves its level",
    "5 %": "5 % of the change is over",
    "10 %": "10 % of the change is over",
    "rate": "the rate first reaches a tenth of its peak",
    "tangent": "the tangent at the peak rate meets the level before",
}
"""Definitions of the onset; the first is the one that is meant where none is named."""

ENDS = {
    "end": "the fitted curve reaches its level",
    "95 %": "95 % of the change is over",
    "90 %": "90 % of the change is over",
    "rate": "the rate last stands at a tenth of its peak",
    "tangent": "the tangent at the peak rate meets the level after",
}
PEAK = "the rate of the fitted curve is greatest"
RATE_SHARE = 0.1  # -, of the peak rate; choice, as the definitions say
_FINE = np.linspace(0.0, 1.0, 801)  # -, where a rate is looked for; choice


def ramp(share, rise, fall):
    """Return what is over (0 to 1) of a change at shares of its length; arrays that fit."""
    x, rise, fall = np.broadcast_arrays(share, rise, fall)
    moved = np.array(x >= 1.0, float)
    inside = (x > 0.0) & (x < 1.0)
    moved[inside] = betainc(rise[inside], fall[inside], x[inside])
    return moved


def reached(moved, rise, fall):
    """Return the share of the length at which so much (0 to 1) of a change is over."""
    return betaincinv(rise, fall, np.clip(moved, 0.0, 1.0))


def peak_share(rise, fall):
    """Return the share of the length at which the rate is greatest."""
    rise, fall = np.asarray(rise, float), np.asarray(fall, float)
    both = rise + fall - 2.0
    return np.where(both > 1e-6, (rise - 1.0) / np.where(both > 1e-6, both, 1.0), 0.5)


def rate_at(share, rise, fall):
    """Return the rate, as a multiple of change over length, at shares of the length."""
    x = np.clip(share, 1e-12, 1.0 - 1e-12)
    log = (rise - 1.0) * np.log(x) + (fall - 1.0) * np.log1p(-x) - betaln(rise, fall)
    return np.exp(log)


def onset_shares(rise, fall):
    """Return {definition: share of the length} for each of :data:`ONSETS`, arrays (n,)."""
    rise, fall = np.atleast_1d(rise).astype(float), np.atleast_1d(fall).astype(float)
    peak = peak_share(rise, fall)
    steepest = rate_at(peak, rise, fall)
    fast = rate_at(_FINE[:, None], rise, fall) >= RATE_SHARE * steepest
    return {
        "start": np.zeros(rise.shape),
        "5 %": betaincinv(rise, fall, 0.05),
        "10 %": betaincinv(rise, fall, 0.10),
        "rate": _FINE[np.argmax(fast, axis=0)],
        "tangent": peak - betainc(rise, fall, peak) / steepest,
    }


def end_shares(rise, fall):
    """Return {definition: share of the length} for each of :data:`ENDS`, arrays (n,)."""
    mirrored = onset_shares(fall, rise)
    return {name: 1.0 - mirrored[k] for name, k in zip(ENDS, ONSETS, strict=True)}


def relaxed(level, step, memory):
    """Return the late copy r of a level (n,) at even steps: dr/dt = (level - r) / memory.

    Exact for levels straight between nodes that rest before the first one.
    """
    level = np.asarray(level, float)
    x = step / memory
    kept = np.exp(-x)
    newer = 1.0 - (1.0 - kept) / x
    drive = newer * level
    drive[1:] += (1.0 - kept - newer) * level[:-1]
    drive[0] = level[0]
    return lfilter([1.0], [1.0, -kept], drive)
