"""Displacement of the ground under the ocean tides, with hundreds of tides from eleven."""

import erfa
import numpy as np
from scipy.interpolate import CubicSpline

from ..constants import NS_PER_DAY
from ..errors import ProductError
from ..time import julian_tt, utc_from_gps
from ._tidal_lines import LINES
from .interpolation import through_grid

MAIN_TIDES = ("M2", "S2", "N2", "K2", "K1", "O1", "P1", "Q1", "Mf", "Mm", "Ssa")
"""Order of the columns in the coefficients; IERS Conventions (2010), section 7.1.2.1."""

_MAIN_DOODSON = np.array(
    [  # multiples of tau, s, h, p, N', ps; IERS Conventions (2010), table 6.7 and section 7.1.2
        (2, 0, 0, 0, 0, 0),
        (2, 2, -2, 0, 0, 0),
        (2, -1, 0, 1, 0, 0),
        (2, 2, 0, 0, 0, 0),
        (1, 1, 0, 0, 0, 0),
        (1, -1, 0, 0, 0, 0),
        (1, 1, -2, 0, 0, 0),
        (1, -2, 0, 1, 0, 0),
        (0, 2, 0, 0, 0, 0),
        (0, 1, 0, -1, 0, 0),
        (0, 0, 2, 0, 0, 0),
    ]
)
_RATE_CYCLE_DAY = np.array([0.9661368, 0.0366011, 0.0027379, 0.0003095, 0.0001471, 0.0000001])
"""Of tau, s, h, p, N', ps; Doodson (1921), Proc. R. Soc. A 100, 305."""

_GRID_NS = NS_PER_DAY // 96
"""Nodes of a series; the error between them is below 1e-5 of the amplitude."""


def doodson_arguments(time_ns):
    """Return tau, s, h, p, N', ps, shape (n, 6). [rad]

    From the fundamental arguments of IERS Conventions (2010), equations 5.43, in TT; tau is solar
    time (here UTC for UT1, 0.004 deg at most) minus the Moon's elongation.
    """
    day, fraction = julian_tt(time_ns)
    t = ((day - 2451545.0) + fraction) / 36525.0
    anomaly_moon, anomaly_sun = erfa.fal03(t), erfa.falp03(t)
    elongation, node = erfa.fad03(t), erfa.faom03(t)
    s = erfa.faf03(t) + node
    solar = (utc_from_gps(time_ns) % NS_PER_DAY) / NS_PER_DAY * 2.0 * np.pi
    h = s - elongation
    return np.stack(
        [solar - elongation, s, h, s - anomaly_moon, -node, h - anomaly_sun],
        axis=-1,
    )


def main_tide_arguments(time_ns):
    """Return the arguments of the eleven tides to which coefficients refer, (n, 11). [rad]

    IERS Conventions (2010), section 7.1.2.1 (routine ARG2): Doodson's arguments, plus 90 deg for
    K1, minus 90 deg for O1, P1, Q1.
    """
    quarter = np.zeros(11)
    quarter[4:8] = 0.5 * np.pi * np.array([1.0, -1.0, -1.0, -1.0])
    return doodson_arguments(time_ns) @ _MAIN_DOODSON.T + quarter


def ocean_loading(loading, time_ns):
    """Return the displacement by ocean tide loading in east, north, up, shape (n, 3). [m]

    Parameters
    ----------
    loading : OceanLoading
        Amplitudes and phases of the eleven tides, rows up, west, south.
    time_ns : int64 array, shape (n,)
        GPS time. [ns]

    Raises
    ------
    ProductError
        Where the coefficients are not 3 x 11 finite numbers.

    Notes
    -----
    IERS Conventions (2010), section 7.1.2.2: the admittance (displacement over potential) of the
    eleven tides is interpolated in frequency, by species and separately in phase and out of phase,
    and applied to the 342 largest lines of the degree-2 potential. The lines are of our own
    derivation (``builders/build_tidal_lines.py``).
    """
    waves = admitted_waves(loading)

    def exact(times):
        angle = doodson_arguments(times) @ LINES[:, :6].T
        return np.cos(angle) @ waves.real + np.sin(angle) @ waves.imag

    up, west, south = through_grid(exact, time_ns, _GRID_NS).T
    return np.stack([-west, -south, up], axis=-1)


def admitted_waves(loading):
    """Return in-phase and out-of-phase amplitudes (lines, 3) as one complex array. [m]

    Displacement is the real part times cos(argument) plus the imaginary part times sin(argument),
    in the order up, west, south.
    """
    amplitude, phase = np.asarray(loading.amplitude_m), np.asarray(loading.phase_deg)
    right_shape = amplitude.shape == phase.shape == (3, 11)
    if not (right_shape and np.isfinite(amplitude).all() and np.isfinite(phase).all()):
        raise ProductError(
            f"ocean loading of {loading.site}: amplitudes {amplitude.shape} and phases "
            f"{phase.shape} must be 3 x 11 finite numbers; ask for the coefficients again"
        )
    main = amplitude * np.exp(1j * np.radians(phase))
    frequency = LINES[:, :6] @ _RATE_CYCLE_DAY
    waves = np.empty((len(LINES), 3), complex)
    for species, chosen in _species():
        nodes = np.flatnonzero(_MAIN_DOODSON[:, 0] == species)
        where = _MAIN_DOODSON[nodes] @ _RATE_CYCLE_DAY
        strength = np.abs([_line_amplitude(_MAIN_DOODSON[k]) for k in nodes])
        admittance = _interpolated(where, (main[:, nodes] / strength).T, frequency[chosen])
        # cos(argument + 90 deg - phase) of a diurnal line: the phase is less by 90 deg
        turn = -1j if species == 1 else 1.0
        waves[chosen] = LINES[chosen, 6][:, None] * admittance * turn
    return waves


def _species():
    return [(k, np.flatnonzero(LINES[:, 0] == k)) for k in (0, 1, 2)]


def _line_amplitude(doodson):
    return LINES[np.all(LINES[:, :6] == doodson, axis=1), 6][0]


def _interpolated(nodes, values, frequency):
    """Return complex admittances (m, 3) at frequencies from those (k, 3) at the nodes.

    A cubic spline whose end slopes are those of the parabola through the last three nodes; outside
    the nodes the nearest value.
    """
    order = np.argsort(nodes)
    x, y = nodes[order], values[order]
    first = _parabola_slope(x[:3], y[:3])
    last = _parabola_slope(x[:-4:-1], y[:-4:-1])
    inside = np.clip(frequency, x[0], x[-1])
    parts = [
        CubicSpline(x, part(y), bc_type=((1, part(first)), (1, part(last))))(inside)
        for part in (np.real, np.imag)
    ]
    return parts[0] + 1j * parts[1]


def _parabola_slope(x, y):
    """Return the slope at ``x[0]`` of the parabola through three points."""
    a, b = x[1] - x[0], x[2] - x[0]
    return ((y[1] - y[0]) * b / a - (y[2] - y[0]) * a / b) / (b - a)
