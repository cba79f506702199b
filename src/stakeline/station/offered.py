"""What panels and turbine bring to the bank in many years of weather."""

from dataclasses import dataclass, replace

import numpy as np

from ..errors import SettingsError
from ._offered_kernels import (
    CELL_COLDEST_DEGC,
    CELL_STEP_K,
    CURVE_STEP_M_S,
    LIGHT_STEP,
    panels,
    turbines,
)
from .panel import CALM_LOSS_W_M2_K, delivered_W, free_share
from .shading import lost_beam
from .sky import clear_light, cloudy_light, on_panel
from .storm import speed_at_height
from .sunlight import SunCourse, refraction_rad, sun_course_of_days
from .turbine import STANDARD_KG_M3, wind_power_W

CHARGING_V = 13.0  # V of 12; at which a panel works without a seeker, common practice
RIME_LOSS = 0.7  # -; of a panel's light by full rime, own choice
BRIGHTEST_W_M2 = 1600.0  # W/m2; end of a panel's table
WARMEST_CELL_DEGC = 80.0  # degC; the same
FASTEST_M_S = 100.0  # m/s; end of a turbine's curve
SURFACE_STEP_H = 120  # h; between heights of the snow surface, as in ``burial``


@dataclass(frozen=True)
class Offered:
    """Power of single parts in m years of n hours.

    Attributes
    ----------
    panel_W : array, shape (g, m, n)
        Of one panel of each group.
    turbine_W : array, shape (m, n)
        Of one turbine; zero where there is none.
    """

    panel_W: np.ndarray
    turbine_W: np.ndarray

    def total_W(self, counts, turbines_=1):
        """Return the sum of so many panels of each group and turbines (m, n). [W]"""
        total = turbines_ * self.turbine_W
        for count, power in zip(counts, self.panel_W, strict=True):
            total = total + count * power
        return total


def sun_of_year(site, time_ns):
    """Return the :class:`~.sunlight.SunCourse` of a site at times (n,)."""
    return sun_course_of_days(
        time_ns, np.radians(site.latitude_deg), np.radians(site.longitude_deg), site.elevation_m
    )


def light_by_cloud(design, group, sun, albedo=None):
    """Return the light on a panel as constant, linear and quadratic in the cloud cover (3, n).

    Exact: the beam is linear in the clear share, what comes from beside the Sun its square.

    Parameters
    ----------
    design : Design
        Its other panels, mast and box throw shadows.
    group : PlacedPanel
        One of the design's.
    sun : SunCourse
    albedo : float, optional
        The site's where not given.
    """
    site = design.site
    albedo = site.albedo if albedo is None else albedo
    up = sun.elevation_rad > np.radians(-2.0)
    some = SunCourse(sun.elevation_rad[up], sun.azimuth_rad[up], sun.distance_au[up])
    clear = clear_light(some, site.elevation_m, albedo=albedo)
    tilt, facing = np.radians(group.tilt_deg), np.radians(group.azimuth_deg)
    seen = some.elevation_rad + refraction_rad(some.elevation_rad)
    lost = lost_beam(design, group, seen, some.azimuth_rad)
    found = np.zeros((3, up.size))
    none, half, full = (
        on_panel(cloudy_light(clear, some, cover, albedo), some, tilt, facing, albedo,
                 site.horizon, lost=lost)
        for cover in (0.0, 0.5, 1.0)
    )  # fmt: skip
    found[0, up] = none
    found[1, up] = 4.0 * half - 3.0 * none - full
    found[2, up] = 2.0 * (none + full) - 4.0 * half
    return group.clean_share * found


def shadow_losses(design, sun, cloud):
    """Return the share of a year's light that shadows take from each group, {name: share}.

    Parameters
    ----------
    design : Design
    sun : SunCourse
        Of the year's hours.
    cloud : float
        Mean cover, taken for every hour.
    """
    weight = np.array([1.0, cloud, cloud**2])
    found = {}
    for group in design.panels:
        bright = replace(group, shade_loss=0.0)
        light = float((weight @ light_by_cloud(design, group, sun)).sum())
        found[group.name] = 1.0 - light / float(
            (weight @ light_by_cloud(design, bright, sun)).sum()
        )
    return found


def panel_table(group, bank):
    """Return what one panel brings to a bank by root of light and cells' temperature, as an array.

    The panel works at 13 V of a nominal 12 V, in strings of ``group.series``.
    """
    root = np.arange(0.0, np.sqrt(BRIGHTEST_W_M2) + LIGHT_STEP, LIGHT_STEP)
    cells = np.arange(CELL_COLDEST_DEGC, WARMEST_CELL_DEGC + CELL_STEP_K, CELL_STEP_K)
    light = root[:, None] ** 2
    volts = CHARGING_V * bank.nominal_V / 12.0 / group.series
    # ``delivered_W`` asks for the air: that in which calm cells have this temperature
    return delivered_W(group.panel, light, cells - light / CALM_LOSS_W_M2_K, 0.0, volts)


def turbine_curve(turbine):
    """Return the power of a turbine at standard density by ``CURVE_STEP_M_S``, as an array. [W]"""
    speeds = np.arange(0.0, FASTEST_M_S, CURVE_STEP_M_S)
    return wind_power_W(turbine, speeds, STANDARD_KG_M3)


def offered_power(design, weather, *, surface_m=None, albedo=None, sun=None, luck=None):
    """Return the :class:`Offered` of a design in years of weather.

    Parameters
    ----------
    design : Design
    weather : WeatherYears
    surface_m : array, shape (m, s), optional
        Height of the snow over that of the day of building, every 120 h; none where not given.
    albedo : float, optional
        Of the ground; the site's where not given.
    sun : SunCourse, optional
        Of the year's hours, where it was worked out before.
    luck : array, shape (m,), optional
        Even between 0 and 1, of the turbine; it never breaks of itself where not given.
    """
    count, hours = weather.cloud.shape
    sun = sun_of_year(design.site, weather.time_ns) if sun is None else sun
    heights = _surface(surface_m, count, hours)
    power = np.zeros((len(design.panels), count, hours))
    for group, out in zip(design.panels, power, strict=True):
        free = free_share(heights, group.bottom_m, group.rise_m)
        panels(light_by_cloud(design, group, sun, albedo), free, SURFACE_STEP_H,
               panel_table(group, design.bank), RIME_LOSS, weather.temperature_degC,
               weather.wind_m_s, weather.cloud, weather.rime, out)  # fmt: skip
    ends = turbine_ends_h(design.turbine_lives, luck, count, hours)
    return Offered(power, _turbine_W(design.turbine, weather, ends))


def _surface(surface_m, count, hours):
    """Return heights of the surface (m, s) that reach to the last hour."""
    steps = -(-hours // SURFACE_STEP_H)
    if surface_m is None:
        return np.zeros((count, steps))
    surface_m = np.asarray(surface_m, float)
    if surface_m.ndim != 2 or surface_m.shape[0] != count or surface_m.shape[1] < steps:
        raise SettingsError(
            f"surface_m is {surface_m.shape}: expected {count} years of {steps} steps or more"
        )
    return np.ascontiguousarray(surface_m[:, :steps])


def turbine_ends_h(lives, luck, count, hours):
    """Return the hour in which each year's turbine breaks of itself (m,), infinite where never.

    At one rate all year: a share ``lives`` of them is whole at its end.
    """
    if luck is None or lives >= 1.0:
        return np.full(count, np.inf)
    rate = -np.log(max(lives, 1e-9)) / hours
    return -np.log(np.maximum(luck, 1e-12)) / rate


def _turbine_W(turbine, weather, ends_h):
    """Return the power of one turbine until it breaks or its survival wind comes (m, n). [W]"""
    out = np.zeros(weather.cloud.shape)
    if turbine is None:
        return out
    factor = float(speed_at_height(1.0, weather.measured_at_m, turbine.hub_m))
    turbines(turbine_curve(turbine), factor, turbine.survival_m_s, ends_h, turbine.rime_stop,
             weather.pressure_hPa, turbine.rated_W, weather.temperature_degC, weather.wind_m_s,
             weather.rime, out)  # fmt: skip
    return out
