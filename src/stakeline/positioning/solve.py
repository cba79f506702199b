"""From observations and products to positions: the whole chain on records."""

from dataclasses import dataclass, replace

import numpy as np

from ..constants import NS_PER_S
from ..errors import SolutionError, StakelineError
from ..satellites.orbits import extend_orbits
from ..signals.clock_jumps import repair_clock_jumps
from ..signals.slips import Slips, find_slips
from ..signals.tracks import Tracks, build_tracks
from ..tables import SYSTEMS, Positions, Products, Settings
from .absolute_integers import fix_absolute, without_biases
from .arcs import split_arcs
from .coarse import locate
from .estimate import Estimate, Problem, estimate
from .fixing import state_words
from .model import Model, observed_minus_computed
from .motion_noise import about_path, followed, restlessness, tide_in
from .quality import averaging_epochs, calibrate, memory_factor, summarise
from .repeats import Residuals, find_repeats, without_repeats
from .still import refuse_if_moving
from .weights import with_learnt_weights

ARC_GAP_S = 600.0  # s, a longer gap starts a new arc; common practice, no source
ARC_LENGTH_S = 600.0  # s, shorter arcs are given up; common practice, no source
CODE_FACTOR = {"R": 3.0, "C": 1.5}  # -, code is worse by channel biases; common practice
PHASE_FACTOR = {"C": 1.5}  # -, orbits and antenna models are worse; common practice
CLOCK_LIMIT_M = 0.025  # m, more by clock interpolation: slips are still seen, nothing estimated
PHASE_BROADCAST_M = 0.05  # m, phase against broadcast orbits and clocks: measured on one polar day
SLOW_BROADCAST_M = 0.4  # m, slow errors of broadcast orbits and clocks: measured on one polar day
ORBIT_MARGIN_NS = 4500 * NS_PER_S  # five nodes of a 15-min table
LONGEST_REACH_NS = 7200 * NS_PER_S  # beyond it a dynamic fit is off by decimetres: measured
HAND_STEP_M = 3.0  # m, freedom of a step by hand; our choice
RESTART_M = 0.3  # m, freedom where all phases start anew; our choice
STEP_SHARE = 0.7  # share of satellites that jump at once when the antenna itself does; our choice


@dataclass(frozen=True)
class First:
    """A first solution, with all that later rounds change."""

    tracks: Tracks
    model: Model
    slips: Slips
    problem: Problem
    epochs: np.ndarray
    result: Estimate
    products: Products
    settings: Settings
    notes: list
    jumps: int  # of the receiver's clock

    @property
    def residuals(self):
        """Return its :class:`~.repeats.Residuals`."""
        sky = np.isfinite(self.model.elevation_rad[self.epochs])
        return Residuals(
            self.tracks.time_ns[self.epochs],
            self.tracks.satellites,
            np.where(sky[..., None], -self.model.unit[self.epochs], np.nan),
            self.result.phase_residual_m,
            self.result.code_residual_m,
        )


def solve(observations, products, settings, progress=None, before=None):
    """Estimate the positions of one station from one or several days of observations.

    Parameters
    ----------
    observations : Observations
        In time order; several days are one arc, without jumps at midnight.
    products : Products
        With precise orbits (and clocks), or broadcast messages alone.
    settings : Settings
    progress : callable, optional
        Called with the name of each stage as it begins; who wants seconds times the calls.
    before : Observations, optional
        Of earlier days, whose residuals foretell multipath; products cover them too.

    Returns
    -------
    Positions
        Kinematic: one row per epoch of the solution; static: one row.

    Raises
    ------
    SolutionError
        Where the data do not allow an honest answer: nothing usable, or a station run as static
        that moved; the sentence says how fast.
    ProductError
        Where products do not cover the data.
    """
    tell = progress or (lambda name: None)
    first = first_solution(observations, products, settings, tell)
    if before is not None:
        tell("multipath of earlier days")
        first = _with_repeats_removed(first, before, products, settings)
    tracks, model, epochs, settings = first.tracks, first.model, first.epochs, first.settings
    problem, result, notes = first.problem, first.result, first.notes
    if settings.learn_weights:
        seen = (model.elevation_rad[epochs], tracks.satellites // 100, tracks.strength[0][epochs])
        problem, result, weights = with_learnt_weights(problem, result, *seen)
        notes.append(weights.words)
    if settings.mode == "static":
        refuse_if_moving(problem, result, settings.slow_sigma_m)
    elif settings.estimate_walk:
        problem, model, result, settings = _with_own_walk(first, problem, result, settings)
    state = state_words(np.zeros(len(epochs)), result.phase_used.sum(axis=1))
    if settings.integers:
        fixed = _with_integers(problem, result, tracks, model, epochs, first.products)
        result = fixed.estimate(result)
        state = fixed.states(result.phase_used, problem.arc)
        notes.append(f"integers: {fixed.words}")
    tell("result")
    covariance, calibration = calibrate(problem, result, settings)
    positions = _positions(observations, model, (result, covariance, state), settings, epochs)
    summary = summarise(
        tracks, model, first.slips, problem, result, settings, first.products, calibration, epochs
    )
    summary["warnings"] = [*notes, *model.notes, *summary["warnings"]]
    summary["clock jumps"] = first.jumps
    return replace(positions, summary=summary | positions.summary)


def first_solution(observations, products, settings, tell):
    """Return the :class:`First` solution; parameters and errors as of :func:`solve`."""
    if products.orbits is None:
        settings = replace(settings, phase_sigma_m=PHASE_BROADCAST_M, slow_sigma_m=SLOW_BROADCAST_M)
    tell("observations")
    tracks, notes = build_tracks(observations, settings.systems)
    tracks = with_orbits(tracks, products, notes)
    require_something(tracks, notes)
    products = to_the_last_epoch(products, int(tracks.time_ns[-1]), notes)
    if settings.integers and products.biases:
        tracks = without_biases(tracks, products.biases)
    phase, jumps = repair_clock_jumps(tracks)
    if jumps:
        notes.append(f"{len(jumps)} receiver clock jumps of whole milliseconds repaired")
    tell("coarse position")
    coarse = locate(tracks, products)
    tell("model")
    model = observed_minus_computed(tracks, phase, products, settings, coarse)
    tell("slips")
    tracks = replace(tracks, phase_m=phase)
    slips = find_slips(tracks, model.phase_m, model.unit, model.elevation_rad)
    problem, epochs = pose(tracks, model, slips, settings)
    tell("filter and smoother")
    result = estimate(problem)
    return First(
        tracks, model, slips, problem, epochs, result, products, settings, notes, len(jumps)
    )


def _with_repeats_removed(first, before, products, settings):
    """Return the first solution anew, without the multipath that earlier days foretell."""
    try:
        earlier = _earlier_residuals(before, products, settings)
    except StakelineError as failure:
        note = f"multipath of earlier days: they could not be worked ({failure})"
        return replace(first, notes=[*first.notes, note])
    posed = first.problem
    repeats = find_repeats(first.residuals, earlier, posed.phase_sigma_m, posed.code_sigma_m)
    problem, model = without_repeats(
        posed, first.model, first.epochs, first.tracks.satellites, repeats
    )
    notes = [*first.notes, repeats.words]
    return replace(first, problem=problem, model=model, result=estimate(problem), notes=notes)


def _earlier_residuals(before, products, settings):
    """Return residuals of earlier days, of an antenna held still where it was still.

    A position that may move takes up slow multipath, which its residuals then lack.
    """
    held = replace(settings, mode="static")
    try:
        found = first_solution(before, products, held, lambda name: None)
        refuse_if_moving(found.problem, found.result, found.settings.slow_sigma_m)
    except SolutionError:
        found = first_solution(before, products, settings, lambda name: None)
    return found.residuals


def with_orbits(tracks, products, notes):
    """Return the tracks of satellites that the products know; say which are left out."""
    if products.orbits is not None:
        known = np.asarray(products.orbits.satellites)
        if products.clocks is not None:
            known = np.intersect1d(known, products.clocks.satellites)
    elif products.broadcast is not None:
        messages = (products.broadcast.kepler, products.broadcast.state_vector)
        known = np.unique(np.concatenate([part.satellites for part in messages]))
        notes.append("broadcast orbits and clocks: positions are good to a metre, not centimetres")
    else:
        raise SolutionError("neither orbits nor broadcast messages are given; one is needed")
    keep = np.isin(tracks.satellites, known)
    if not keep.all():
        notes.append(f"{(~keep).sum()} satellites observed but not in the orbits and clocks")
    return tracks.select(satellites=np.flatnonzero(keep))


def require_something(tracks, notes):
    """Raise SolutionError where there is too little to begin with; it says what was left out."""
    known = "; ".join(notes) or "nothing else is known"
    if not tracks.satellites.size:
        raise SolutionError(
            "no satellite has code and phase on two bands for five epochs, and orbit and clock: "
            f"{known}"
        )
    if len(tracks.time_ns) < 2:
        raise SolutionError(f"one epoch alone gives no position from phases: {known}")


def to_the_last_epoch(products, last_ns, notes):
    """Return the products with orbits that reach past the last epoch, by a short dynamic fit.

    Raises ProductError where the table ends more than the fit is good for before the data do.
    """
    if products.orbits is None or int(products.orbits.time_ns[-1]) >= last_ns + ORBIT_MARGIN_NS:
        return products
    end_ns = int(products.orbits.time_ns[-1])
    if last_ns > end_ns:
        minutes = (last_ns - end_ns) / 60e9
        notes.append(
            f"orbits end {minutes:.0f} min before the data: carried on by a dynamic fit (2 cm in "
            "15 min); the next day's orbits would be better"
        )
    if last_ns - end_ns > LONGEST_REACH_NS:
        return products
    return replace(products, orbits=extend_orbits(products.orbits, last_ns, products.orientation))


def pose(tracks, model, slips, settings):
    """Return (:class:`Problem`, indices of the epochs it holds): arcs, weights, process noise."""
    seconds = (tracks.time_ns - tracks.time_ns[0]) / NS_PER_S
    step = float(np.median(np.diff(seconds))) if len(seconds) > 1 else settings.interval_s
    timed = model.extra_m < CLOCK_LIMIT_M
    usable = np.isfinite(model.phase_m) & np.isfinite(model.code_m)
    arc = split_arcs(
        usable, slips.slip, max(1, round(ARC_GAP_S / step)), max(3, round(ARC_LENGTH_S / step))
    )
    arc[~timed] = -1
    epochs = thin_out(tracks.time_ns, (arc >= 0).any(axis=1), settings.interval_s)
    arc = arc[epochs]
    letters = np.array([SYSTEMS[s // 100] for s in tracks.satellites])
    phase, code = model.phase_m[epochs], model.code_m[epochs]
    sigma = settings.phase_sigma_m * model.spread[epochs] * factor_of(letters, PHASE_FACTOR)
    code_sigma = settings.code_sigma_m * model.spread[epochs] * factor_of(letters, CODE_FACTOR)
    extra = model.extra_m[epochs]
    present = [x for x in settings.systems if (letters == x).any()]
    problem = Problem(
        seconds[epochs],
        _near_code(phase, code, arc),
        code,
        model.unit[epochs],
        model.wet[epochs],
        model.gradient[epochs] if settings.gradients else np.zeros_like(phase),
        model.azimuth_rad[epochs],
        np.hypot(sigma, extra),
        np.hypot(code_sigma, extra),
        np.array([present.index(x) - 1 for x in letters], np.int64),
        arc,
        process_noise(seconds[epochs], arc, slips, epochs, tracks.time_ns[epochs], settings),
        settings.mode == "kinematic",
        model.elevation_rad[epochs] if model.variations_missing else None,
        tracks.satellites // 100,
    )
    return problem, epochs


def factor_of(letters, table):
    """Return the factor (m,) on sigmas by system letter."""
    return np.array([table.get(letter, 1.0) for letter in letters])


def thin_out(time_ns, usable, interval_s):
    """Return the epochs nearest to the whole multiples of the interval in GPS time, one for each.

    The grid does not depend on where the data begin, so arcs that overlap share epochs.
    """
    index = np.flatnonzero(usable)
    if not index.size:
        raise SolutionError("no epoch has a usable phase; see the counts of what was left out")
    step = round(interval_s * NS_PER_S)
    group = (time_ns[index] + step // 2) // step
    distance = np.abs(time_ns[index] - group * step)
    order = np.lexsort((distance, group))
    first = np.r_[True, np.diff(group[order]) > 0]
    return np.sort(index[order[first]])


def _near_code(phase, code, arc):
    """Shift each arc's phases near its codes: the ambiguities stay small numbers."""
    held = np.nonzero(arc >= 0)
    number, apart = arc[held], (phase - code)[held]
    apart = apart[np.lexsort((apart, number))]
    _, piece, count = np.unique(number, return_inverse=True, return_counts=True)
    first = np.cumsum(count) - count
    median = 0.5 * (apart[first + (count - 1) // 2] + apart[first + count // 2])
    shifted = phase.copy()
    shifted[held] -= np.round(median)[piece]
    return shifted


def process_noise(seconds, arc, slips, epochs, time_ns, settings):
    """Return the process noise of each step (n, 5); steps by hand and restarts set it free."""
    noise = np.zeros((len(seconds), 5))
    noise[:, 2] = settings.zenith_walk_m_s05**2
    noise[:, 3] = settings.gradient_walk_m_s05**2
    if settings.mode == "static":
        return noise
    noise[:, 0] = settings.acceleration_m_s15**2
    noise[:, 1] = settings.position_walk_m_s05**2
    alive = arc >= 0
    common = (arc[1:] == arc[:-1]) & alive[1:] & alive[:-1]
    restart = np.flatnonzero(~common.any(axis=1))
    noise[restart, 4] = RESTART_M**2
    by_hand = np.searchsorted(time_ns, np.asarray(settings.steps_ns, np.int64)) - 1
    jumped = _all_jump(slips, epochs)
    hand = np.concatenate([by_hand[(by_hand >= 0) & (by_hand < len(seconds))], jumped])
    noise[hand.astype(int), 4] = HAND_STEP_M**2
    return noise


def _all_jump(slips, epochs):
    """Return steps in which nearly all satellites seem to slip at once: the antenna moved."""
    seen = np.isfinite(slips.motion_m).all(axis=1)
    count = slips.by_difference.sum(axis=1)
    everyone = np.maximum(slips.present.sum(axis=1), 1)
    moved = np.flatnonzero(seen & (count >= 5) & (count >= STEP_SHARE * everyone))
    step = np.searchsorted(epochs, moved) - 1
    return np.unique(step[(step >= 0) & (step < len(epochs) - 1)])


def _with_own_walk(first, problem, result, settings):
    """Return problem and model about the tide's path, result and settings with the likely walk."""
    tide = tide_in(problem.seconds, result.states[:, 1:4])
    problem, model = about_path(problem, first.model, first.epochs, tide)
    memory = memory_factor(problem, result, averaging_epochs(problem, settings))
    walk = restlessness(problem, result, memory)
    problem, result, walk = followed(problem, result, walk)
    first.notes.append(
        f"velocity walk from the data: {walk:.1e} m/s per sqrt(s), beside waves of tides"
    )
    return problem, model, result, replace(settings, acceleration_m_s15=walk)


def _with_integers(problem, result, tracks, model, epochs, products):
    """Return the :class:`AbsoluteFix` of the phases without the pattern that was learnt."""
    phase = model.phase_m[epochs]
    if result.pattern_m is not None:
        phase = phase - result.pattern_m
    elevation = model.elevation_rad[epochs]
    return fix_absolute(problem, phase, tracks, epochs, elevation, products)


def _positions(observations, model, solution, settings, epochs):
    """Put the estimate into the record: the marker, Earth-fixed."""
    result, covariance, state = solution
    enu = result.states[:, 1:4]
    marker = model.centre_m[epochs] + enu @ model.axes
    satellites = result.phase_used.sum(axis=1)
    time_ns = observations.time_ns[epochs]
    if settings.mode == "static":
        marker, covariance = marker[-1:], covariance[-1:]
        words, count = np.unique(state, return_counts=True)
        satellites, state = np.array([int(np.median(satellites))]), words[[np.argmax(count)]]
        time_ns = np.array([(int(time_ns[0]) + int(time_ns[-1])) // 2])
    up, east, north = settings.antenna_height_m
    point = marker[-1] + np.array([east, north, up]) @ model.axes
    return Positions(
        observations.header.marker_name,
        settings.frame,
        time_ns,
        marker,
        covariance,
        satellites,
        state,
        {"antenna reference point m": [float(v) for v in point]},
    )
