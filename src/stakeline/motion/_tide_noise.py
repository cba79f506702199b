"""Noise around each tidal band, from the spectrum of the residuals of an uneven series."""

import numpy as np

_HALF_BAND_H = 0.25 / 24.0  # cycles/h; half width of the window around a fast constituent
_SLOW_BAND = 2.5  # the window around a slow one runs from its frequency over this to it times this
_SLOW_H = 0.5 / 24.0  # cycles/h; below it the spectrum is too steep for a window of fixed width
_LEAST_LINES = 6
_MOST_LINES = 50
_BINS_A_CYCLE = 6
_BLOCK = 2**22  # samples times frequencies at once


def band_noise(hours, residual, weight, cycles_h):
    """Return sigmas (k + 1,) of white noise as strong as the residuals near k frequencies.

    The last one is for the lowest frequencies, where mean and trend live.

    Parameters
    ----------
    hours, residual, weight : arrays, shape (n,)
        Times [h], residuals of the fit, weights relative to 1.
    cycles_h : array, shape (k,)
        Frequencies of the fitted constituents. [cycles/h]

    Notes
    -----
    A pair of cosine and sine takes 2 sigma^2 of the sum of squares of white noise. That share is
    averaged over frequencies near each constituent but 0.75 cycles in the record away from every
    fitted one, because the fit has emptied those. After Munk & Cartwright (1966) and Pawlowicz et
    al. (2002), section 3, for uneven times.
    """
    span = np.ptp(hours)
    slowest = 0.75 / span
    grid = [_window(f, span) for f in (*cycles_h, slowest)]
    lines = np.unique(np.concatenate(grid))
    fitted = np.asarray(cycles_h, float)
    apart = np.abs(lines[:, None] - fitted[None]).min(axis=1) if fitted.size else np.inf
    clear = np.broadcast_to(apart * span > 0.75, lines.shape)
    lines = lines[clear & (lines * span > 0.9)]
    fastest = max(fitted.max(initial=0.0), 2.0 / span) + _HALF_BAND_H
    share = _shares(*_binned(hours, residual, weight, 1.0 / fastest / _BINS_A_CYCLE), lines)
    white = np.sum(weight * residual**2) / max(residual.size - 2 * fitted.size - 2, 1)
    return np.array(
        [_near(f, g, lines, share, white) for f, g in zip((*fitted, slowest), grid, strict=True)]
    )


def _window(cycles_h, span):
    """Return the frequencies to look at around one. [cycles/h]"""
    low, high = cycles_h - _HALF_BAND_H, cycles_h + _HALF_BAND_H
    if cycles_h < _SLOW_H:
        low, high = cycles_h / _SLOW_BAND, cycles_h * _SLOW_BAND
    low, high = min(low, cycles_h - 4.0 / span), max(high, cycles_h + 4.0 / span)
    step = max(0.5 / span, (high - low) / _MOST_LINES)
    return np.arange(np.ceil(low / step), np.floor(high / step) + 1) * step


def _binned(hours, residual, weight, width_h):
    """Return means over short bins: as much as these frequencies need, and no more samples."""
    bins = np.floor((hours - hours.min()) / width_h).astype(np.int64)
    _, where = np.unique(bins, return_inverse=True)
    total = np.bincount(where, weight)
    return (
        np.bincount(where, weight * hours) / total,
        np.bincount(where, weight * residual) / total,
        total,
    )


def _shares(hours, residual, weight, cycles_h):
    """Return half the weighted sum of squares that a sine wave takes at each frequency."""
    out = np.empty(cycles_h.size)
    block = max(1, _BLOCK // hours.size)
    for first in range(0, cycles_h.size, block):
        part = slice(first, first + block)
        angle = 2.0 * np.pi * cycles_h[part, None] * hours
        cosine, sine = np.cos(angle), np.sin(angle)
        cc, ss, cs = (cosine**2) @ weight, (sine**2) @ weight, (cosine * sine) @ weight
        c, s = cosine @ (weight * residual), sine @ (weight * residual)
        out[part] = 0.5 * (ss * c**2 - 2.0 * cs * c * s + cc * s**2) / (cc * ss - cs**2)
    return out


def _near(cycles_h, window, lines, share, white):
    """Return the sigma of the noise around one frequency."""
    if not lines.size:
        return np.sqrt(white)
    inside = (lines >= window[0]) & (lines <= window[-1])
    if inside.sum() < _LEAST_LINES:
        inside = np.argsort(np.abs(lines - cycles_h))[:_LEAST_LINES]
    return np.sqrt(np.mean(share[inside]))
