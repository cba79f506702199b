"""Air and ionosphere over a station of the invented world.

The air's delay is traced along bent rays through a stratified atmosphere, not taken from a mapping
function; gradients are a tilt of that atmosphere.
"""

from dataclasses import dataclass

import numpy as np
from scipy.integrate import trapezoid
from scipy.interpolate import CubicSpline

from ..constants import EARTH_RADIUS_M
from .smooth import Smooth, gauss_markov

K1_K_Pa = 0.7760  # K/Pa; Bevis et al. (1994), J. Appl. Meteorol. 33, table 1
K2_PRIME_K_Pa = 0.221  # K/Pa; Bevis et al. (1994)
K3_K2_Pa = 3739.0  # K2/Pa; Bevis et al. (1994)
GAS_CONSTANT_DRY = 287.06  # J/(kg K); US Standard Atmosphere (1976), 8314.32 / 28.9644
GRAVITY_M_S2 = 9.809  # m/s2, of the pole (9.832) at the centre of mass of the air; from memory
LAPSE_K_m = 0.0058  # K/m, polar summer; from memory
TROPOPAUSE_m = 9.0e3  # m, polar summer; from memory
VAPOUR_SCALE_m = 2.1e3  # m, scale height of water vapour; from memory
TOP_m = 9.0e4  # m
FAR_m = 2.0e7  # m, where the satellite is taken to stand
SHELL_m = 3.5e5  # m, height of the ionosphere's thin shell; common practice
DELAY_M3_S2 = 40.3  # m3/s2, group delay is 40.3 TEC / f2; IS-GPS-200N, section 20.3.3.3.3.3
TEC_UNIT = 1e16  # electrons/m2; definition


@dataclass(frozen=True)
class Profile:
    """Zenith delays [m] and how they grow towards the horizon, by true elevation."""

    dry_zenith_m: float
    wet_zenith_m: float
    dry: CubicSpline  # of elevation [rad]: delay / zenith delay * sin(elevation)
    wet: CubicSpline

    def slant(self, elevation_rad):
        """Return slant over zenith delay, dry and wet, and the slope of the wet one by elevation.

        The dry one holds the geometric excess of the bent ray.
        """
        sine, cosine = np.sin(elevation_rad), np.cos(elevation_rad)
        dry, wet = self.dry(elevation_rad), self.wet(elevation_rad)
        slope = (self.wet(elevation_rad, 1) - wet * cosine / sine) / sine
        return dry / sine, wet / sine, slope


def trace_profile(height_m, temperature_K, pressure_Pa, vapour_Pa):
    """Return the :class:`Profile` above a station, by rays through 4000 spherical layers.

    Snell's law for spheres, n r cos(angle) constant (Born & Wolf, Principles of Optics, section
    3.2): refraction along the ray plus the ray's excess over the straight line to the satellite.
    """
    z = TOP_m * np.linspace(0.0, 1.0, 4001) ** 2
    temperature = temperature_K - LAPSE_K_m * np.minimum(z, TROPOPAUSE_m - height_m)
    slowness = GRAVITY_M_S2 / (GAS_CONSTANT_DRY * temperature)
    thinning = np.concatenate([[0.0], np.cumsum(0.5 * (slowness[1:] + slowness[:-1]) * np.diff(z))])
    pressure = pressure_Pa * np.exp(-thinning)
    vapour = vapour_Pa * np.exp(-z / VAPOUR_SCALE_m)
    dry = 1e-6 * K1_K_Pa * pressure / temperature
    wet = 1e-6 * (K2_PRIME_K_Pa / temperature + K3_K2_Pa / temperature**2) * vapour
    radius = EARTH_RADIUS_M + height_m + z
    start = np.radians(np.concatenate([np.arange(3.5, 20.0, 0.25), np.arange(20.0, 90.5, 1.0)]))
    rays = np.array([_ray(radius, dry, wet, angle) for angle in start])
    elevation, by_dry, by_wet, excess = rays.T
    zenith = np.array([trapezoid(dry, z), trapezoid(wet, z)])
    sine = np.sin(elevation)
    return Profile(
        *zenith,
        CubicSpline(elevation, (by_dry + excess) / zenith[0] * sine),
        CubicSpline(elevation, by_wet / zenith[1] * sine),
    )


def _ray(radius, dry, wet, start_rad):
    """Return true elevation [rad], dry, wet delay and geometric excess [m] of one ray."""
    index = 1.0 + dry + wet
    cosine = index[0] * radius[0] * np.cos(start_rad) / (index * radius)
    sine = np.sqrt(np.maximum(1.0 - cosine**2, 1e-30))
    middle = 0.5 * (sine[1:] + sine[:-1])
    path = np.diff(radius) / middle
    angle = np.sum(path * 0.5 * (cosine[1:] / radius[1:] + cosine[:-1] / radius[:-1]))
    by_dry = np.sum(path * 0.5 * (dry[1:] + dry[:-1]))
    by_wet = np.sum(path * 0.5 * (wet[1:] + wet[:-1]))
    along, up = radius[-1] * np.sin(angle), radius[-1] * np.cos(angle) - radius[0]
    direction = np.arctan2(sine[-1], cosine[-1]) - angle
    along, up = along + FAR_m * np.cos(direction), up + FAR_m * np.sin(direction)
    excess = np.sum(path) + FAR_m - np.hypot(along, up)
    return np.arctan2(up, along), by_dry, by_wet, excess


@dataclass(frozen=True)
class Air:
    """Delay of the neutral air over one station, with weather."""

    profile: Profile
    weather: Smooth  # dry and wet zenith delay, each less its mean [m]; gradients north, east [m]

    def zenith_m(self, time_s):
        """Return dry and wet zenith delay (n, 2). [m]"""
        mean = np.array([self.profile.dry_zenith_m, self.profile.wet_zenith_m])
        zenith = mean + self.weather(time_s)[:, :2]
        return np.maximum(zenith, [0.0, 0.01])

    def delay_m(self, time_s, elevation_rad, azimuth_rad, epoch=None):
        """Return slant delays (n, m) at times (n,). [m]

        With ``epoch`` (k,), directions (k,) at the times of these indices. A tilt of the air of
        ``gradient / wet zenith delay`` lowers the elevation towards it.
        """
        dry_zenith, wet_zenith = _spread(self.zenith_m(time_s), epoch)
        north, east = _spread(self.weather(time_s)[:, 2:], epoch)
        dry, wet, slope = self.profile.slant(elevation_rad)
        toward = north * np.cos(azimuth_rad) + east * np.sin(azimuth_rad)
        return dry_zenith * dry + wet_zenith * wet - toward * slope


def _spread(values, epoch):
    """Return the two columns of (n, 2) values, shaped to go with (n, m) or the (k,) epochs."""
    if epoch is None:
        return values[:, :1], values[:, 1:]
    return values[epoch, 0], values[epoch, 1]


def make_air(rng, place, duration_s, temperature_K=277.0, pressure_Pa=None):
    """Return :class:`Air` over a place: two days of changing polar summer weather."""
    fall = np.exp(-place.height_m / 8.0e3)  # scale height of air, m; from memory
    pressure_Pa = 101325.0 * fall if pressure_Pa is None else pressure_Pa
    vapour_Pa = 0.75 * 611.0 * np.exp(19.8 * (1.0 - 273.15 / temperature_K))  # Clausius-Clapeyron
    profile = trace_profile(place.height_m, temperature_K, pressure_Pa, vapour_Pa)
    sigma = np.array([0.010, 0.012, 0.0005, 0.0005])  # m, of weather; from memory
    memory = np.array([40.0, 12.0, 8.0, 8.0])  # h, of weather; from memory
    parts = [
        gauss_markov(rng, -600.0, duration_s + 600.0, 300.0, 1, s, 3600.0 * h)
        for s, h in zip(sigma, memory, strict=True)
    ]
    node_s = -600.0 + 300.0 * np.arange(int(duration_s / 300.0) + 5)
    return Air(profile, Smooth(-600.0, 300.0, np.hstack([part(node_s) for part in parts])))


@dataclass(frozen=True)
class Ionosphere:
    """Electrons over a station: a day's course, slopes, and travelling waves."""

    vertical_tec: float = 9.0
    daily_share: float = 0.35
    slope_tec_rad: tuple = (-12.0, 5.0)  # towards north and east
    waves: tuple = ()  # of (amplitude TEC units, period s, north 1/rad, east 1/rad, phase)

    def delay_m(self, time_s, elevation_rad, azimuth_rad, frequency_hz):
        """Return the group delay (n, m) [m]; the phase is ahead by as much.

        Thin shell; first order in 1/f2 only.
        """
        tec = self.slant_tec(time_s, elevation_rad, azimuth_rad)
        return group_delay_m(tec, frequency_hz)

    def slant_tec(self, time_s, elevation_rad, azimuth_rad):
        """Return electrons along rays, (n, m) at times (n,) or (k,) at times (k,). [TEC units]"""
        time_s = np.asarray(time_s)
        if time_s.ndim < np.ndim(elevation_rad):
            time_s = time_s[:, None]
        ratio = EARTH_RADIUS_M / (EARTH_RADIUS_M + SHELL_m)
        sine = ratio * np.cos(elevation_rad)  # of the zenith angle where the ray pierces it
        away = np.pi / 2.0 - elevation_rad - np.arcsin(sine)
        north, east = away * np.cos(azimuth_rad), away * np.sin(azimuth_rad)
        hour = 2.0 * np.pi * (time_s / 86400.0)
        tec = self.vertical_tec * (1.0 - self.daily_share * np.cos(hour))
        tec = tec + self.slope_tec_rad[0] * north + self.slope_tec_rad[1] * east
        for amplitude, period_s, by_north, by_east, phase in self.waves:
            turn = time_s / period_s
            angle = 2.0 * np.pi * turn - by_north * north - by_east * east + phase
            tec = tec + amplitude * np.sin(angle)
        return np.maximum(tec, 0.5) / np.sqrt(1.0 - sine**2)


def group_delay_m(tec, frequency_hz):
    """Return the group delay of electrons along a ray [TEC units], first order in 1/f2. [m]"""
    return DELAY_M3_S2 * TEC_UNIT * tec / np.asarray(frequency_hz) ** 2


def make_ionosphere(rng):
    """Return an :class:`Ionosphere` with waves of chance."""
    waves = tuple(
        (rng.uniform(0.1, 0.5), rng.uniform(900.0, 5400.0), *rng.normal(0.0, 40.0, 2), phase)
        for phase in rng.uniform(0.0, 2.0 * np.pi, 3)
    )
    return Ionosphere(rng.uniform(7.0, 12.0), waves=waves)
