"""How the ice surface answers when the roof of a lake below it sinks: smoothed, shrunk, late.

Maxwell's body: at once the ice is an elastic plate that spans the lake; within days it flows.

- Flow: the surface takes over of a wave of vertical motion at the bed, wave number k under ice of
  thickness h, the share T = (C + q S) / (C^2 + q^2), q = k h, C = cosh q, S = sinh q. This is
  Stokes flow of a layer with drag at its bed and a free surface; it follows from W'''' - 2 k^2 W''
  + k^4 W = 0 with W = 1, W' = 0 below and W'' + k^2 W = 0, W''' = 3 k^2 W' above, and is of the
  kind in Gudmundsson (2003, J. Geophys. Res. 108(B5), 2253): short waves vanish, long ones pass;
  so in Stubblefield et al. (2021, Geophys. Res. Lett. 48, e2021GL094658), from memory. What slow
  levelling of the surface by its own weight would add is left out.
- Plate: of a load's wave, 1 / (1 + D k^4 / (rho g)) is passed on, D = E h^3 / (12 (1 - nu^2))
  (Timoshenko & Woinowsky-Krieger 1959, Theory of Plates and Shells, section 57: plates on an
  elastic foundation, here the water). At once both factors act, in the end only the first.
"""

import functools

import numpy as np
from scipy.interpolate import RectBivariateSpline
from scipy.signal import lfilter
from scipy.special import j1

from .course import Course

YOUNG_PA = 1.0e9  # Pa, effective, ice in the field; Vaughan (1995), J. Geophys. Res. 100, 6213
POISSON = 0.3  # -; Vaughan (1995)
WEIGHT_PA_M = 1000.0 * 9.81  # Pa/m, fresh water below the plate; definition
RELAXATION_S = 1.6e5  # s, viscosity over modulus (1.6e14 Pa s / 1e9 Pa); invented
NODES_S = 3600.0  # s, nodes of the level's past; choice
MARGIN_S = 8.0 * 86400.0  # s, kept before and after the campaign; choice
REACH = 16.0  # -, thicknesses beyond the shore that a map covers; choice
CELLS = 360  # -, cells of the map of a lake along each side; choice


def flow_passes(wave_rad_m, thickness_m):
    """Return the share of vertical motion at the bed that flowing ice brings to its surface."""
    q = np.minimum(np.asarray(wave_rad_m, float) * thickness_m, 300.0)
    cosine, sine = np.cosh(q), np.sinh(q)
    return (cosine + q * sine) / (cosine**2 + q**2)


def plate_passes(wave_rad_m, thickness_m):
    """Return the share that an elastic plate passes on at once."""
    stiffness = YOUNG_PA * thickness_m**3 / (12.0 * (1.0 - POISSON**2))
    return 1.0 / (1.0 + stiffness * np.asarray(wave_rad_m, float) ** 4 / WEIGHT_PA_M)


@functools.lru_cache(maxsize=16)
def _maps(lake, thickness_m):
    """Return the surface over a lake, for 1 m of roof: (at once, in the end), as splines.

    The Fourier transform of an ellipse is known (2 pi a b J1(r) / r, r^2 = (a kx)^2 + (b ky)^2),
    so no edge is ever put on a grid.
    """
    half = np.array([lake.half_length_m, lake.half_width_m])
    reach = half + REACH * thickness_m
    step = 2.0 * reach / CELLS
    kx, ky = (2.0 * np.pi * np.fft.fftfreq(CELLS, s) for s in step)
    radius = np.hypot(half[0] * kx[:, None], half[1] * ky[None, :])
    radius[0, 0] = 1e-6
    outline = 2.0 * lake.area_m2 * j1(radius) / radius
    wave = np.hypot(kx[:, None], ky[None, :])
    flow = flow_passes(wave, thickness_m)
    axes = [(np.arange(CELLS) - CELLS // 2) * s for s in step]
    maps = []
    for passes in (flow * plate_passes(wave, thickness_m), flow):
        surface = np.fft.ifft2(outline * passes).real / np.prod(step)
        maps.append(RectBivariateSpline(*axes, np.fft.fftshift(surface)))
    return tuple(maps)


def _look_up(spline, lake, thickness_m, flow_m, side_m):
    flow, side = np.broadcast_arrays(np.asarray(flow_m, float), np.asarray(side_m, float))
    along, across = np.abs(flow - lake.flow_m), np.abs(side - lake.side_m)
    near = along < lake.half_length_m + 0.99 * REACH * thickness_m
    near &= across < lake.half_width_m + 0.99 * REACH * thickness_m
    shape = np.zeros(flow.shape)
    shape[near] = spline.ev(along[near], across[near])
    return shape


def surface_shape(lake, thickness_m, flow_m, side_m):
    """Return what the surface does in the end where the roof of a lake rises by 1 m.

    Parameters
    ----------
    lake : Lake
    thickness_m : float
        Of the ice above.
    flow_m, side_m : arrays of one shape
        Glacier coordinates.

    Returns
    -------
    array
        Share of the roof's motion; below 1, and about 0 many thicknesses from the shore.
        Its integral is the lake's area: the surface holds the volume.
    """
    return _look_up(_maps(lake, thickness_m)[1], lake, thickness_m, flow_m, side_m)


def first_shape(lake, thickness_m, flow_m, side_m):
    """Return what the surface does at once; as :func:`surface_shape`, lower and wider."""
    return _look_up(_maps(lake, thickness_m)[0], lake, thickness_m, flow_m, side_m)


def relaxed(level_m, step_s, memory_s):
    """Return the late copy r of levels at even nodes: dr/dt = (level - r) / memory, (n,). [m]

    Exact for levels that are straight between nodes; at the first node r lags as behind a level
    that has risen for ever as it does there.
    """
    level_m = np.asarray(level_m, float)
    kept = np.exp(-step_s / memory_s)
    ramp = 1.0 - (1.0 - kept) * memory_s / step_s  # weight of the newer node
    drive = (1.0 - kept - ramp) * level_m[:-1] + ramp * level_m[1:]
    first = level_m[0] - (level_m[1] - level_m[0]) / step_s * memory_s
    return lfilter([1.0], [1.0, -kept], np.concatenate([[first], drive]))


@functools.lru_cache(maxsize=4)
def _late_levels(water):
    """Return the :class:`Course` of the late copy of each lake's level, 0 at the start."""
    count = int(np.ceil((water.days * 86400.0 + 2.0 * MARGIN_S) / NODES_S)) + 2
    time_s = -MARGIN_S + NODES_S * np.arange(count)
    courses = []
    for k in range(len(water.lakes)):
        late = Course(-MARGIN_S, NODES_S, relaxed(water.level_m(k, time_s), NODES_S, RELAXATION_S))
        courses.append((late, float(late(0.0))))
    return tuple(courses)


def surface_change_m(water, lakes, flow_m, side_m, time_s):
    """Return how far lakes have lifted the surface since the start; arrays of one shape. [m]

    At once the ice answers as a plate; the rest follows with the time of relaxation. Places and
    times may differ point by point.
    """
    flow, side, time_s = np.broadcast_arrays(
        *(np.asarray(v, float) for v in (flow_m, side_m, time_s))
    )
    change = np.zeros(flow.shape)
    if not water.events:
        return change
    for k, lake in enumerate(lakes):
        first = first_shape(lake, lake.thickness_m, flow, side)
        final = surface_shape(lake, lake.thickness_m, flow, side)
        if not (np.any(first) or np.any(final)):
            continue
        late, late_start = _late_levels(water)[k]
        change = change + first * water.level_m(k, time_s)
        change = change + (final - first) * (late(time_s) - late_start)
    return change
