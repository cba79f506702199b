"""What a receiver in the field adds: its clock, noise, reflections, slips, gaps."""

from collections.abc import Callable
from dataclasses import dataclass, replace

import numpy as np

from .scintillation import Trouble, fade
from .smooth import gauss_markov, random_walk

MILLISECOND_S = 1e-3  # s; definition
PASS_GAP_EPOCHS = 4  # epochs without a satellite after which its phase begins anew
STRENGTH_STEP_dB = 0.25  # dB, to which receivers give strengths; from memory
HALF_CYCLE_s = 120.0  # s, mean time until a receiver knows the sign of its data; from memory
_SLOW_NODE_S = 60.0


@dataclass(frozen=True)
class Receiver:
    """Habits of a receiver; the defaults are a geodetic receiver on a mast over snow.

    Sizes are such that residuals of the ionosphere-free phase have an rms of 8 to 9 mm and
    positions the error spectrum of real still stations, some 6 mm level and 13 mm up in all.

    Attributes
    ----------
    phase_noise_m, code_noise_m : float
        White noise of one signal at the zenith; it grows as 1/sqrt(sin(elevation)).
    reflection : float
        Strength of the wave from the ground at the horizon, falling off by 20 deg of elevation.
    mast_m : float or callable
        Height of the antenna's reference point above the reflecting snow; a callable takes times
        (n,) [s] and returns heights (n,), such as they are while snow falls and settles.
    bend_rad : callable, optional
        How much higher than without air waves arrive, by elevation [rad]; None: not at all.
    slow_code_m, slow_phase_m : float
        Sigma of other slow multipath of one signal, towards the horizon.
    slow_memory_s : tuple of float
        Memories of the slow multipath, which share its variance evenly. [s]
    clock_drift : float
        Of the receiver's own oscillator. [s/s]
    late_s : float
        How far epochs stand after whole multiples of the interval: a clock that is not steered.
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
    half_share : float
        Share of the slips that are by a whole number and a half of cycles on one signal.
    half_known_share : float
        Share of those at which the half-cycle ambiguity bit is set; some minutes later the
        receiver finds out, the phase goes back by half a cycle and the bit is cleared.
    """

    phase_noise_m: float = 0.0012
    code_noise_m: float = 0.20
    reflection: float = 0.15
    mast_m: float | Callable = 1.9
    bend_rad: Callable | None = None
    slow_code_m: float = 0.25
    slow_phase_m: float = 0.006
    slow_memory_s: tuple = (600.0, 3600.0)
    clock_drift: float = 9e-8
    late_s: float = 0.0
    phase_jumps: bool = True
    slips_a_day: float = 30.0
    flagged_share: float = 0.6
    gaps_s: tuple = ()
    lowest_rad: float = np.radians(5.0)
    dropout_share: float = 0.03
    half_share: float = 0.1
    half_known_share: float = 0.7

    def height_m(self, time_s):
        """Return the height of the reference point above the snow at times (n,). [m]"""
        if callable(self.mast_m):
            return np.asarray(self.mast_m(time_s), float)
        return np.full(np.shape(time_s), float(self.mast_m))


@dataclass(frozen=True)
class Slip:
    """One cycle slip: from this epoch on, phases of a satellite read more by ``cycles``.

    While the half-cycle ambiguity bit is set, ``half`` is the signal (0 or 1) that has it.
    """

    time_ns: int
    satellite: int
    cycles: tuple  # on the first and the second signal; one may be half of an odd number
    flagged: bool
    half: int | None = None
    half_until_ns: int = 0  # the first epoch without the bit


def clock_of(rng, receiver, time_s):
    """Return (clock bias of each epoch [s], milliseconds jumped until then), each (n,).

    The oscillator drifts and wanders; the receiver keeps its bias within half a millisecond.
    """
    noise = random_walk(rng, time_s[0] - 60.0, time_s[-1] + 60.0, 30.0, 1, 2e-10)
    free = rng.uniform(-4e-4, 4e-4) + receiver.clock_drift * time_s + noise(time_s)[:, 0]
    jumped = np.floor(free / MILLISECOND_S + 0.5).astype(np.int64)
    return free - jumped * MILLISECOND_S, jumped


def tracked(rng, receiver, time_s, elevation_rad, lost=None):
    """Return which satellites are recorded (n, m), the number of each pass (n, m), and restarts.

    ``lost`` (n, m) are shares of observations that are missing for other reasons. Restarts (n,)
    are the epochs at which power came back.
    A pass ends where a satellite is missing for :data:`PASS_GAP_EPOCHS` epochs or power was lost.
    """
    up = elevation_rad > receiver.lowest_rad
    low = elevation_rad < np.radians(15.0)
    up &= ~(low & (rng.random(elevation_rad.shape) < receiver.dropout_share))
    if lost is not None:
        up &= rng.random(lost.shape) >= lost
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


@dataclass(frozen=True)
class Seen:
    """What a receiver records: arrays (k,), one satellite after the other, in order of time."""

    time_s: np.ndarray
    epoch: np.ndarray
    column: np.ndarray  # of the satellite
    elevation_rad: np.ndarray
    height_m: np.ndarray  # of the antenna's reference point above the snow
    trouble: Trouble | None = None


def noise_of(rng, receiver, seen, wavelength_m):
    """Return what one signal has of noise and reflections: code [m], phase [m], strength [dB-Hz].

    The reflected wave travels 2 h sin(e) further. With a its strength and p the phase of the
    detour, 1 + a exp(ip) is the sum of both waves: the phase is pulled by its argument (Georgiadou
    & Kleusberg (1988), Manuscripta Geodaetica 13, 172), the strength changes by its modulus
    (Larson et al. (2009), Geophys. Res. Lett. 36, L17502), the code by a 2 h sin(e) cos p.

    Parameters
    ----------
    rng : numpy.random.Generator
    receiver : Receiver
    seen : Seen
    wavelength_m : array, shape (k,)

    Returns
    -------
    code_m, phase_m, strength_dB_Hz : arrays, shape (k,)
    """
    elevation = np.maximum(seen.elevation_rad, np.radians(3.0))
    if receiver.bend_rad is not None:
        elevation = elevation + receiver.bend_rad(elevation)
    sine = np.sin(elevation)
    detour = 2.0 * np.maximum(seen.height_m, 0.0) * sine
    share = receiver.reflection * np.exp(-elevation / np.radians(20.0))
    wave = share * np.exp(2j * np.pi * detour / wavelength_m)
    code = detour * wave.real
    phase = np.angle(1.0 + wave) * wavelength_m / (2.0 * np.pi)
    strength = strength_of(rng, sine) + 20.0 * np.log10(np.abs(1.0 + wave))
    fall = np.exp(-elevation / np.radians(30.0))
    first_s, last_s = seen.time_s.min(initial=np.inf), seen.time_s.max(initial=0.0)
    first_s, columns = min(first_s, last_s), int(seen.column.max(initial=0)) + 1
    span = first_s, last_s, _SLOW_NODE_S, columns
    for sigma, target in ((receiver.slow_code_m, code), (receiver.slow_phase_m, phase)):
        slow = gauss_markov(rng, *span, sigma, receiver.slow_memory_s)
        target += slow.at(seen.time_s, seen.column) * fall
    white = 1.0 / np.sqrt(sine)
    code += receiver.code_noise_m * white * rng.standard_normal(code.shape)
    phase += receiver.phase_noise_m * white * rng.standard_normal(phase.shape)
    if seen.trouble is not None:
        change, trembling = fade(rng, seen.trouble, wavelength_m)
        strength, phase = strength + change, phase + trembling
    return code, phase, np.round(strength / STRENGTH_STEP_dB) * STRENGTH_STEP_dB


def strength_of(rng, sine):
    """Return carrier-to-noise densities over open ground by the sine of elevations. [dB-Hz]"""
    return 34.0 + 16.0 * sine**0.7 + rng.normal(0.0, 0.7, sine.shape)


def slips_of(rng, receiver, time_ns, satellites, recorded, passes, more=None):
    """Return cycle slips as a list of :class:`Slip` in order of time, none at the start of a pass.

    ``more`` (n, m) is the number of slips to be expected in each observation beside the usual
    ones. The resolution of a half cycle is a slip of its own.
    """
    inside = recorded[1:] & recorded[:-1] & (passes[1:] == passes[:-1])
    here = np.flatnonzero(inside)
    days = (time_ns[-1] - time_ns[0]) / 86400e9
    count = min(rng.poisson(receiver.slips_a_day * days), here.size)
    chosen = rng.choice(here, count, replace=False)
    if more is not None:
        extra = here[rng.random(here.size) < more[1:].ravel()[here]]
        chosen = np.union1d(chosen, extra)
    slips = []
    for k in np.sort(chosen):
        epoch, column = divmod(int(k), recorded.shape[1])
        when, which = int(time_ns[epoch + 1]), int(satellites[column])
        flagged = bool(rng.random() < receiver.flagged_share)
        sizes, half = _sizes(rng, receiver)
        slip = Slip(when, which, sizes, flagged)
        slips.append(slip)
        if half is not None and rng.random() < receiver.half_known_share:
            of_pass = recorded[:, column] & (passes[:, column] == passes[epoch + 1, column])
            later = time_ns[of_pass & (time_ns > when)]
            known_ns = when + round(1e9 * (30.0 + rng.exponential(HALF_CYCLE_s)))
            until_ns = later[later >= known_ns][:1]
            end_ns = int(until_ns[0]) if until_ns.size else int(time_ns[-1]) + 1
            slips[-1] = replace(slip, half=half, half_until_ns=end_ns)
            if until_ns.size:
                back = tuple(-0.5 if i == half else 0 for i in (0, 1))
                slips.append(Slip(end_ns, which, back, False))
    return sorted(slips, key=lambda slip: (slip.time_ns, slip.satellite))


def _sizes(rng, receiver):
    """Return the cycles of a slip on both signals, and which of them has a half one or None."""
    sizes = rng.integers(1, 40, 2) * rng.choice([-1, 1], 2)
    sizes[rng.integers(0, 2)] *= rng.integers(0, 2)  # half of them on one signal alone
    sizes = [int(size) for size in sizes]
    half = None
    if rng.random() < receiver.half_share:
        half = 0 if sizes[0] else 1
        sizes[half] += 0.5
    return tuple(sizes), half


def first_cycles(rng, passes):
    """Return the whole cycles (n, m) at which the phase of each pass begins, by chance."""
    chance = rng.integers(-500_000, 500_000, (int(passes.max()) + 1, passes.shape[1]))
    return chance[passes, np.arange(passes.shape[1])]
