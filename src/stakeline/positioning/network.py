"""One rover and its bases in one adjustment: all double differences with their correlations."""

from dataclasses import dataclass, replace

import numpy as np

from ..errors import SolutionError
from ._network_kernels import BASE, ROVER, network_backward, network_forward
from .estimate import BIAS_SIGMA_M, CODE_LIMIT, PHASE_GATE_M, PHASE_LIMIT, PRIOR_SIGMA, last_state
from .estimate import robust_scale as robust

ROUNDS = 6  # at most; our choice
LEAST_SCALE = 0.3  # -, of residuals over sigmas: receivers that share one antenna show less


@dataclass(frozen=True)
class Network:
    """All that the adjustment needs of R receivers, n epochs, m columns.

    A column is a satellite in one combination or on one signal. Receiver 0 is the pivot, 1 the
    rover, further ones are bases. Values of receivers are less those of the pivot, whose own are 0.
    Without ``relative`` satellite clocks are known, the pivot has no weight and nothing is common.
    """

    seconds: np.ndarray  # (n,)
    phase_m: np.ndarray  # (R, n, m)
    code_m: np.ndarray
    unit: np.ndarray  # (n, m, 3) of the rover
    wet: np.ndarray  # (R, n, m)
    north: np.ndarray  # (R, n, m) partials by the gradients
    east: np.ndarray
    phase_sigma_m: np.ndarray  # (R, n, m), infinite where there is nothing
    code_sigma_m: np.ndarray
    group: np.ndarray  # (m,) columns that share receiver biases
    arc: np.ndarray  # (R, n, m) number or -1; numbers are unique over receivers
    noise: np.ndarray  # (n, 5) of the rover, see _kernels.move_forward
    base_noise: np.ndarray  # (4,) variance per s: common zenith; zenith and gradients of a base
    zenith_sigma_m: tuple  # prior: common, of the rover beyond it, gradients
    moving: bool
    relative: bool = True

    @property
    def receivers(self):
        """Number of receivers."""
        return len(self.arc)


@dataclass(frozen=True)
class Placed:
    """Slots of the ambiguities: arrays the kernels want, and where each label sits."""

    slot: np.ndarray  # (R, n, m)
    end_start: np.ndarray
    end_slot: np.ndarray
    at: np.ndarray  # slot of each label, -1 where it has no epoch
    count: int


@dataclass(frozen=True)
class Smoothed:
    """What one pass gives; residuals (2, R, n, m): phase, code."""

    states: np.ndarray
    covariance_m2: np.ndarray
    residual_m: np.ndarray
    shots: tuple  # (x, c) at the epochs asked for


@dataclass(frozen=True)
class Adjusted:
    """The outcome of robust rounds: last pass and what it used."""

    smoothed: Smoothed
    phase_used: np.ndarray  # (R, n, m)
    code_used: np.ndarray
    phase_scale: float
    code_scale: float
    placed: Placed


def first_slot(network):
    """Return the index of the first ambiguity in the state."""
    groups = int(network.group.max(initial=0))
    bases = max(network.receivers - 2, 0)
    common = 1 if network.relative else 0
    return ROVER + BASE * bases + common + groups * (network.receivers - 1)


def place(network, label, always=None):
    """Return :class:`Placed`: each label (of arc numbers) holds a slot from first to last epoch.

    Labels from ``always`` on that occur hold theirs from the first epoch to the last.
    """
    first = first_slot(network)
    named = np.where(network.arc >= 0, label[np.maximum(network.arc, 0)], -1)
    epoch = np.broadcast_to(np.arange(named.shape[1])[None, :, None], named.shape)[named >= 0]
    which = named[named >= 0]
    count = int(label.max(initial=-1)) + 1
    begin, end = np.full(count, named.shape[1]), np.full(count, -1)
    np.minimum.at(begin, which, epoch)
    np.maximum.at(end, which, epoch)
    if always is not None:
        begin[always:] = np.where(end[always:] >= 0, 0, begin[always:])
        end[always:] = np.where(end[always:] >= 0, named.shape[1] - 1, -1)
    at, free_after = np.full(count, -1), []
    for k in sorted(np.flatnonzero(end >= 0), key=lambda k: (begin[k], k)):
        spot = next((i for i, last in enumerate(free_after) if last < begin[k]), len(free_after))
        if spot == len(free_after):
            free_after.append(-1)
        free_after[spot] = end[k]
        at[k] = first + spot
    alive = np.flatnonzero(end >= 0)
    order = alive[np.argsort(end[alive], kind="stable")]
    start = np.searchsorted(end[order], np.arange(named.shape[1] + 1))
    slot = np.where(named >= 0, at[np.maximum(named, 0)], -1)
    return Placed(slot, start, at[order], at, len(free_after))


def smooth(network, placed, phase_ok, code_ok, *, spread=False, shots=()):
    """Run filter and smoother once; return :class:`Smoothed`."""
    size = first_slot(network) + placed.count
    n = len(network.seconds)
    bases = max(network.receivers - 2, 0)
    common = ROVER + BASE * bases if network.relative else -1
    layout = (bases, common, _bias_index(network))
    steps = 10 + BASE * bases + 1
    rows = np.empty((n * steps + len(placed.end_slot) + 1, size))
    keep = (rows, np.empty(len(rows)), np.empty(len(rows)))
    dt = np.append(np.diff(network.seconds), 0.0)
    a, b, row_end = np.zeros((size, size)), np.zeros(size), np.zeros(n, np.int64)
    values = (network.phase_m, network.code_m)
    weights = (
        np.where(phase_ok, network.phase_sigma_m**-2.0, 0.0),
        np.where(code_ok, network.code_sigma_m**-2.0, 0.0),
    )
    network_forward(
        dt, network.noise, network.base_noise, network.moving, _prior(network, size), values,
        weights, network.unit, network.wet, network.north, network.east, layout, placed.slot,
        placed.end_start, placed.end_slot, a, b, keep, row_end,
    )  # fmt: skip
    x, c = last_state(a, b)
    states, covariance = np.zeros((n, ROVER)), np.zeros((n, 3, 3))
    residual = np.full((2, *network.arc.shape), np.nan)
    shot = np.full(n, -1)
    shot[list(shots)] = np.arange(len(shots))
    shot_x, shot_c = np.zeros((len(shots), size)), np.zeros((len(shots), size, size))
    network_backward(
        dt, network.noise, network.moving, values, network.unit, network.wet, network.north,
        network.east, layout, placed.slot, placed.end_start, placed.end_slot, x, c, keep, row_end,
        spread, states, covariance, residual, shot, shot_x, shot_c,
    )  # fmt: skip
    return Smoothed(states, covariance, residual, (shot_x, shot_c))


def _bias_index(network):
    """Return the state index of each receiver's and column's bias, -1 where it has none."""
    groups = int(network.group.max(initial=0))
    first = first_slot(network) - groups * (network.receivers - 1)
    index = np.full((network.receivers, len(network.group)), -1)
    for r in range(1, network.receivers):
        own = first + (r - 1) * groups + network.group - 1
        index[r] = np.where(network.group > 0, own, -1)
    return index


def _prior(network, size):
    """Return the inverse prior variances about 0 of the whole state."""
    shared, own, gradient = network.zenith_sigma_m
    sigma = np.full(size, np.inf)
    sigma[:ROVER] = PRIOR_SIGMA
    sigma[4:7] = PRIOR_SIGMA[4] if network.moving else 1e-9
    sigma[7:10] = own, gradient, gradient
    bases = max(network.receivers - 2, 0)
    for r in range(bases):
        first = ROVER + BASE * r
        sigma[first : first + BASE] = PRIOR_SIGMA[0], own, gradient, gradient
    at = ROVER + BASE * bases
    if network.relative:
        sigma[at] = shared
        at += 1
    sigma[at : first_slot(network)] = BIAS_SIGMA_M
    return sigma**-2.0


def usable(network):
    """Return (R, n, m) where there is a phase: the pivot wherever another receiver has one."""
    seen = (network.arc >= 0) & np.isfinite(network.phase_m)
    if network.relative:
        seen[0] = seen[1:].any(axis=0) & np.isfinite(network.phase_sigma_m[0])
    return seen


def difference_sigma(network, sigma_m):
    """Return the sigma (R, n, m) of receivers less the pivot."""
    return np.hypot(sigma_m, sigma_m[:1]) if network.relative else sigma_m


def adjust(network, label, *, start=None, spread=False, shots=(), rounds=ROUNDS, always=None):
    """Adjust with robust rounds; return :class:`Adjusted`.

    Each round's residuals, scaled by their robust scatter, decide what the next one uses, as in
    :func:`stakeline.positioning.estimate.estimate`. ``start`` is an earlier outcome to begin from.

    Raises
    ------
    SolutionError
        Where nothing is left to estimate from.
    """
    seen = usable(network)
    if not seen[1:].any():
        raise SolutionError("rover and bases share no phase arc that is long enough")
    network = replace(
        network,
        phase_m=np.where(seen, np.nan_to_num(network.phase_m), 0.0),
        code_m=np.where(seen, np.nan_to_num(network.code_m), 0.0),
    )
    placed = place(network, label, always)
    phase_ok = seen.copy() if start is None else start.phase_used
    code_ok = seen.copy() if start is None else start.code_used
    phase_sigma = difference_sigma(network, network.phase_sigma_m)
    code_sigma = difference_sigma(network, network.code_sigma_m)
    for turn in range(rounds):
        done = smooth(network, placed, phase_ok, code_ok)
        with np.errstate(invalid="ignore"):
            phase_z, code_z = np.abs(done.residual_m) / np.stack([phase_sigma, code_sigma])
        phase_scale, code_scale = robust(phase_z[1:][phase_ok[1:]]), robust(code_z[1:][code_ok[1:]])
        gate = PHASE_GATE_M / phase_sigma[1:][seen[1:]].min() if turn else np.inf
        new_phase = seen & (phase_z < min(PHASE_LIMIT * max(phase_scale, LEAST_SCALE), gate))
        new_code = seen & (code_z < CODE_LIMIT * max(code_scale, LEAST_SCALE))
        new_phase[0] = new_code[0] = seen[0]
        changed = (new_phase != phase_ok).sum() + (new_code != code_ok).sum()
        phase_ok, code_ok = new_phase, new_code
        if changed <= 1e-4 * seen.sum():
            break
    done = smooth(network, placed, phase_ok, code_ok, spread=spread, shots=shots)
    used = np.stack([phase_ok, code_ok])
    done = replace(done, residual_m=np.where(used, done.residual_m, np.nan))
    return Adjusted(done, phase_ok, code_ok, phase_scale, code_scale, placed)
