"""Power spectra of what is left of a series, and of the noise fitted to it."""

from dataclasses import dataclass

import numpy as np
from scipy.special import gammaincinv

from ..errors import SolutionError

HANN_OVERLAP = 1.0 / 6.0  # -, correlation of Hann windows that overlap by half: their own integral
LEAST_SHARE = 0.9  # of a segment that is there; our choice
SHORTEST = 32  # samples of a segment; our choice


@dataclass(frozen=True)
class PowerSpectrum:
    """One-sided power at ``frequency_cpd`` (m,), in the square of the unit times days.

    ``segments`` were averaged; ``interval`` (2,) are factors of the 95 % interval of the power.
    """

    frequency_cpd: np.ndarray
    power: np.ndarray
    segments: int
    interval: tuple


def power_spectrum(value, interval_d, samples):
    """Return the :class:`PowerSpectrum` of a regular series by averaged periodograms.

    Parameters
    ----------
    value : array, shape (n,)
        NaN is missing. Segments that lack more than a tenth are left out; what lacks in others
        counts as the mean, and their power is scaled up for it.
    interval_d : float
        Sampling interval. [d]
    samples : int
        Length of a segment; half of the record where that is shorter.

    Raises
    ------
    SolutionError
        Where no segment is whole enough.

    Notes
    -----
    Hann windows overlapping by half (Welch 1967, IEEE Trans. AU-15, 70); degrees of freedom by the
    same source, equation for overlapping segments (from memory).
    """
    value = np.asarray(value, float)
    length = int(min(samples, value.size // 2)) // 2 * 2
    if length < SHORTEST:
        raise SolutionError(f"a spectrum needs {2 * SHORTEST} samples; {value.size} are there")
    found = segment_transforms(value, length)
    found = np.abs(found[np.isfinite(found[:, 0])]) ** 2
    if not len(found):
        raise SolutionError(f"no {length} samples in a row are whole enough for a spectrum")
    power = 2.0 * interval_d * np.mean(found, axis=0)
    power[-1] *= 0.5  # the highest frequency has no mirror image
    keep = slice(1, None)
    frequency = np.fft.rfftfreq(length, interval_d)
    count = len(found)
    return PowerSpectrum(frequency[keep], power[keep], count, _interval(count))


def segment_transforms(value, length):
    """Return the transforms (k, length / 2 + 1) of Hann segments that overlap by half.

    Of a series (n,), each segment less its mean and scaled to unit power of the window; NaN where
    more than a tenth of a segment is missing.
    """
    window = np.sin(np.pi * (np.arange(length) + 0.5) / length) ** 2
    starts = range(0, value.size - length + 1, length // 2)
    found = np.full((len(starts), length // 2 + 1), np.nan, complex)
    for row, start in enumerate(starts):
        part = value[start : start + length]
        there = np.isfinite(part)
        if there.mean() >= LEAST_SHARE:
            part = np.where(there, part - part[there].mean(), 0.0) * window
            found[row] = np.fft.rfft(part) / np.sqrt(np.sum(window[there] ** 2))
    return found


def independent_segments(count):
    """Return how many independent segments weigh as much as so many that overlap by half."""
    return count / (1.0 + 2.0 * HANN_OVERLAP**2 * (1.0 - 1.0 / count))


def _interval(count):
    """Return factors of the 95 % interval of the mean of so many overlapping segments."""
    half_freedom = independent_segments(count)
    ends = gammaincinv(half_freedom, (0.975, 0.025))
    return tuple(float(half_freedom / end) for end in ends)


def noise_power(frequency_cpd, interval_d, white_sigma, coloured_sigma=(), coloured_memory_d=()):
    """Return the one-sided power (m,) of white and Gauss-Markov noise sampled at an interval.

    A Gauss-Markov noise of memory m has the power of an autoregression of coefficient
    exp(-interval / m): Priestley (1981), Spectral Analysis and Time Series, section 4.12 (from
    memory); what lies above the highest frequency is folded in.
    """
    frequency = np.asarray(frequency_cpd, float)
    power = np.full(frequency.shape, 2.0 * interval_d * white_sigma**2)
    for sigma, memory in zip(coloured_sigma, coloured_memory_d, strict=True):
        keep = np.exp(-interval_d / memory)
        turn = 2.0 * np.pi * frequency * interval_d
        shape = (1.0 - keep**2) / (1.0 - 2.0 * keep * np.cos(turn) + keep**2)
        power += 2.0 * interval_d * sigma**2 * shape
    return power
