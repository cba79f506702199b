"""From the roof of a lake of any outline to the surface at stations, and back.

What a station feels of a lake depends on how much of each ring about it lies over the lake; the
share is the sum over rings of what a ring of roof adds (:func:`~.response.disc_shares`). A clamped
plate is solved on a grid inside the margin.
"""

from dataclasses import dataclass

import numpy as np
from scipy.interpolate import RegularGridInterpolator
from scipy.signal import lfilter
from scipy.sparse import csc_matrix, identity
from scipy.sparse.linalg import spsolve

from ..errors import SettingsError, SolutionError
from .outline import inside_ring, ring_distance
from .response import FLOWS, METHODS, PLATES, UNIFORM, disc_shares, transfer

RINGS = 120  # about a station; choice
ANGLES = 72  # of a ring; choice
PLATE_CELLS = 48  # across the longer side of a clamped plate; choice: a disc to 1 %
CLAMPED = 0.7  # -, cells from the margin to the first node that moves; so that a disc comes out
MAP_CELLS = 256  # of a map along each side; choice
MAP_REACH = 10.0  # -, lengths of the ice's answer kept about a map; choice
MEAN_CELLS = 128  # of the grid for a mean over an outline; choice
MEAN_RINGS = 400  # of waves for it; choice
LEAST_SHARE = 0.3  # -, below it a lake cannot be judged; choice
LONGEST_SERIES = 4000  # rows of a series to be inverted; choice


@dataclass(frozen=True, eq=False)
class View:
    """What stations see of a lake.

    ``radius_m`` (r + 1,): rings about a station; ``inside`` (n, r): share of each ring that lies
    over the lake. ``point_m`` (n, 2): true metres from the outline's centre.
    """

    outline: object
    point_m: np.ndarray
    radius_m: np.ndarray
    inside: np.ndarray


def view_of(outline, point_m):
    """Return the :class:`View` of stations at map points (n, 2). [m]"""
    point = outline.true_m(np.atleast_2d(np.asarray(point_m, float)))
    if not np.isfinite(point).all():
        raise SettingsError("a station's place is missing; give map coordinates of each")
    rings = [outline.true_m(r) for r in outline.rings_m]
    far = max(np.hypot(*(rings[0] - p).T).max() for p in point)
    radius = far * np.linspace(0.0, 1.0, RINGS + 1) ** 1.5
    middle = np.sqrt(0.5 * (radius[1:] ** 2 + radius[:-1] ** 2))
    angle = 2.0 * np.pi * (np.arange(ANGLES) + 0.5) / ANGLES
    circle = np.stack([np.cos(angle), np.sin(angle)], axis=1)
    inside = np.empty((len(point), RINGS))
    for k, place in enumerate(point):
        where = (place + middle[:, None, None] * circle).reshape(-1, 2)
        within = inside_ring(rings[0], where)
        for hole in rings[1:]:
            within &= ~inside_ring(hole, where)
        inside[k] = within.reshape(RINGS, ANGLES).mean(axis=1)
    return View(outline, point, radius, inside)


def shares(view, ice, method, lag_s=0.0):
    """Return what the surface at stations does for 1 m of mean roof change (n,).

    Parameters
    ----------
    view : View
    ice : Ice
    method : str
        Of :data:`~.response.METHODS`: two flows, two plates, or the surface as the roof.
    lag_s : float or array (k,)
        Time since the roof moved, for the flows' levelling; of several, the mean. [s]
    """
    if method not in METHODS:
        raise SettingsError(f"no method '{method}'; there are {', '.join(METHODS)}")
    if method == PLATES[1]:
        return _plate_at(clamped_plate_map(view.outline, ice), view.point_m)
    return view.inside @ np.diff(disc_shares(view.radius_m, ice, method, lag_s))


def at_once_shares(view, ice, beds=FLOWS):
    """Return the share of its change that the surface at stations shows at once (n,), 1 at most.

    As :func:`shares`: the plate with soft surround over the mean of the flows of ``beds``.
    """
    final = np.mean([shares(view, ice, bed) for bed in beds], axis=0)
    first = shares(view, ice, PLATES[0])
    return np.clip(first / np.maximum(final, 1e-9), 0.0, 1.0)


def clamped_plate_map(outline, ice, cells=PLATE_CELLS):
    """Return (east axis, north axis, rise (e, n) over its mean) of a plate clamped at the margin.

    D lap lap w + rho g w = rho g inside, no rise outside: finite differences with 13 points
    (Timoshenko & Woinowsky-Krieger 1959, section 83). True metres from the outline's centre. A
    lake narrower than a few cells is solved coarsely: its mean stays right, its shape less so.
    """
    rings = [outline.true_m(r) for r in outline.rings_m]
    low, high = rings[0].min(axis=0), rings[0].max(axis=0)
    step = (high - low).max() / cells
    east, north = (
        np.arange(a - 2.0 * step, b + 2.5 * step, step) for a, b in zip(low, high, strict=True)
    )
    where = np.stack(np.meshgrid(east, north, indexing="ij"), axis=-1).reshape(-1, 2)
    within = inside_ring(rings[0], where) & (ring_distance(rings[0], where) > CLAMPED * step)
    for hole in rings[1:]:
        within &= ~inside_ring(hole, where) & (ring_distance(hole, where) > CLAMPED * step)
    if not within.any():
        raise SolutionError(f"outline '{outline.name}': too narrow for a plate of {cells} cells")
    second = _laplacian(len(east), len(north), step)
    free = np.flatnonzero(within)
    whole = ice.stiffness_N_m * (second @ second) / ice.foundation_Pa_m
    matrix = whole[free][:, free] + identity(len(free))
    rise = np.zeros(len(where))
    rise[free] = spsolve(csc_matrix(matrix), np.ones(len(free)))
    return (
        east,
        north,
        rise.reshape(len(east), len(north)) / (rise.sum() * step**2 / outline.area_m2),
    )


def _laplacian(rows, columns, step):
    def second(n):
        one = np.zeros((n, n))
        i = np.arange(n)
        one[i, i] = -2.0
        one[i[1:], i[:-1]] = one[i[:-1], i[1:]] = 1.0
        return csc_matrix(one / step**2)

    return _kron(second(rows), identity(columns)) + _kron(identity(rows), second(columns))


def _kron(a, b):
    a, b = a.tocoo(), b.tocoo()
    row = (a.row[:, None] * b.shape[0] + b.row).ravel()
    column = (a.col[:, None] * b.shape[1] + b.col).ravel()
    data = (a.data[:, None] * b.data).ravel()
    return csc_matrix((data, (row, column)), (a.shape[0] * b.shape[0], a.shape[1] * b.shape[1]))


def _plate_at(plate, point):
    east, north, rise = plate
    look_up = RegularGridInterpolator((east, north), rise, bounds_error=False, fill_value=0.0)
    return look_up(point)


def share_map(outline, ice, method, lag_s=0.0, cells=MAP_CELLS):
    """Return (east, north, share (e, n)) about a lake, by a filter on a grid.

    For maps and for the choice of a station's place. True metres from the outline's centre; the
    mean of the shares over the plane is that of the roof: the surface holds the volume.
    """
    if method == PLATES[1]:
        return clamped_plate_map(outline, ice)
    axis = _axis((outline,), ice, method, cells)
    step, roof = axis[1] - axis[0], _roof(outline, outline, axis)
    k = 2.0 * np.pi * np.fft.fftfreq(cells, step)
    passed = transfer(ice, method, np.hypot(k[:, None], k[None, :]), lag_s)
    return axis, axis, np.fft.ifft2(np.fft.fft2(roof) * passed).real


def _axis(outlines, ice, method, cells):
    """Return the axis (cells,) of a grid about the first outline that the ice's answer fits on."""
    points = np.concatenate([outlines[0].true_m(one.ring_m) for one in outlines])
    length = ice.bending_length_m if method == PLATES[0] else ice.thickness_m
    half = np.abs(points).max() + MAP_REACH * length
    return 2.0 * half / cells * (np.arange(cells) - cells // 2)


def _roof(outline, about, axis):
    """Return the share (n, n) of each cell that lies over the lake, from 16 points of it.

    The axis is of true metres from the centre of the outline ``about``.
    """
    rings = [about.true_m(ring) for ring in outline.rings_m]
    step = axis[1] - axis[0]
    low, high = rings[0].min(axis=0) - step, rings[0].max(axis=0) + step
    near = tuple(slice(*np.searchsorted(axis, ends)) for ends in zip(low, high, strict=True))
    roof = np.zeros((len(axis), len(axis)))
    for dx in (np.arange(4) - 1.5) / 4.0 * step:
        for dy in (np.arange(4) - 1.5) / 4.0 * step:
            where = np.stack(np.meshgrid(axis[near[0]] + dx, axis[near[1]] + dy, indexing="ij"), -1)
            within = inside_ring(rings[0], where.reshape(-1, 2))
            for hole in rings[1:]:
                within &= ~inside_ring(hole, where.reshape(-1, 2))
            roof[near] += within.reshape(where.shape[:2]) / 16.0
    return roof


@dataclass(frozen=True, eq=False)
class MeanView:
    """What the mean of the surface over one outline sees of a lake of another.

    ``wave_rad_m`` (b,) and ``weight`` (b,): the mean share is the sum of weights times what the ice
    passes of each wave. ``covered``: part of the one that the other covers.
    """

    wave_rad_m: np.ndarray
    weight: np.ndarray
    covered: float

    def share(self, ice, method, lag_s=0.0):
        """Return the mean of the surface over the one outline for 1 m of roof of the other.

        ``lag_s`` as in :func:`shares`.

        Where the surface moves as the roof, or a plate is clamped at the margin (whose shape is
        left out), that is the part of the one that the other covers.
        """
        if method in (UNIFORM, PLATES[1]):
            return self.covered
        return float(self.weight @ transfer(ice, method, self.wave_rad_m, lag_s))


def mean_view(outline, over, ice):
    """Return the :class:`MeanView` of a lake of one outline by the mean over another.

    Parseval's theorem: the mean of the surface is the sum over waves of the cross spectrum of both
    areas times what the ice passes, in rings of waves. On a grid that holds the flow's answer.

    Parameters
    ----------
    outline : Outline
        Of the lake.
    over : Outline
        The mean is taken over it.
    ice : Ice
        The thickest that is asked for.
    """
    axis = _axis((over, outline), ice, FLOWS[0], MEAN_CELLS)
    seen = _roof(over, over, axis)
    lake = seen if outline is over else _roof(outline, over, axis)
    cross = (np.fft.fft2(lake) * np.fft.fft2(seen).conj()).real / (seen.size * seen.sum())
    k = 2.0 * np.pi * np.fft.fftfreq(len(axis), axis[1] - axis[0])
    wave = np.hypot(k[:, None], k[None, :]).ravel()
    ring = np.minimum((wave / wave.max() * MEAN_RINGS).astype(int), MEAN_RINGS - 1)
    count = np.bincount(ring, minlength=MEAN_RINGS)
    middle = np.bincount(ring, wave, MEAN_RINGS)[count > 0] / count[count > 0]
    weight = np.bincount(ring, cross.ravel(), MEAN_RINGS)[count > 0]
    return MeanView(middle, weight, float(np.minimum(lake, seen).sum() / seen.sum()))


def step_responses(view, ice, method, step_s, count):
    """Return shares (stations, count) at even lags after a sudden change of the roof.

    A Maxwell body: the plate's share fades with the relaxation time while the flow's comes, which
    is then levelled. ``method``: a flow; the plate is that with the soft surround.
    """
    lag = step_s * np.arange(count)
    if method not in FLOWS:
        return np.repeat(shares(view, ice, method)[:, None], count, axis=1)
    nodes = np.unique(np.append(0.0, np.geomspace(step_s, max(lag[-1], 2.0 * step_s), 24)))
    levelled = np.array([shares(view, ice, method, t) for t in nodes])
    flow = np.array([np.interp(lag, nodes, column) for column in levelled.T])
    fading = np.exp(-lag / ice.relaxation_s)
    return flow + fading * (shares(view, ice, PLATES[0])[:, None] - flow)


def surface_from_roof(response, roof_m):
    """Return the surface change (stations, n) of a mean roof change (n,) at even times. [m]

    ``response`` as by :func:`step_responses` for the same steps; the first roof value is the
    origin, before which nothing moved.
    """
    moved = np.diff(np.asarray(roof_m, float), prepend=roof_m[0])
    return np.array([np.convolve(row, moved)[: len(moved)] for row in response])


def roof_from_surface(response, surface_m, sigma_m):
    """Return (mean roof change (n,), its sigma (n,)) of surface series at stations. [m]

    Parameters
    ----------
    response : array (stations, n)
        As by :func:`step_responses`.
    surface_m : array (stations, n)
        At even times, no row missing, from the first row's origin.
    sigma_m : array (stations,)
        Independent from row to row.

    Raises
    ------
    SolutionError
        Where no station's share is large enough, or the series are too long.

    Notes
    -----
    Stations are combined with weights share / sigma^2 first, then their response is undone step
    by step: exact where the model is, and steady because shares change slowly with the lag.
    """
    surface, sigma = np.atleast_2d(surface_m), np.asarray(sigma_m, float)
    n = surface.shape[1]
    if n > LONGEST_SERIES or not np.isfinite(surface).all():
        raise SolutionError(
            f"{n} rows, {int((~np.isfinite(surface)).sum())} missing; a roof is computed from at "
            f"most {LONGEST_SERIES} rows without a gap: take means, and parts between gaps"
        )
    late = response[:, -1]
    judge_shares(late)
    weight = late / sigma**2
    weight = weight / (weight @ late)
    kernel = weight @ response
    roof = undone(kernel, weight @ (surface - surface[:, :1]))
    noise = np.sqrt((weight * sigma) @ (weight * sigma))
    one = undone(kernel, np.eye(1, n)[0])
    return roof, noise * np.sqrt(np.cumsum(one**2))


def undone(kernel, surface_m):
    """Return the roof change (n,) behind a surface change (n,) at even times. [m]

    ``kernel`` (n,): shares at even lags after a sudden change; before the first row nothing moved.
    """
    return np.cumsum(lfilter([1.0], kernel, surface_m))


def judge_shares(share, least=LEAST_SHARE):
    """Return the greatest share; SolutionError where it is too small to judge the lake."""
    best = float(np.max(share))
    if not best >= least:
        raise SolutionError(
            f"the surface at the best station does {max(best, 0.0):.2f} of what the roof does, "
            f"less than {least:g}: the lake is too small under too much ice, or the stations stand "
            "beside it; its roof and volume cannot be judged from them"
        )
    return best
