"""What panels and turbine of a design can give hour by hour, under the clear and the closed sky."""

from dataclasses import dataclass

import numpy as np

from ..constants import NS_PER_DAY
from ..earth.climate import climate
from .panel import delivered_W
from .shading import lost_beam
from .sky import clear_light, cloudy_light, on_panel
from .storm import ZERO_DEGC_K
from .sunlight import refraction_rad, sun_course_of_days
from .turbine import wind_power_W

CHARGING_V = 13.2  # V; of a nominal 12, at which panels without tracking work; common practice
GAS_DRY_J_KG_K = 287.05  # J/(kg K), dry air; WMO No. 8, from memory
USUAL_WIND_M_S = 6.0  # m/s; for the panels' warmth where none is measured, own choice


@dataclass(frozen=True)
class Expected:
    """What the parts could bring to the bank, hourly (n,), as designed, clean and free.

    Attributes
    ----------
    clear_W, overcast_W : array, shape (p, n)
        Of each group of panels under a clear and a closed sky.
    turbine_W : array, shape (n,)
        At the wind measured, bare; NaN where none is, 0 without a turbine.
    light_W_m2 : array, shape (n,)
        Halfway between both skies, on level ground.
    sine : array, shape (n,)
        Of the Sun's elevation as seen, with refraction.
    """

    clear_W: np.ndarray
    overcast_W: np.ndarray
    turbine_W: np.ndarray
    light_W_m2: np.ndarray
    sine: np.ndarray


def expected(design, time_ns, air_degC, wind_m_s):
    """Return the :class:`Expected` of a :class:`~.design.Design` at hours.

    Parameters
    ----------
    design : Design
    time_ns : int64 array, shape (n,)
        GPS time of the readings. [ns]
    air_degC, wind_m_s : array, shape (n,)
        NaN where not measured: panels then count with the climate's air and 6 m/s.
    """
    site = design.site
    air = usual_air_degC(site, time_ns, air_degC)
    wind = np.where(np.isfinite(wind_m_s), wind_m_s, USUAL_WIND_M_S)
    sun, clear = _clear(site, time_ns)
    light, clear_w = _panels(design, sun, clear, 0.0, air, wind)
    closed, overcast_w = _panels(design, sun, clear, 1.0, air, wind)
    turbine = np.zeros(air.size)
    if design.turbine is not None:
        turbine = wind_power_W(design.turbine, wind_m_s, air_kg_m3(site, air))
        turbine = np.where(np.isfinite(wind_m_s), turbine, np.nan)
    sine = np.sin(sun.elevation_rad + refraction_rad(sun.elevation_rad))
    return Expected(clear_w, overcast_w, turbine, 0.5 * (light + closed), sine)


def _clear(site, time_ns):
    """Return (the Sun's course, the clear sky's light)."""
    place = np.radians(site.latitude_deg), np.radians(site.longitude_deg)
    sun = sun_course_of_days(time_ns, *place, site.elevation_m)
    return sun, clear_light(sun, site.elevation_m, albedo=site.albedo)


def _panels(design, sun, clear, cloud, air, wind):
    """Return (light on level ground (n,) [W/m2], power of each group of panels (p, n) [W])."""
    site = design.site
    light = cloudy_light(clear, sun, cloud, albedo=site.albedo)
    volts = CHARGING_V * design.bank.nominal_V / 12.0
    power = np.zeros((len(design.panels), sun.elevation_rad.size))
    lit = light.global_W_m2 > 0.0
    seen = sun.elevation_rad + refraction_rad(sun.elevation_rad)
    for row, group in enumerate(design.panels):
        tilt, facing = np.radians([group.tilt_deg, group.azimuth_deg])
        lost = lost_beam(design, group, seen, sun.azimuth_rad)
        on = on_panel(light, sun, tilt, facing, site.albedo, site.horizon, lost=lost)
        power[row, lit] = group.count * delivered_W(
            group.panel, on[lit], air[lit], wind[lit], volts / group.series
        )
    return light.global_W_m2, power


def usual_air_degC(site, time_ns, air_degC):
    """Return the air measured, with the compact climate's where it is not (n,). [degC]"""
    air = np.asarray(air_degC, float)
    if np.isfinite(air).all():
        return air
    days, inverse = np.unique(np.asarray(time_ns) // NS_PER_DAY, return_inverse=True)
    usual = climate(np.radians(site.latitude_deg), np.radians(site.longitude_deg),
                    site.elevation_m, days * NS_PER_DAY)  # fmt: skip
    return np.where(np.isfinite(air), air, usual.temperature_K[inverse] - ZERO_DEGC_K)


def air_kg_m3(site, air_degC):
    """Return the air's density by height and temperature, as an array. [kg/m3]"""
    kelvin = np.asarray(air_degC, float) + ZERO_DEGC_K
    pressure = 101325.0 * np.exp(-site.elevation_m / 8000.0)  # Pa; scale height, common practice
    return pressure / (GAS_DRY_J_KG_K * kelvin)
