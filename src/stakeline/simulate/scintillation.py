"""Scintillation: bursts in which rough patches of the ionosphere make signals fade and tremble."""

from dataclasses import dataclass

import numpy as np

from ..constants import FREQUENCY_HZ, NS_PER_DAY, NS_PER_S, SPEED_OF_LIGHT_M_S

MAGNETIC_MIDNIGHT_S = 79_000.0  # s of the GPS day, near 22 h at 79 N 22 W; from memory
AROUND_MIDNIGHT_S = 9_000.0  # s, sigma of the bursts about magnetic midnight; invented
AT_ANY_TIME = 0.25  # share of bursts at any time of day; invented
LENGTH_S = (180.0, 3_600.0)  # s, minutes to an hour; from memory of polar patches
DEEPEST_FADE_dB = -25.0  # dB, below which a receiver has lost the signal anyway; from memory
FADING_POWER, PHASE_POWER = 1.5, 1.0  # -, growth with wavelength; Rino (1979), Radio Sci. 14, 1135
_L1_M = SPEED_OF_LIGHT_M_S / FREQUENCY_HZ["G1"]


@dataclass(frozen=True)
class Burst:
    """One burst: when, in which directions, how strong in its middle.

    Attributes
    ----------
    begin_s, end_s : float
        In the time of the world. [s]
    azimuth_rad, half_width_rad : float
        Middle of the patch of sky from north over east, and how far it reaches to both sides.
    fading : float
        Standard deviation of the power of GPS L1 over its mean (the index S4).
    phase_rad : float
        Noise of the phase of GPS L1 that differs between signals.
    waves : tuple of (amplitude TEC units, period s, by azimuth, phase rad)
        Fast waves of electrons along the ray.
    """

    begin_s: float
    end_s: float
    azimuth_rad: float
    half_width_rad: float
    fading: float
    phase_rad: float
    waves: tuple = ()

    def share(self, time_s, azimuth_rad):
        """Return how far into the burst rays are: 0 outside, 1 in its middle at its height."""
        run = np.clip((time_s - self.begin_s) / (self.end_s - self.begin_s), 0.0, 1.0)
        away = np.abs(np.angle(np.exp(1j * (azimuth_rad - self.azimuth_rad))))
        across = np.minimum(away / self.half_width_rad, 1.0)
        return np.sin(np.pi * run) ** 2 * np.cos(0.5 * np.pi * across) ** 2


@dataclass(frozen=True)
class Trouble:
    """What bursts do to rays (k,)."""

    share: np.ndarray  # 0 to 1, of the strongest burst
    fading: np.ndarray  # S4 of GPS L1
    phase_rad: np.ndarray  # of GPS L1
    tec: np.ndarray  # slant, TEC units

    def take(self, chosen):
        """Return the rays that a mask or index array selects."""
        return Trouble(*(part[chosen] for part in vars(self).values()))


@dataclass(frozen=True)
class Scintillation:
    """All bursts over a station; the default is none.

    Attributes
    ----------
    bursts : tuple of Burst
    slips_an_hour : float
        Cycle slips of each satellite in the middle of a burst.
    lost_share : float
        Share of observations lost there.
    """

    bursts: tuple = ()
    slips_an_hour: float = 6.0
    lost_share: float = 0.15

    def trouble(self, time_s, azimuth_rad):
        """Return the :class:`Trouble` of rays (k,), or None where there is no burst at all."""
        if not self.bursts:
            return None
        share, fading, phase, tec = np.zeros((4, time_s.size))
        for burst in self.bursts:
            k = np.flatnonzero((time_s > burst.begin_s) & (time_s < burst.end_s))
            inside = burst.share(time_s[k], azimuth_rad[k])
            share[k] = np.maximum(share[k], inside)
            fading[k] = np.hypot(fading[k], burst.fading * inside)
            phase[k] = np.hypot(phase[k], burst.phase_rad * inside)
            for amplitude, period_s, by_azimuth, start in burst.waves:
                turn = time_s[k] / period_s + by_azimuth * np.sin(azimuth_rad[k])
                tec[k] += amplitude * inside * np.sin(2.0 * np.pi * turn + start)
        return Trouble(share, fading, phase, tec)


def fade(rng, trouble, wavelength_m):
    """Return (change of strength [dB], noise of the phase [m]), each (k,), of one signal.

    The power is gamma distributed about its mean with the variance S4 squared (Nakagami (1960),
    as Fremouw et al. (1980), Radio Sci. 15, 1); fades of different signals are taken apart.
    """
    from_l1 = wavelength_m / _L1_M
    square = np.clip(trouble.fading * from_l1**FADING_POWER, 0.0, 1.0) ** 2
    change, noise = np.zeros(square.size), np.zeros(square.size)
    k = np.flatnonzero(trouble.share > 0.0)
    square = np.maximum(square[k], 1e-6)
    power = np.maximum(rng.gamma(1.0 / square, square), 1e-9)
    change[k] = np.maximum(10.0 * np.log10(power), DEEPEST_FADE_dB)
    radians = trouble.phase_rad[k] * from_l1[k] ** PHASE_POWER * rng.standard_normal(k.size)
    noise[k] = radians * wavelength_m[k] / (2.0 * np.pi)
    return change, noise


def make_scintillation(rng, start_ns, duration_s, bursts_a_day=3.0):
    """Return :class:`Scintillation` for a span from ``start_ns``, mostly near magnetic midnight.

    Sizes (S4 to 0.4, 0.1 to 0.6 rad, waves of 0.1 to 0.5 TEC units in one to ten minutes) are
    those of polar stations in a solar maximum, from memory.
    """
    of_day_s = start_ns % NS_PER_DAY / NS_PER_S
    days = int(np.ceil((of_day_s + duration_s) / 86400.0)) + 1
    bursts = []
    for day in range(-1, days):
        for _ in range(rng.poisson(bursts_a_day)):
            middle_s = MAGNETIC_MIDNIGHT_S + AROUND_MIDNIGHT_S * rng.standard_normal()
            if rng.random() < AT_ANY_TIME:
                middle_s = rng.uniform(0.0, 86400.0)
            half_s = 0.5 * np.exp(rng.uniform(*np.log(LENGTH_S)))
            middle_s += 86400.0 * day - of_day_s
            bursts.append(_burst(rng, middle_s - half_s, middle_s + half_s))
    kept = [b for b in bursts if b.end_s > 0.0 and b.begin_s < duration_s]
    return Scintillation(tuple(sorted(kept, key=lambda b: b.begin_s)))


def _burst(rng, begin_s, end_s):
    azimuth, half_width = rng.uniform(-np.pi, np.pi), np.radians(rng.uniform(25.0, 80.0))
    waves = tuple(
        (rng.uniform(0.1, 0.5), rng.uniform(60.0, 600.0), rng.normal(0.0, 1.0), start)
        for start in rng.uniform(0.0, 2.0 * np.pi, 3)
    )
    fading, phase = rng.uniform(0.05, 0.4), rng.uniform(0.1, 0.6)
    return Burst(begin_s, end_s, azimuth, half_width, fading, phase, waves)
