"""How alike two stations' speeds are, period by period, and which of them is late.

Squared coherence of averaged cross periodograms (Welch 1967, IEEE Trans. AU-15, 70) in bands: of
each frequency by its own power, so that the strongest of a band does not speak for all, then the
mean over the band. Segments that overlap and frequencies that lie side by side are not independent,
and are counted as fewer.

Noise that stations share, of orbits and frame, is as coherent as motion that they share.
"""

from dataclasses import dataclass

import numpy as np

from ..errors import SettingsError
from .spectrum import SHORTEST, independent_segments, segment_transforms

BANDS_CPD = {
    "half a day": (1.80, 2.10),
    "a day": (0.85, 1.12),
    "days": (1.0 / 7.0, 1.0 / 2.0),
    "weeks": (1.0 / 21.0, 1.0 / 7.0),
}
"""First and last frequency of each band [1/d]; our choice: tides, weather and floods, beats."""
SEGMENT_D = 32.0  # d; our choice: two fortnightly beats
CHANCE = 0.05  # chance that unrelated series pass the level; convention
LEAST_SEGMENTS = 3  # our choice
NEIGHBOURS = 4.0 / 9.0, 1.0 / 36.0  # squared correlation of Hann transforms 1 and 2 bins apart
UNKNOWN_PHASE_RAD = np.pi / np.sqrt(3.0)  # rad, sigma of a phase that may be any


@dataclass(frozen=True)
class Coherence:
    """Two series in one band.

    ``coherence`` is squared, 0 to 1; ``level`` is passed by unrelated series in 5 of 100 cases,
    ``p_value`` the chance of so much. ``lag_d`` > 0: the second follows the first; it is known up
    to whole multiples of ``period_d``, the middle of the band, and given within half of one.
    ``independent``: how many independent estimates were averaged. All NaN where ``why`` says why.
    """

    band: str
    coherence: float
    level: float
    p_value: float
    lag_d: float
    lag_sigma_d: float
    period_d: float
    independent: float
    why: str = ""


@dataclass(frozen=True)
class Segments:
    """Transforms (k, m) of the segments of one series at ``frequency_cpd`` (m,)."""

    transform: np.ndarray
    frequency_cpd: np.ndarray


def segments_of(value, interval_d):
    """Return the :class:`Segments` of a regular series (n,) of that interval; NaN is missing.

    Segments are of 32 d, or of half the record where that is shorter.
    """
    value = np.asarray(value, float)
    length = int(min(SEGMENT_D / interval_d, value.size // 2)) // 2 * 2
    if length < SHORTEST:
        return Segments(np.zeros((0, 0), complex), np.zeros(0))
    return Segments(segment_transforms(value, length), np.fft.rfftfreq(length, interval_d))


def coherences(first, second):
    """Return a tuple of :class:`Coherence`, one for each band, of two :class:`Segments`.

    Both of series at the same times. A segment counts where both have it.

    Notes
    -----
    Level ``1 - chance^(1/(N - 1))`` of N independent estimates: Thompson (1979), J. Atmos. Sci.
    36, 2020; sigma of the phase ``sqrt((1 - c) / (2 N c))``: Bendat & Piersol (2010), Random Data,
    section 9.2.6, from memory. N: segments by their overlap, times frequencies by the correlation
    of neighbours (4/9 and 1/36, of Hann windows).
    """
    if first.transform.shape != second.transform.shape:
        raise SettingsError(
            f"segments {first.transform.shape} and {second.transform.shape}; expected series at "
            "the same times"
        )
    if not first.frequency_cpd.size:
        return tuple(_nothing(band, "the record is too short") for band in BANDS_CPD)
    both = np.isfinite(first.transform[:, 0]) & np.isfinite(second.transform[:, 0])
    if both.sum() < LEAST_SEGMENTS:
        why = f"{both.sum()} segments that both have; {LEAST_SEGMENTS} are needed"
        return tuple(_nothing(band, why) for band in BANDS_CPD)
    return tuple(
        _in_band(band, first.transform[both], second.transform[both], first.frequency_cpd)
        for band in BANDS_CPD
    )


def _nothing(band, why):
    return Coherence(band, *[np.nan] * 7, why)


def _in_band(band, one, other, frequency):
    """Return the :class:`Coherence` of one band from transforms (k, m)."""
    low, high = BANDS_CPD[band]
    if high > frequency[-1]:
        return _nothing(band, "the results lie too far apart")
    inside = (frequency >= low) & (frequency <= high)
    if not inside.any():
        return _nothing(band, "the record is too short")
    one, other = one[:, inside], other[:, inside]
    cross = np.mean(np.conj(one) * other, axis=0)
    power = np.mean(np.abs(one) ** 2, axis=0) * np.mean(np.abs(other) ** 2, axis=0)
    if not (power > 0.0).all():
        return _nothing(band, "a series does not change")
    mean = np.mean(cross / np.sqrt(power))
    squared = min(float(np.abs(mean) ** 2), 1.0)
    count = independent_segments(len(one)) * _independent_bins(int(inside.sum()))
    middle = float(frequency[inside].mean())
    phase = -float(np.angle(mean))
    spread = np.sqrt((1.0 - squared) / (2.0 * count * max(squared, 1e-12)))
    turn = 2.0 * np.pi * middle
    return Coherence(
        band, squared, significance_level(count), float((1.0 - squared) ** (count - 1.0)),
        phase / turn, float(min(spread, UNKNOWN_PHASE_RAD)) / turn, 1.0 / middle, count,
    )  # fmt: skip


def significance_level(independent, chance=CHANCE):
    """Return the squared coherence that unrelated series pass with this chance.

    Thompson (1979), J. Atmos. Sci. 36, 2020: of so many independent estimates.
    """
    return float(1.0 - chance ** (1.0 / (independent - 1.0)))


def _independent_bins(count):
    """Return how many independent frequencies weigh as much as so many side by side."""
    shares = [(1.0 - j / count) * r for j, r in enumerate(NEIGHBOURS, 1) if j < count]
    return count / (1.0 + 2.0 * sum(shares))
