"""What a receiver in the field adds: its clock, noise, multipath, slips, gaps."""

from dataclasses import dataclass

import numpy as np

from .smooth import gauss_markov, random_walk

MILLISECOND_S = 1e-3  # s; definition
PASS_GAP_EPOCHS = 4  # epochs without a satellite after which its phase begins anew


@dataclass(frozen=True)
class Receiver:
    """Habits of a receiver; the defaults are a geodetic receiver on a mast over snow.

    Sizes are such that residuals of the ionosphere-free phase have an rms of 8 to 9 mm and
    positions that of real still stations, some 5 mm level and 10 mm up.

    Attributes
    ----------
    phase_noise_m, code_noise_m : float
        White noise of one signal at the zenith; it grows as 1/sqrt(sin(elevation)).
    reflection : float
        Strength of the wave from the ground at the horizon, falling off by 20 deg of elevation.
    mast_m : float
        Height above the reflecting snow.
    slow_code_m, slow_phase_m : float
        Sigma of other slow multipath of one signal, towards the horizon; memory 10 min.
    clock_drift : float
        Of the receiver's own oscillator. [s/s]
    phase_jumps : bool
        Whether a jump of the clock by 1 ms is in the phases too, or in the codes alone.
    slips_a_day : float
        Cycle slips, all satellites together.
    flagged_share : float
        Share of the slips that the receiver notices and flags.
    gaps_s : tuple of (begin, end)
        Spans without power; the phases begin anew after each. [s]
    lowest_rad : float
        Nothing is tracked below.
    dropout_share : float
        Share of single observations that are missing below 15 deg.
    """

    phase_noise_m: float = 0.0015
    code_noise_m: float = 0.20
    reflection: float = 0.15
    mast_m: float = 1.9
    slow_code_m: float = 0.25
    slow_phase_m: float = 0.004
    clock_drift: float = 9e-8
    phase_jumps: bool = True
    slips_a_day: float = 30.0
    flagged_share: float = 0.6
    gaps_s: tuple = ()
    lowest_rad: float = np.radians(5.0)
    dropout_share: float = 0.03


@dataclass(frozen=True)
class Slip:
    """One cycle slip: from this epoch on, phases of a satellite read more by ``cycles``."""

    time_ns: int
    satellite: int
    cycles: tuple  # on the first and the second signal
    flagged: bool


def clock_of(rng, receiver, time_s):
    """Return (clock bias of each epoch [s], milliseconds jumped until then), each (n,).

    The oscillator drifts and wanders; the receiver keeps its bias within half a millisecond.
    """
    noise = random_walk(rng, time_s[0] - 60.0, time_s[-1] + 60.0, 30.0, 1, 2e-10)
    free = rng.uniform(-4e-4, 4e-4) + receiver.clock_drift * time_s + noise(time_s)[:, 0]
    jumped = np.floor(free / MILLISECOND_S + 0.5).astype(np.int64)
    return free - jumped * MILLISECOND_S, jumped


def tracked(rng, receiver, time_s, elevation_rad):
    """Return which satellites are recorded (n, m), the number of each pass (n, m), and restarts.

    Restarts (n,) are the epochs at which power came back.
    A pass ends where a satellite is missing for :data:`PASS_GAP_EPOCHS` epochs or power was lost.
    """
    up = elevation_rad > receiver.lowest_rad
    low = elevation_rad < np.radians(15.0)
    up &= ~(low & (rng.random(elevation_rad.shape) < receiver.dropout_share))
    restart = np.zeros(time_s.size, bool)
    for begin_s, end_s in receiver.gaps_s:
        inside = (time_s >= begin_s) & (time_s < end_s)
        up[inside] = False
        after = np.flatnonzero(time_s >= end_s)
        restart[after[:1]] = after.size > 0 and time_s[0] < begin_s
    epoch = np.arange(time_s.size)[:, None]
    last = np.maximum.accumulate(np.where(up, epoch, -1), axis=0)
    before = np.vstack([np.full((1, up.shape[1]), -1), last[:-1]])
    new = up & ((before < 0) | (epoch - before > PASS_GAP_EPOCHS))
    return up, np.cumsum(new | restart[:, None], axis=0), restart


def noise_of(rng, receiver, time_s, elevation_rad, wavelength_m):
    """Return noise and multipath of (code, phase) of one signal, each (n, m). [m]

    The reflected wave travels 2 h sin(e) further; it pulls the phase by atan(a sin p / (1 + a cos
    p)) and the code by a 2 h sin(e) cos p, with p the phase of the detour: Georgiadou & Kleusberg
    (1988), Manuscripta Geodaetica 13, 172.
    """
    sine = np.sin(np.maximum(elevation_rad, np.radians(3.0)))
    detour = 2.0 * receiver.mast_m * sine
    strength = receiver.reflection * np.exp(-elevation_rad / np.radians(20.0))
    turn = 2.0 * np.pi * detour / wavelength_m
    phase = np.arctan2(strength * np.sin(turn), 1.0 + strength * np.cos(turn))
    phase = phase * wavelength_m / (2.0 * np.pi)
    code = strength * detour * np.cos(turn)
    fall = np.exp(-elevation_rad / np.radians(30.0))
    for sigma, target in ((receiver.slow_code_m, code), (receiver.slow_phase_m, phase)):
        slow = gauss_markov(rng, time_s[0], time_s[-1], 60.0, elevation_rad.shape[1], sigma, 600.0)
        target += slow(time_s) * fall
    white = 1.0 / np.sqrt(sine)
    code += receiver.code_noise_m * white * rng.standard_normal(code.shape)
    phase += receiver.phase_noise_m * white * rng.standard_normal(phase.shape)
    return code, phase


def strength_of(rng, elevation_rad):
    """Return carrier-to-noise densities (n, m). [dB-Hz]"""
    share = np.sin(np.maximum(elevation_rad, 0.0))
    return 34.0 + 16.0 * share**0.7 + rng.normal(0.0, 0.7, elevation_rad.shape)


def slips_of(rng, receiver, time_ns, satellites, recorded, passes):
    """Return cycle slips as a list of :class:`Slip`, none at the start of a pass."""
    inside = recorded[1:] & recorded[:-1] & (passes[1:] == passes[:-1])
    epoch, column = np.nonzero(inside)
    days = (time_ns[-1] - time_ns[0]) / 86400e9
    count = min(rng.poisson(receiver.slips_a_day * days), epoch.size)
    chosen = np.sort(rng.choice(epoch.size, count, replace=False))
    slips = []
    for k in chosen:
        sizes = rng.integers(1, 40, 2) * rng.choice([-1, 1], 2)
        sizes[rng.integers(0, 2)] *= rng.integers(0, 2)  # half of them on one signal alone
        when, which = int(time_ns[epoch[k] + 1]), int(satellites[column[k]])
        flagged = bool(rng.random() < receiver.flagged_share)
        slips.append(Slip(when, which, tuple(int(s) for s in sizes), flagged))
    return slips


def first_cycles(rng, passes):
    """Return the whole cycles (n, m) at which the phase of each pass begins, by chance."""
    chance = rng.integers(-500_000, 500_000, (int(passes.max()) + 1, passes.shape[1]))
    return chance[passes, np.arange(passes.shape[1])]
