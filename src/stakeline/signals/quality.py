"""Quality of a station's day by its raw signals: completeness, slips, multipath, strength, sky.

Nothing here needs a position solution: code and phase against each other, and elevations.
"""

import itertools
from dataclasses import dataclass, field

import numpy as np

from ..constants import NS_PER_S
from .clock_jumps import repair_clock_jumps
from .slips import MAX_GAP_S, slips_by_signals

MASK_RAD = np.radians(10.0)  # rad; above it a good site sees everything, common practice
STEPS_DEG = (10, 20, 30, 45, 60, 90)  # deg; of elevation, for strength and multipath
LEAST_ARC = 30  # epochs, of which a mean of code less phase is taken; own choice
TEC_M3_S2 = 40.308  # m3/s2; refraction by electrons, e2 / (8 pi2 eps0 m), IERS Conventions (2010)
TECU = 1e16  # 1/m2; definition
RATE_WINDOW_S = 300.0  # s, of the rate-of-TEC index; Pi et al. (1997), Geophys. Res. Lett. 24
HIGH_RAD = np.radians(30.0)  # rad; above it strength does not swing by reflections; own choice
FAST_TECU_MIN = 10.0  # TECU/min; faster is taken for a slip that was missed, own choice


@dataclass(frozen=True)
class Quality:
    """Figures of one station-day; NaN where there is nothing to tell.

    Attributes
    ----------
    epochs, expected_epochs : int
    seen, expected : int
        Satellite epochs with both codes and phases above 10 deg, and those the orbits promise.
    satellites : int
        Tracked at all; ``never_seen``: names promised for an hour or more and never tracked.
    slips, arcs : int
        Above 10 deg: slips told by the signals, ``slips_by_flag`` of them by the receiver; arcs
        between slips and gaps.
    multipath_m : tuple of 2
        Root mean square of both multipath combinations above 10 deg. [m]
    multipath_by_step_m, strength_by_step : array, shape (2, 5)
        By :data:`STEPS_DEG`, both signals; strength in dB-Hz.
    rate_tecu_min, rate_index : float
        Root mean square of the change of slant electron content, and the median of its standard
        deviation in five minutes. [TECU/min]
    swing : float
        Standard deviation by mean of the received power in five minutes above 30 deg, its median.
        At 30 s this is no S4, which takes 50 readings a second: strong scintillation raises both.
    clock_jumps : int
        Whole milliseconds by which the clock jumped in the code alone.
    gaps, longest_gap_s
    """

    epochs: int
    expected_epochs: int
    seen: int
    expected: int
    satellites: int
    slips: int
    slips_by_flag: int
    arcs: int
    multipath_m: tuple
    multipath_by_step_m: np.ndarray
    strength_by_step: np.ndarray
    rate_tecu_min: float
    rate_index: float
    swing: float
    clock_jumps: int
    gaps: int
    longest_gap_s: float
    never_seen: tuple = field(default=())

    @property
    def percent(self):
        """Satellite epochs seen of those the orbits promise. [%]"""
        return 100.0 * self.seen / self.expected if self.expected else np.nan

    @property
    def epochs_per_slip(self):
        """Satellite epochs for each slip; all of them where there is none."""
        return self.seen / max(self.slips, 1)

    @property
    def slips_per_arc(self):
        """Slips for each arc above 10 deg: near 0 where gaps end arcs, near 1 where slips do."""
        return self.slips / self.arcs if self.arcs else np.nan


def multipath_combinations(code_m, phase_m, frequency_hz):
    """Return code less phase freed of the ionosphere, both signals (2, n, m). [m]

    With a = f1^2 / f2^2: M1 = C1 - (1 + 2/(a-1)) L1 + 2/(a-1) L2 and
    M2 = C2 - 2a/(a-1) L1 + (2a/(a-1) - 1) L2 (Estey & Meertens 1999, GPS Solutions 3(1),
    equations 1 and 2). Each holds a constant of its arc's ambiguities.

    Parameters
    ----------
    code_m, phase_m : array, shape (2, n, m)
    frequency_hz : array, shape (m, 2)
    """
    a = (frequency_hz[:, 0] / frequency_hz[:, 1]) ** 2
    once = 2.0 / (a - 1.0)
    one = code_m[0] - (1.0 + once) * phase_m[0] + once * phase_m[1]
    two = code_m[1] - a * once * phase_m[0] + (a * once - 1.0) * phase_m[1]
    return np.stack([one, two])


def arcs_of(time_ns, present, slip, max_gap_s=MAX_GAP_S):
    """Return the number of each epoch's arc (n, m) from 0, -1 where there is nothing.

    An arc begins at a slip, or after more than ``max_gap_s`` without the satellite.
    """
    n, m = present.shape
    index = np.where(present, np.arange(n)[:, None], -1)
    last = np.vstack([np.full(m, -1), np.maximum.accumulate(index, axis=0)[:-1]])
    since = time_ns[:, None] - time_ns[np.maximum(last, 0)]
    far = since > (max_gap_s + 0.5) * NS_PER_S
    begins = present & (slip | (last < 0) | far)
    number = np.cumsum(begins.T.ravel()).reshape(m, n).T - 1
    return np.where(present, number, -1)


def multipath_of(tracks, elevation_rad):
    """Return (multipath (2, n, m) [m], slips (n, m)) above 10 deg, arc means taken off.

    NaN below, and in arcs of fewer than 30 epochs.
    """
    phase, _ = repair_clock_jumps(tracks)
    slips = slips_by_signals(tracks, phase, elevation_rad)
    present = np.isfinite(phase).all(axis=0)
    with np.errstate(invalid="ignore"):
        high = present & (elevation_rad > MASK_RAD)
    arc = arcs_of(tracks.time_ns, present, slips.slip)
    paths = multipath_combinations(tracks.code_m, phase, tracks.frequency_hz)
    return _without_means(paths, arc, high), slips.slip & high


def quality_of(tracks, elevation_rad, interval_s, expected_epochs, promised=None):
    """Return the :class:`Quality` of a day's tracks.

    Parameters
    ----------
    tracks : Tracks
    elevation_rad : array, shape (n, m)
        NaN where not known.
    interval_s : float
        Between epochs.
    expected_epochs : int
        Of a whole day, or of the span the file stands for.
    promised : array, shape (k, s), optional
        Elevation of all satellites that the orbits hold, at ``expected_epochs`` or fewer instants
        evenly spread; with it ``expected`` counts what a good site would see. Otherwise only the
        epochs there are count.
    """
    phase, jumps = repair_clock_jumps(tracks)
    slips = slips_by_signals(tracks, phase, elevation_rad)
    present = np.isfinite(phase).all(axis=0)
    with np.errstate(invalid="ignore"):
        high = present & (elevation_rad > MASK_RAD)
    arc = arcs_of(tracks.time_ns, present, slips.slip)
    paths = _without_means(
        multipath_combinations(tracks.code_m, phase, tracks.frequency_hz), arc, high
    )
    steps = _steps(elevation_rad, high)
    rate, index = _electrons(tracks, phase, arc, interval_s)
    times = np.diff(tracks.time_ns) / NS_PER_S
    wide = times[times > 1.5 * interval_s]
    seen = int(high.sum())
    return Quality(
        epochs=tracks.time_ns.size,
        expected_epochs=int(expected_epochs),
        seen=seen,
        expected=_expected(promised, high, elevation_rad, expected_epochs),
        satellites=int(present.any(axis=0).sum()),
        slips=int((slips.slip & high).sum()),
        slips_by_flag=int((slips.by_flag & high).sum()),
        arcs=int(np.unique(arc[high]).size),
        multipath_m=tuple(_rms(part[high]) for part in paths),
        multipath_by_step_m=np.array([[_rms(part[s]) for s in steps] for part in paths]),
        strength_by_step=np.array([[_mean(part[s]) for s in steps] for part in tracks.strength]),
        rate_tecu_min=rate,
        rate_index=index,
        swing=_swing(tracks.strength[0], elevation_rad, interval_s),
        clock_jumps=len(jumps),
        gaps=int(wide.size),
        longest_gap_s=float(wide.max()) if wide.size else 0.0,
    )


def _expected(promised, high, elevation_rad, expected_epochs):
    """Return the satellite epochs above the mask that the orbits promise."""
    if promised is None:
        with np.errstate(invalid="ignore"):
            return int((elevation_rad > MASK_RAD).sum())
    with np.errstate(invalid="ignore"):
        share = (promised > MASK_RAD).sum() / len(promised)
    return max(round(share * expected_epochs), int(high.sum()))


def _without_means(values, arc, chosen):
    """Return both combinations less the mean of each arc; NaN in short arcs."""
    count = int(arc.max()) + 1 if arc.size else 0
    out = np.full(values.shape, np.nan)
    if count == 0:
        return out
    for k in (0, 1):
        good = chosen & np.isfinite(values[k])
        number = np.bincount(arc[good], minlength=count)
        total = np.bincount(arc[good], values[k][good], minlength=count)
        mean = np.where(number >= LEAST_ARC, total / np.maximum(number, 1), np.nan)
        out[k][good] = values[k][good] - mean[arc[good]]
    return out


def _steps(elevation_rad, high):
    """Return masks of the steps of elevation."""
    edges = np.radians(STEPS_DEG)
    with np.errstate(invalid="ignore"):
        return [
            high & (elevation_rad >= low) & (elevation_rad < top)
            for low, top in itertools.pairwise(edges)
        ]


def _rms(values):
    values = values[np.isfinite(values)]
    return float(np.sqrt(np.mean(values**2))) if values.size else np.nan


def _mean(values):
    values = values[np.isfinite(values)]
    return float(values.mean()) if values.size else np.nan


def _electrons(tracks, phase_m, arc, interval_s):
    """Return (rms of the slant electron content's rate, median of its index). [TECU/min]

    L1 - L2 = 40.3 (1/f2^2 - 1/f1^2) TEC (IERS Conventions 2010, section 9.4, first order).
    """
    f1, f2 = tracks.frequency_hz.T
    factor = TEC_M3_S2 * (f2**-2.0 - f1**-2.0) * TECU
    content = (phase_m[0] - phase_m[1]) / factor
    rate = np.diff(content, axis=0) * (60.0 / interval_s)
    step = np.diff(tracks.time_ns)[:, None] < 1.5 * interval_s * NS_PER_S
    same = (arc[1:] == arc[:-1]) & (arc[1:] >= 0) & step
    with np.errstate(invalid="ignore"):
        rate = np.where(same & (np.abs(rate) < FAST_TECU_MIN), rate, np.nan)
    window = max(round(RATE_WINDOW_S / interval_s), 2)
    return _rms(rate), _middle(_spread(rate, window)[0])


def _spread(values, window):
    """Return (standard deviation, mean) in windows one after the other, of full ones only."""
    count = len(values) // window
    blocks = values[: count * window].reshape(count, window, -1)
    mean = blocks.mean(axis=1)
    return blocks.std(axis=1), mean


def _middle(values):
    values = values[np.isfinite(values)]
    return float(np.median(values)) if values.size else np.nan


def _swing(strength, elevation_rad, interval_s):
    """Return the median over windows of the spread of received power by its mean."""
    with np.errstate(invalid="ignore"):
        power = np.where(elevation_rad > HIGH_RAD, 10.0 ** (strength / 10.0), np.nan)
    spread, mean = _spread(power, max(round(RATE_WINDOW_S / interval_s), 2))
    return _middle(spread / mean)
