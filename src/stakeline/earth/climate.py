"""The usual state of the air at a place and season: pressure, temperature, vapour, mapping.

Two ways: :func:`climate`, a compact model of our own derivation that needs no file of the user,
and :func:`climate_from_grid`, computed from the arrays of a published 5-degree grid.
"""

import functools
import importlib.resources
from dataclasses import dataclass

import numpy as np

from ..time import day_of_year
from .harmonics import normalised_basis

LAPSE_K_M = -0.0065  # K/m; ISO 2533, troposphere; the compact model is built on it
_GRAVITY_M_S2 = 9.80665  # m/s2; ISO 2533
_DRY_GAS_J_KG_K = 8.3143 / 28.965e-3  # J/(kg K); Boehm et al. (2015), GPS Solut. 19, 433
_DEGREE = 15
_COLUMN_WARMER_K = 10.0  # K; the column against its vapour-weighted mean, found by trial
_QUANTITIES = 7
_TERMS = 5


@dataclass(frozen=True)
class Climate:
    """Usual state of the air at a site; each an array (n,) by epoch.

    ``pressure_hPa``, ``vapour_hPa`` [hPa], ``temperature_K`` and ``mean_temperature_K`` (weighted
    by vapour) [K], ``lapse`` of the temperature with height [K/m], ``wet_lapse`` (lambda of Askne
    & Nordius), ``ah`` and ``aw`` (mapping coefficients at zero height) without unit.

    ``ah`` and ``aw`` belong to the b and c of Landskron & Boehm (2018). With the older b and c of
    ``troposphere.mapping_functions`` the dry one maps 0.006 too much at 5 deg (13 mm of delay, some
    3 mm of height); ``troposphere.global_mapping_coefficients`` were made for those b and c.
    """

    pressure_hPa: np.ndarray
    temperature_K: np.ndarray
    vapour_hPa: np.ndarray
    lapse: np.ndarray
    mean_temperature_K: np.ndarray
    wet_lapse: np.ndarray
    ah: np.ndarray
    aw: np.ndarray


def season(time_ns):
    """Return 1, cos, sin of the year and cos, sin of the half year at times, shape (n, 5).

    The angle is the day of the year (from 1, with its fraction) over 365.25, as in the grid of
    Landskron & Boehm (2018), J. Geod. 92, 349.
    """
    time_ns = np.atleast_1d(np.asarray(time_ns, np.int64))
    _, day = day_of_year(time_ns)
    fraction = (time_ns % 86_400_000_000_000) / 86.4e12
    angle = (day + fraction) / 365.25 * 2.0 * np.pi
    columns = [np.ones_like(angle), np.cos(angle), np.sin(angle)]
    return np.stack([*columns, np.cos(2.0 * angle), np.sin(2.0 * angle)], axis=-1)


@functools.lru_cache(maxsize=1)
def _coefficients():
    """Return the packaged coefficients, shape (quantities, terms, harmonics)."""
    source = importlib.resources.files(__package__) / "data" / "climate.txt"
    with source.open(encoding="ascii") as lines:
        table = np.loadtxt(lines)
    return np.ascontiguousarray(table.T).reshape(_QUANTITIES, _TERMS, -1)


def climate(latitude_rad, longitude_rad, height_m, time_ns):
    """Return the usual state of the air from the compact model.

    Parameters
    ----------
    latitude_rad, longitude_rad : float
        Geodetic. [rad]
    height_m : float
        Ellipsoidal height. [m]
    time_ns : int64 or array, shape (n,)
        GPS time. [ns]

    Returns
    -------
    Climate

    Notes
    -----
    Pressure, temperature, vapour and mean temperature at the ellipsoid, decrease factor and
    mapping coefficients are each a mean, an annual and a semi-annual wave, expanded in spherical
    harmonics to degree 15; see ``data/README.md`` for the derivation and its accuracy. The change
    with height is that of the standard atmosphere (ISO 2533, equation 12) with 6.5 K/km.
    """
    basis = normalised_basis(float(latitude_rad), float(longitude_rad), _DEGREE)
    p0, t0, log_e0, tm0, wet_lapse, ah, aw = (_coefficients() @ basis) @ season(time_ns).T
    ratio = pressure_ratio(tm0, height_m)
    drop = LAPSE_K_M * height_m
    vapour = np.exp(log_e0) * ratio ** (wet_lapse + 1.0)
    lapse = np.full_like(p0, LAPSE_K_M)
    return Climate(p0 * ratio, t0 + drop, vapour, lapse, tm0 + drop, wet_lapse, ah, aw)


def pressure_ratio(mean_temperature_K, height_m):
    """Return pressure at a height over pressure at zero, for a mean temperature at zero; no unit.

    ISO 2533, equation 12, with the lapse rate of the lower atmosphere; the mean temperature plus
    10 K is used for its ground temperature, because the cold skin of an ice sheet is not the air
    column's.
    """
    temperature_K = mean_temperature_K + _COLUMN_WARMER_K
    exponent = -_GRAVITY_M_S2 / (_DRY_GAS_J_KG_K * LAPSE_K_M)
    return (1.0 + LAPSE_K_M * height_m / temperature_K) ** exponent


def climate_from_grid(grid, latitude_rad, longitude_rad, height_m, time_ns):
    """Return the usual state of the air from a grid, bilinearly between its four nodes.

    Parameters
    ----------
    grid : ClimateGrid
        Arrays of the grid (``formats.gpt3_grid`` reads them).
    latitude_rad, longitude_rad, height_m : float
        Geodetic coordinates of the site. [rad, rad, m]
    time_ns : int64 or array, shape (n,)
        GPS time. [ns]

    Notes
    -----
    Landskron & Boehm (2018), J. Geod. 92, 349: each node's values are brought to the height of
    the site with its own lapse rate and virtual temperature, then weighted. Poleward of the last
    row the last row is used.
    """
    terms = season(time_ns).T
    total = 0.0
    for row, column, weight in _nodes(grid, latitude_rad, longitude_rad):
        total = total + weight * _node_values(grid, row, column, height_m, terms)
    return Climate(*total)


def _nodes(grid, latitude_rad, longitude_rad):
    """Return (row, column, weight) of the nodes around a point."""
    latitude, longitude = np.degrees(latitude_rad), np.degrees(longitude_rad)
    lats, lons = grid.latitude_deg, grid.longitude_deg
    y = np.clip((latitude - lats[0]) / (lats[1] - lats[0]), 0.0, len(lats) - 1.0)
    x = ((longitude - lons[0]) % 360.0) / (lons[1] - lons[0])
    row, column = int(min(y, len(lats) - 2)), int(x)
    y, x = y - row, x - column
    corners = ((0, 0, (1 - y) * (1 - x)), (0, 1, (1 - y) * x), (1, 0, y * (1 - x)), (1, 1, y * x))
    return [(row + i, (column + j) % len(lons), weight) for i, j, weight in corners if weight > 0]


def _node_values(grid, row, column, height_m, terms):
    """Return the eight quantities (8, n) of a node, brought to an ellipsoidal height."""
    pressure, temperature, humidity, lapse, tm, wet_lapse, ah, aw = (
        table[row, column] @ terms
        for table in (
            *(grid.pressure_Pa, grid.temperature_K, grid.humidity, grid.lapse_K_m),
            *(grid.mean_temperature_K, grid.wet_lapse, grid.ah, grid.aw),
        )
    )
    above = height_m - grid.undulation_m[row, column] - grid.height_m[row, column]
    virtual = temperature * (1.0 + 0.6077 * humidity)
    ratio = np.exp(-_GRAVITY_M_S2 / (_DRY_GAS_J_KG_K * virtual) * above)
    vapour = humidity * pressure / (0.622 + 0.378 * humidity) * ratio ** (wet_lapse + 1.0)
    return np.stack(
        [
            *(pressure * ratio / 100.0, temperature + lapse * above, vapour / 100.0, lapse),
            *(tm, wet_lapse, ah, aw),
        ]
    )
