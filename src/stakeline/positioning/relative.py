"""Positions of a rover relative to one or several bases, with integer ambiguities."""

from dataclasses import dataclass, replace

import numpy as np

from ..constants import NS_PER_S, SPEED_OF_LIGHT_M_S
from ..signals.slips import find_slips, wide_lane_cycles
from ..tables import SYSTEMS, Positions
from .arcs import split_arcs
from .fixing import Ambiguities, Fixed, fix, list_ambiguities, near_code
from .network import Network
from .relative_input import Together, bring_together, model_all
from .relative_quality import calibrated, satellites_of, states_of, summary_of
from .solve import (
    ARC_GAP_S,
    ARC_LENGTH_S,
    CODE_FACTOR,
    PHASE_FACTOR,
    factor_of,
    process_noise,
    thin_out,
    to_the_last_epoch,
)
from .wide_lanes import WideLanes, fix_wide_lanes, lane_lengths

SHORT_M = 5e3  # m, up to here the ionosphere is common, each signal used by itself; our choice
IONOSPHERE_SHARE = 1e-6  # -, of the length: what a quiet ionosphere leaves; common practice
AIR_LENGTH_M = 100e3  # m, at which two zenith delays know little of each other; our choice
AIR_SIGMA_M = 0.05  # m, of the difference of two zenith delays far apart; common practice
AIR_BY_HEIGHT = 2e-5  # -, of the height difference: error of the climate's; our choice
MEMORY = 3.0  # -, float sigmas are this much too small: red noise; measured on invented pairs
HEIGHT_SIGMA_M = 0.009  # m, of heights by the air of two stations far apart; as of absolute ones
SHARED_SIGMA_M = 0.1  # m, of the zenith delay all share, beyond the climate; common practice
INTEGER_SYSTEMS = "GEC"  # code division: all satellites of a system on one frequency


@dataclass(frozen=True)
class Posed:
    """The problem and all that its result is read by."""

    network: Network
    epochs: np.ndarray
    columns: np.ndarray  # (m,) satellite of each column
    wavelength_m: np.ndarray  # (m,)
    lanes: WideLanes | None  # None: each signal stands for itself
    slips: tuple
    models: list
    air_sigma_m: float  # height error that all satellites share by the air


def solve_relative(rover, bases, products, settings, progress=None):
    """Estimate the positions of a rover from its bases.

    Parameters
    ----------
    rover : Observations
    bases : sequence of Base
        Of known position, in the frame of the orbits; on rock, or with a path of their own.
    products : Products
        Precise orbits, or broadcast messages: what they are off by drops out with the distance
        (1 m of orbit makes 1.5 mm at 30 km). Clocks drop out.
    settings : Settings
    progress : callable, optional
        Called with the name of each stage as it begins.

    Returns
    -------
    Positions
        ``state`` is ``integer-fixed``, ``partly fixed``, ``float`` or ``no solution``.

    Raises
    ------
    SolutionError
        Where no base shares anything with the rover, or nothing usable is left.
    """
    return positions_of(solve_network(rover, bases, products, settings, progress), settings)


@dataclass(frozen=True)
class Solved:
    """A relative solution before it is put into the record."""

    together: Together
    posed: Posed
    ambiguities: Ambiguities
    near_code_cycles: np.ndarray  # (arcs,) taken off before; with ``fixed.cycles`` the integers
    fixed: Fixed
    notes: tuple


def solve_network(rover, bases, products, settings, progress=None):
    """Return :class:`Solved`; arguments as of :func:`solve_relative`."""
    tell = progress or (lambda name: None)
    tell("observations")
    notes = []
    products = to_the_last_epoch(products, int(rover.time_ns[-1]), notes)
    together = bring_together(rover, bases, products, settings)
    tell("model")
    posed = pose_network(together, products, settings)
    tell("filter and smoother")
    candidate = _candidates(posed, together)
    ambiguities = list_ambiguities(posed.network, posed.wavelength_m, candidate)
    network, cycles = near_code(posed.network, ambiguities)
    fixed = fix(network, ambiguities, MEMORY)
    return Solved(together, posed, ambiguities, cycles, fixed, tuple(notes))


def positions_of(solved, settings):
    """Return the :class:`Positions` of a :class:`Solved`."""
    posed, fixed, together = solved.posed, solved.fixed, solved.together
    covariance, factors = calibrated(posed, fixed, settings)
    covariance = covariance + together.pivot_covariance_m2
    state = states_of(posed, fixed)
    model = posed.models[1]
    marker = model.centre_m[posed.epochs] + fixed.adjusted.smoothed.states[:, 1:4] @ model.axes
    summary = summary_of(solved, state, factors, settings)
    time_ns = together.time_ns[posed.epochs]
    satellites = satellites_of(posed, fixed)
    if settings.mode == "static":
        middle = (int(time_ns[0]) + int(time_ns[-1])) // 2
        time_ns, marker, covariance = np.array([middle]), marker[-1:], covariance[-1:]
        words, count = np.unique(state, return_counts=True)
        state = words[[np.argmax(count)]]
        satellites = np.array([int(np.median(satellites))])
    return Positions(
        together.names[1],
        settings.frame,
        time_ns,
        marker,
        covariance,
        satellites,
        state,
        summary,
    )


def pose_network(together, products, settings):
    """Return :class:`Posed`: arcs by receiver, weights, process noise, wide lanes."""
    models = model_all(together, products)
    seconds = (together.time_ns - together.time_ns[0]) / NS_PER_S
    step = float(np.median(np.diff(seconds))) if len(seconds) > 1 else settings.interval_s
    lengths = max(1, round(ARC_GAP_S / step)), max(3, round(ARC_LENGTH_S / step))
    receivers, arc, slips, count = range(1, len(models)), [], [], 0
    for r in receivers:
        single = _difference(together, r)
        free = models[r].phase_m - models[0].phase_m
        found = find_slips(single, free, models[r].unit, models[r].elevation_rad)
        there = np.isfinite(free) & np.isfinite(models[r].code_m - models[0].code_m)
        own = split_arcs(there, found.slip, *lengths)
        arc.append(np.where(own >= 0, own + count, -1))
        count += int(own.max(initial=-1)) + 1
        slips.append(found)
    arc = np.stack([np.full_like(arc[0], -1), *arc])
    epochs = thin_out(together.time_ns, (arc[1] >= 0).any(axis=1), settings.interval_s)
    noise = process_noise(
        seconds[epochs], arc[1][epochs], slips[0], epochs, together.time_ns[epochs], settings
    )
    basis = arc[:, epochs], noise, epochs
    if together.length_m.max() <= SHORT_M:
        return _by_signal(together, products, settings, models, basis, tuple(slips))
    return _ionosphere_free(together, settings, models, basis, tuple(slips))


def _difference(together, r):
    """Return the tracks of a receiver less the pivot's."""
    mine, pivot = together.tracks[r], together.tracks[0]
    return replace(
        mine,
        code_m=mine.code_m - pivot.code_m,
        phase_m=together.phase_m[r] - together.phase_m[0],
        lock=mine.lock | pivot.lock,
    )


def _ionosphere_free(together, settings, models, basis, slips):
    """Pose the ionosphere-free combination; wide lanes that are sure are taken off its phases."""
    arc, _, epochs = basis
    one = together.tracks[1]
    letters = _letters(together.satellites)
    wide_m, narrow_m = lane_lengths(one.frequency_hz)
    present = [x for x in settings.systems if (letters == x).any()]
    group = np.array([present.index(x) for x in letters])
    network = _network(together, settings, [models], [np.ones(len(letters))], group, basis)
    step = float(np.median(np.diff(network.seconds))) if len(epochs) > 1 else settings.interval_s
    count = int(arc.max(initial=-1)) + 1
    parts = []
    for r in range(1, len(models)):
        lanes = wide_lane_cycles(_difference(together, r))[epochs]
        own = arc[r] >= 0
        family = np.full(count, -1)
        family[arc[r][own]] = np.broadcast_to(group, arc[r].shape)[own]
        elevation = models[r].elevation_rad[epochs]
        parts.append((family, fix_wide_lanes(lanes, elevation, arc[r], family, step)))
    lanes = _merged(parts, count)
    phase = network.phase_m.copy()
    here = network.arc >= 0
    cycles = np.where(lanes.fixed, lanes.cycles, 0.0)[network.arc[here]]
    phase[here] -= cycles * np.broadcast_to(wide_m, network.arc.shape)[here]
    network = replace(network, phase_m=phase)
    return Posed(
        network, epochs, together.satellites, narrow_m, lanes, slips, models, _air_sigma(together)
    )


def _merged(parts, count):
    """Return the :class:`WideLanes` of all receivers' arcs from those of each."""
    values = [
        np.zeros(count),
        np.full(count, np.nan),
        np.full(count, np.nan),
        np.zeros(count, bool),
    ]
    for family, lanes in parts:
        own = family >= 0
        fields = (lanes.cycles, lanes.fraction, lanes.sigma, lanes.fixed)
        for total, part in zip(values, fields, strict=True):
            total[own] = part[own]
    return WideLanes(*values)


def _by_signal(together, products, settings, models, basis, slips):
    """Pose both signals each for itself: a short baseline, whose ionosphere is common."""
    arc, noise, epochs = basis
    one = together.tracks[1]
    letters = _letters(together.satellites)
    each = [
        model_all(together, products, np.tile(pair, (len(letters), 1)))
        for pair in ((1.0, 0.0), (0.0, 1.0))
    ]
    quieter = 1.0 / np.linalg.norm(one.ionosphere_free, axis=1)
    names = [letters[j] + one.signals[j][3 * i - i][1] for i in (0, 1) for j in range(len(letters))]
    present = list(dict.fromkeys(names))
    group = np.array([present.index(name) for name in names])
    count = int(arc.max(initial=-1)) + 1
    doubled = np.concatenate([arc, np.where(arc >= 0, arc + count, -1)], axis=2)
    both = doubled, noise, epochs
    network = _network(together, settings, each, [quieter, quieter], group, both)
    waves = SPEED_OF_LIGHT_M_S / one.frequency_hz.T.ravel()
    columns = np.tile(together.satellites, 2)
    return Posed(network, epochs, columns, waves, None, slips, models, _air_sigma(together))


def _letters(satellites):
    return np.array([SYSTEMS[s // 100] for s in satellites])


def _network(together, settings, each, quieter, group, basis):
    """Return the :class:`Network` of one or two sets of models by receiver."""
    arc, noise, epochs = basis
    letters = _letters(together.satellites)
    receivers = range(len(each[0]))

    def stacked(of):
        return np.stack(
            [np.concatenate([of(models[r]) for models in each], axis=1)[epochs] for r in receivers]
        )

    phase, code = stacked(lambda m: m.phase_m), stacked(lambda m: m.code_m)
    spread = stacked(lambda m: m.spread) * np.concatenate(quieter)
    factor = np.tile(factor_of(letters, PHASE_FACTOR), len(each))
    code_factor = np.tile(factor_of(letters, CODE_FACTOR), len(each))
    ionosphere = IONOSPHERE_SHARE * together.length_m[:, None, None] if len(each) > 1 else 0.0
    sigma = np.hypot(settings.phase_sigma_m * spread * factor, ionosphere)
    gradient = stacked(lambda m: m.gradient) if settings.gradients else np.zeros_like(phase)
    azimuth = stacked(lambda m: m.azimuth_rad)
    share, own_sigma = _air_apart(together)
    seconds = (together.time_ns[epochs] - together.time_ns[0]) / NS_PER_S
    noise = noise.copy()
    noise[:, 2:4] *= share
    walks = np.array([settings.zenith_walk_m_s05, *3 * (settings.gradient_walk_m_s05,)]) ** 2
    walks[1:] *= share
    return Network(
        seconds,
        phase - phase[:1],
        code - code[:1],
        np.concatenate([models[1].unit for models in each], axis=1)[epochs],
        stacked(lambda m: m.wet),
        np.nan_to_num(gradient * np.cos(azimuth)),
        np.nan_to_num(gradient * np.sin(azimuth)),
        np.where(np.isfinite(phase), sigma, np.inf),
        np.where(np.isfinite(code), settings.code_sigma_m * spread * code_factor, np.inf),
        group,
        arc,
        noise,
        np.array([settings.zenith_walk_m_s05**2, *_base_walks(settings, share)]),
        (SHARED_SIGMA_M, own_sigma, 5e-3 * np.sqrt(share) + 1e-6),
        settings.mode == "kinematic",
    )


def _base_walks(settings, share):
    """Return the walks (variance per s) of a further base: zenith and two gradients."""
    walks = np.array([settings.zenith_walk_m_s05, *2 * (settings.gradient_walk_m_s05,)])
    return share * walks**2


def _air_apart(together):
    """Return (share of the walks, prior sigma) of zenith delays beyond the common one.

    Over short distances two stations see the same air: the variance of the difference grows with
    the distance (Treuhaft & Lanyi 1987, Radio Sci. 22, 251-265: the structure function), and with
    the difference of heights by what the climate's decrease is wrong.
    """
    share = min(1.0, float(together.length_m.max()) / AIR_LENGTH_M) + 1e-6
    place = [np.nanmedian(c.position_m, axis=0) for c in together.coarse]
    heights = [float(np.linalg.norm(p)) for p in place]
    climb = max(abs(h - heights[0]) for h in heights)
    return share, float(np.sqrt(AIR_SIGMA_M**2 * share + (AIR_BY_HEIGHT * climb) ** 2 + 1e-6))


def _air_sigma(together):
    """Return the height error that all satellites share by the air. [m]"""
    share, _ = _air_apart(together)
    return HEIGHT_SIGMA_M * float(np.sqrt(share))


def _candidates(posed, together):
    """Return (arcs,) bool: whether an arc's ambiguity is an integer of its column's wavelength."""
    arc = posed.network.arc
    count = int(arc.max(initial=-1)) + 1
    whole = np.array([letter in INTEGER_SYSTEMS for letter in _letters(posed.columns)])
    able = np.zeros(count, bool)
    here = arc >= 0
    able[arc[here]] = np.broadcast_to(whole, arc.shape)[here]
    for r in range(1, len(arc)):  # a half cycle that the receiver has not resolved
        half = ((together.tracks[r].lock | together.tracks[0].lock)[posed.epochs] & 2) > 0
        half = np.tile(half, (1, arc.shape[2] // half.shape[1])) & (arc[r] >= 0)
        able[arc[r][half]] = False
    return able if posed.lanes is None else able & posed.lanes.fixed
