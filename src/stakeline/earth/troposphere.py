"""Delay of the signals in the neutral air: zenith delays, mapping functions, gradients.

Climates to start from are in :mod:`stakeline.earth.climate` and are named here too.
"""

import numpy as np

from ..time import mjd
from . import _gmf
from ._kernels import mapping
from .climate import Climate as Climate
from .climate import climate as climate
from .climate import climate_from_grid as climate_from_grid
from .harmonics import surface_harmonics

B_DRY = 0.0029  # -; Boehm et al. (2006), J. Geophys. Res. 111, B02406
B_WET, C_WET = 0.00146, 0.04391  # -; Boehm et al. (2006), J. Geophys. Res. 111, B02406


def zenith_hydrostatic_m(pressure_hPa, latitude_rad, height_m):
    """Return the zenith hydrostatic delay. [m]

    Saastamoinen (1972) in the form of Davis et al. (1985), Radio Sci. 20, 1593, equation A11:
    0.0022768 p / (1 - 0.00266 cos 2 lat - 0.28e-6 h).
    """
    gravity = 1.0 - 0.00266 * np.cos(2.0 * np.asarray(latitude_rad)) - 0.28e-6 * height_m
    return 0.0022768 * np.asarray(pressure_hPa) / gravity


def zenith_wet_m(vapour_hPa, mean_temperature_K, wet_lapse):
    """Return the zenith wet delay. [m]

    Askne & Nordius (1987), Radio Sci. 22, 379, equation 18:
    1e-6 (k2' + k3/Tm) Rd e / ((lambda + 1) gm), with k2' = 16.5221 K/hPa, k3 = 3.776e5 K2/hPa.

    Parameters
    ----------
    vapour_hPa : array
        Partial pressure of water vapour. [hPa]
    mean_temperature_K : array
        Mean temperature of the air, weighted by vapour. [K]
    wet_lapse : array
        Decrease factor lambda of the vapour. [-]
    """
    dry_gas_constant = 8.3143 / 28.965e-3  # J/(kg K); Boehm et al. (2015), GPS Solut. 19
    refractivity = 16.5221 + 3.776e5 / np.asarray(mean_temperature_K)
    scale = dry_gas_constant / ((np.asarray(wet_lapse) + 1.0) * 9.80665)
    return 1e-6 * refractivity * scale * np.asarray(vapour_hPa)


def seasonal_day(time_ns):
    """Return days since the 28th of January 1980, on which the annual terms are counted. [d]

    Niell (1996), J. Geophys. Res. 101, 3227, section 3: the phase is day of year 28.
    """
    return mjd(time_ns) - 44239.0 + 1.0 - 28.0


def c_dry(latitude_rad, time_ns):
    """Return the dry coefficient c, with its season and latitude; no unit.

    Boehm et al. (2006), J. Geophys. Res. 111, B02406, equation 7 and table 5.
    """
    south = np.asarray(latitude_rad) < 0.0
    phase = np.where(south, np.pi, 0.0)
    c11, c10 = np.where(south, 0.007, 0.005), np.where(south, 0.002, 0.001)
    season = np.cos(seasonal_day(time_ns) / 365.25 * 2.0 * np.pi + phase) + 1.0
    return 0.062 + (season * c11 / 2.0 + c10) * (1.0 - np.cos(latitude_rad))


def mapping_functions(elevation_rad, ah, aw, latitude_rad, height_m, time_ns):
    """Return the dry and the wet mapping function of elevations; no unit.

    Parameters
    ----------
    elevation_rad : array, shape (n,) or (n, m)
        Elevations above the horizon, one row for each epoch; NaN gives NaN. [rad]
    ah, aw : float or array, shape (n,)
        Coefficients a at zero height, dry and wet. [-]
    latitude_rad, height_m : float
        Geodetic latitude [rad], ellipsoidal height [m] (0 for coefficients of the site itself).
    time_ns : int64 or array, shape (n,)
        GPS time. [ns]

    Returns
    -------
    dry, wet : arrays of the shape of ``elevation_rad``

    Notes
    -----
    Continued fraction of Herring (1992) with b and c of Boehm et al. (2006), J. Geophys. Res.
    111, B02406, and the height correction of Niell (1996), equation 6. Meant for elevations above
    3 deg.
    """
    elevation = np.asarray(elevation_rad, float)
    rows = np.ascontiguousarray(elevation.reshape(elevation.shape[0] if elevation.ndim else 1, -1))
    count = rows.shape[0]
    ah, aw, c = (
        np.ascontiguousarray(np.broadcast_to(np.asarray(value, float), (count,)))
        for value in (ah, aw, c_dry(latitude_rad, time_ns))
    )
    dry, wet = np.empty_like(rows), np.empty_like(rows)
    b, b_wet, c_wet = (np.full(count, value) for value in (B_DRY, B_WET, C_WET))
    mapping(rows, ah, b, c, aw, b_wet, c_wet, float(height_m), dry, wet)
    return dry.reshape(elevation.shape), wet.reshape(elevation.shape)


def global_mapping_coefficients(latitude_rad, longitude_rad, time_ns):
    """Return the coefficients (ah, aw), each (n,), of the Global Mapping Function; no unit.

    They go into :func:`mapping_functions`. Mean and annual term only, degree and order 9.
    Boehm et al. (2006), Geophys. Res. Lett. 33, L07304.
    """
    cosines, sines = surface_harmonics(latitude_rad, longitude_rad, 9)
    season = np.cos(np.atleast_1d(seasonal_day(time_ns)) / 365.25 * 2.0 * np.pi)
    dry_mean = cosines @ _gmf.DRY_MEAN_COS + sines @ _gmf.DRY_MEAN_SIN
    dry_annual = cosines @ _gmf.DRY_ANNUAL_COS + sines @ _gmf.DRY_ANNUAL_SIN
    wet_mean = cosines @ _gmf.WET_MEAN_COS + sines @ _gmf.WET_MEAN_SIN
    wet_annual = cosines @ _gmf.WET_ANNUAL_COS + sines @ _gmf.WET_ANNUAL_SIN
    return (dry_mean + dry_annual * season) * 1e-5, (wet_mean + wet_annual * season) * 1e-5


def gradient_mapping(elevation_rad):
    """Return the mapping function of horizontal gradients, 1/(sin e tan e + 0.0032); no unit.

    Chen & Herring (1997), J. Geophys. Res. 102, 20489. The delay is this times
    (G_north cos azimuth + G_east sin azimuth).
    """
    return 1.0 / (np.sin(elevation_rad) * np.tan(elevation_rad) + 0.0032)
