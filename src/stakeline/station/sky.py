"""What light reaches a panel: clear sky at low Sun, cloud over snow, tilt, ground, horizon."""

from dataclasses import dataclass

import numpy as np

from ..errors import SettingsError
from .sunlight import refraction_rad

SCALE_HEIGHT_M = 8434.5  # m; Rigollier, Bauer & Wald (2000), Solar Energy 68, below equation 5
POLAR_TURBIDITY = 2.0  # -; Linke factor at air mass 2, clean cold air, common practice
SNOW_ALBEDO = 0.80  # -; dry polar snow 0.80-0.85, Grenfell et al. (1994), J. Geophys. Res. 99
SKY_ALBEDO = 0.0685  # -; clear sky seen from below, Bird & Hulstrom (1981), SERI/TR-642-761
CLOUD_DEPTH = 8.0  # -; optical depth of polar cloud, own choice between 5 and 15
LOWEST_SINE = np.sin(np.radians(1.0))  # -; floor of the beam's projection, common practice
SKY_CELLS = (72, 60)  # -; azimuths and heights of the sky's division, own choice


@dataclass(frozen=True)
class Horizon:
    """Height of the skyline, and the slope of the ground before it.

    Attributes
    ----------
    azimuth_rad, elevation_rad : array, shape (m,)
        From north over east, rising; between them straight lines, around the circle.
    slope_rad, toward_rad : float
        Of the ground on which the station stands, and the azimuth down it: up the slope it hides
        what the skyline leaves.
    """

    azimuth_rad: np.ndarray
    elevation_rad: np.ndarray
    slope_rad: float = 0.0
    toward_rad: float = 0.0

    def __post_init__(self):
        azimuth, elevation = np.asarray(self.azimuth_rad), np.asarray(self.elevation_rad)
        rising = azimuth.ndim == 1 and azimuth.size > 0 and (np.diff(azimuth) > 0).all()
        if not (rising and azimuth[0] >= 0.0 and azimuth[-1] < 2.0 * np.pi):
            raise SettingsError("horizon: expected azimuths that rise from 0 to below 360 deg")
        if elevation.shape != azimuth.shape or not (np.abs(elevation) < 0.5 * np.pi).all():
            raise SettingsError(
                f"horizon: {elevation.size} elevations for {azimuth.size} azimuths; expected one "
                "each, between -90 and 90 deg"
            )
        if not 0.0 <= self.slope_rad < 0.5 * np.pi:
            raise SettingsError(
                f"slope {np.degrees(self.slope_rad):g} deg: expected 0 to below 90 deg"
            )

    def at(self, azimuth_rad):
        """Return the skyline's height at azimuths, as an array. [rad]"""
        turned = np.asarray(azimuth_rad) % (2.0 * np.pi)
        far = np.interp(turned, self.azimuth_rad, self.elevation_rad, period=2.0 * np.pi)
        if self.slope_rad == 0.0:
            return far
        own = np.arctan(-np.tan(self.slope_rad) * np.cos(turned - self.toward_rad))
        return np.maximum(far, own)


LEVEL_HORIZON = Horizon(np.array([0.0]), np.array([0.0]))


@dataclass(frozen=True)
class Light:
    """Irradiance of level ground at n times.

    Attributes
    ----------
    beam_W_m2 : array, shape (n,)
        On a plane across the beam.
    diffuse_W_m2 : array, shape (n,)
        On level ground.
    global_W_m2 : array, shape (n,)
        Both on level ground.
    """

    beam_W_m2: np.ndarray
    diffuse_W_m2: np.ndarray
    global_W_m2: np.ndarray


def air_mass(elevation_rad):
    """Return the relative optical air mass by the Sun's apparent elevation, 1 at the zenith.

    Kasten & Young (1989), Applied Optics 28, equation 3, with e in degrees:
    1 / (sin e + 0.50572 (e + 6.07995)^-1.6364); 38 at the horizon. Below the horizon as at it.
    """
    degrees = np.maximum(np.degrees(np.asarray(elevation_rad, float)), 0.0)
    return 1.0 / (np.sin(np.radians(degrees)) + 0.50572 * (degrees + 6.07995) ** -1.6364)


def rayleigh_depth(mass):
    """Return the optical depth of clean dry air, for one air mass, by air mass.

    Kasten (1996), Solar Energy 56; continued beyond 20 as in Rigollier et al. (2000), equation 4;
    coefficients from memory.
    """
    mass = np.asarray(mass, float)
    near = 6.6296 + mass * (1.7513 + mass * (-0.1202 + mass * (0.0065 - 0.00013 * mass)))
    return 1.0 / np.where(mass <= 20.0, near, 10.4 + 0.718 * mass)


def clear_light(sun, height_m=0.0, turbidity=POLAR_TURBIDITY, albedo=SNOW_ALBEDO):
    """Return the :class:`Light` of a cloudless sky over ground of an albedo, (n,).

    Parameters
    ----------
    sun : SunCourse
    height_m : float
        Above the sea; thins the air.
    turbidity : float
        Linke factor, 1.5 on the plateau to 3 near open water.
    albedo : float

    Notes
    -----
    Beam I0 exp(-0.8662 T m d(m)) and diffuse by the European atlas: Rigollier, Bauer & Wald (2000),
    Solar Energy 68, equations 3 and 10 to 14 (coefficients from memory); the factor of the
    diffuse is less by the air's pressure (Remund et al. 2003, ISES world congress, from memory).
    What the ground sends up and the sky sends back is added to the diffuse: 1 / (1 - albedo 0.0685)
    of the global (Bird & Hulstrom 1981). Nothing by night: twilight is left out.
    """
    if not 1.0 <= turbidity <= 8.0:
        raise SettingsError(f"turbidity {turbidity:g}: expected 1 (clean, dry) to 8 (haze)")
    _check_share("albedo", albedo)
    seen = sun.elevation_rad + refraction_rad(sun.elevation_rad)
    up = seen > 0.0
    sine = np.sin(np.maximum(seen, 0.0))
    thinner = np.exp(-height_m / SCALE_HEIGHT_M)
    mass = air_mass(seen) * thinner
    depth = 0.8662 * turbidity * mass * rayleigh_depth(mass)
    beam = np.where(up, sun.above_air_W_m2 * np.exp(-depth), 0.0)
    diffuse = np.where(up, sun.above_air_W_m2 * _diffuse_share(sine, turbidity * thinner), 0.0)
    total = beam * sine + diffuse
    returned = total * (1.0 / (1.0 - albedo * SKY_ALBEDO) - 1.0)
    return Light(beam, diffuse + returned, total + returned)


def _diffuse_share(sine, turbidity):
    """Return the clear sky's diffuse share of the beam above the air; Rigollier et al. 10-14."""
    zenith = -1.5843e-2 + turbidity * (3.0543e-2 + 3.797e-4 * turbidity)
    first = 2.6463e-1 + turbidity * (-6.1581e-2 + 3.1408e-3 * turbidity)
    first = max(first, 2e-3 / zenith)
    second = 2.0402 + turbidity * (1.8945e-2 - 1.1161e-2 * turbidity)
    third = -1.3025 + turbidity * (3.9231e-2 + 8.5079e-3 * turbidity)
    return zenith * (first + sine * (second + sine * third))


def cloudy_light(clear, sun, cloud, albedo=SNOW_ALBEDO, cloud_depth=CLOUD_DEPTH):
    """Return the :class:`Light` below broken or full cloud, (n,).

    Parameters
    ----------
    clear : Light
        Without cloud.
    sun : SunCourse
    cloud : array, shape (n,) or float
        Cover, 0 to 1.
    albedo : float
    cloud_depth : float
        Optical depth of the cloud.

    Notes
    -----
    Overcast (53.5 + 1274.5 mu) sqrt(mu) / (1 + 0.139 (1 - 0.9435 albedo) depth), mu the sine of
    elevation: Shine (1984), Q. J. R. Meteorol. Soc. 110, from memory; made for snow and ice, where
    ground and cloud throw the light to and fro. Never more than the clear sky gives; all of it
    diffuse; weighted with the clear sky's by the cover.
    """
    cloud = np.asarray(cloud, float)
    _check_share("cloud", cloud)
    _check_share("albedo", albedo)
    seen = sun.elevation_rad + refraction_rad(sun.elevation_rad)
    sine = np.sin(np.maximum(seen, 0.0))
    overcast = (53.5 + 1274.5 * sine) * np.sqrt(sine)
    overcast = overcast / (1.0 + 0.139 * (1.0 - 0.9435 * albedo) * cloud_depth)
    overcast = np.minimum(overcast, clear.global_W_m2)
    diffuse = (1.0 - cloud) * clear.diffuse_W_m2 + cloud * overcast
    total = (1.0 - cloud) * clear.global_W_m2 + cloud * overcast
    return Light((1.0 - cloud) * clear.beam_W_m2, diffuse, total)


def on_panel(
    light, sun, tilt_rad, facing_rad, albedo=SNOW_ALBEDO, horizon=LEVEL_HORIZON, *, lost=0.0
):
    """Return the irradiance on a tilted plane, (n,). [W/m2]

    Parameters
    ----------
    light : Light
    sun : SunCourse
    tilt_rad, facing_rad : float
        From level (0) to upright (pi/2); azimuth that the front faces, from north over east.
    albedo : float
        Of the ground in front, taken for the slopes up to the skyline too.
    horizon : Horizon
    lost : float or array, shape (n,)
        Share of beam and of what comes from beside the Sun that shadows take.

    Notes
    -----
    Hay (1979): the share beam / I0 of the diffuse comes from beside the Sun, the rest evenly from
    the sky; the ground is evenly bright (Liu & Jordan 1963, Solar Energy 7). Skyline: no light from
    beside the Sun while it is behind; the even parts by the solid angles seen. On a slope the
    ground near by is as bright as the light on it makes it (:func:`slope_view`), what lies beyond
    as level ground.
    """
    _check_share("albedo", albedo)
    direct, sky = _above(light, sun, tilt_rad, facing_rad, horizon, lost)
    ground = albedo * light.global_W_m2 * (1.0 - sky)
    if horizon.slope_rad == 0.0:
        return direct + ground
    slope = horizon.slope_rad, horizon.toward_rad
    on_slope, open_sky = _above(light, sun, *slope, horizon, 0.0)
    on_slope = on_slope + albedo * light.global_W_m2 * (1.0 - open_sky)
    near = slope_view(tilt_rad, facing_rad, *slope)
    return direct + ground + albedo * near * (on_slope - light.global_W_m2)


def _above(light, sun, tilt_rad, facing_rad, horizon, lost):
    """Return what comes from above the skyline to a plane (n,) [W/m2], and its view of the sky."""
    seen = sun.elevation_rad + refraction_rad(sun.elevation_rad)
    free = (seen > 0.0) & (seen > horizon.at(sun.azimuth_rad))
    incidence = np.cos(tilt_rad) * np.sin(seen)
    turned = np.cos(sun.azimuth_rad - facing_rad)
    incidence = incidence + np.sin(tilt_rad) * np.cos(seen) * turned
    lit = np.where(free, np.maximum(incidence, 0.0), 0.0) * (1.0 - lost)
    clearness = light.beam_W_m2 / sun.above_air_W_m2
    beside = clearness * light.diffuse_W_m2 / np.maximum(np.sin(seen), LOWEST_SINE) * lit
    sky = sky_view(tilt_rad, facing_rad, horizon)
    even = (1.0 - clearness) * light.diffuse_W_m2 * sky
    return light.beam_W_m2 * lit + beside + even, sky


def slope_view(tilt_rad, facing_rad, slope_rad, toward_rad):
    """Return the share of a plane's view that even ground of a slope fills without end.

    (1 - cos d) / 2, d between the two normals: 0 for a plane parallel to it (Liu & Jordan 1963,
    Solar Energy 7, for level ground).
    """
    turned = np.cos(facing_rad - toward_rad)
    between = np.cos(tilt_rad) * np.cos(slope_rad)
    between = between + np.sin(tilt_rad) * np.sin(slope_rad) * turned
    return 0.5 * (1.0 - between)


def sky_view(tilt_rad, facing_rad, horizon=LEVEL_HORIZON):
    """Return the share of an even sky's light that a tilted plane sees above the skyline.

    (1 + cos tilt) / 2 over a level one; the integral of the cosine of incidence over the sky, by
    72 azimuths and 60 heights (0.1 %).
    """
    azimuths, heights = SKY_CELLS
    azimuth = (np.arange(azimuths) + 0.5) * 2.0 * np.pi / azimuths
    skyline = np.maximum(horizon.at(azimuth), 0.0)
    node = (np.arange(heights) + 0.5) / heights
    elevation = skyline[:, None] + node * (0.5 * np.pi - skyline[:, None])
    turned = np.cos(azimuth - facing_rad)[:, None]
    incidence = np.cos(tilt_rad) * np.sin(elevation)
    incidence = incidence + np.sin(tilt_rad) * np.cos(elevation) * turned
    row = (np.maximum(incidence, 0.0) * np.cos(elevation)).mean(axis=1)
    return float(2.0 * (row * (0.5 * np.pi - skyline)).mean())


def _check_share(name, value):
    """Refuse what is not between 0 and 1."""
    value = np.asarray(value, float)
    if not ((value >= 0.0) & (value <= 1.0)).all():
        wrong = value[~((value >= 0.0) & (value <= 1.0))].flat[0]
        raise SettingsError(f"{name} {wrong:g}: expected 0 to 1")
