"""Between which bounds the light on a panel lies when a person holds a meter to it."""

from dataclasses import dataclass

import numpy as np

from ..errors import SettingsError
from .sky import LEVEL_HORIZON, SNOW_ALBEDO, clear_light, cloudy_light, on_panel
from .sunlight import CIVIL_TWILIGHT_DEG, SUNRISE_DEG, refraction_rad, sun_course

CLEAR, CLOUDY, UNKNOWN = "clear", "cloudy", "unknown"
SKIES = (CLEAR, CLOUDY, UNKNOWN)

TURBIDITY = (1.5, 2.0, 4.0)  # -; least, usual, most of polar air; the last thin haze, own choice
ALBEDO_SPREAD = (-0.25, 0.0, 0.10)  # -; dirty or wind-blown snow, fresh snow; own choice
CLOUD_DEPTHS = (3.0, 8.0, 40.0)  # -; thin, usual, thick polar cloud; own choice
PLACING_DEG = (5.0, 10.0)  # deg; tilt and facing as set by hand and compass, own choice
MODEL_SHARE = 0.07  # -; of clear-sky formulas at low Sun, own choice
CLOUD_EDGE = 1.2  # -; light beside a bright cloud over that of the clear sky, common practice
TWILIGHT_W_M2 = 10.0  # W/m2; most between sunset and 6 deg below, own choice
SHADOW_ENDS = (
    0.5,
    1.5,
)  # -; of what a shadow is reckoned to take: cells in series, own choice
LOWEST_DEG = 3.0  # deg; below it haze, hills and mirage make the Sun's light a guess, own choice


@dataclass(frozen=True)
class LightBand:
    """Light on a plane, with bounds.

    Attributes
    ----------
    least_W_m2, expected_W_m2, most_W_m2 : float
    sun_elevation_rad, sun_azimuth_rad : float
        As seen, refraction included; azimuth from north over east.
    lit : bool
        Whether the beam of the Sun, where there is one, falls on the front.
    shadow : float
        Share of the beam that the station's own shadows take then; 0 where there is no beam.
    """

    least_W_m2: float
    expected_W_m2: float
    most_W_m2: float
    sun_elevation_rad: float
    sun_azimuth_rad: float
    lit: bool
    shadow: float

    @property
    def worth_measuring(self):
        """Whether the Sun is high enough for a reading to tell something of a panel."""
        return bool(np.degrees(self.sun_elevation_rad) >= LOWEST_DEG)


@dataclass(frozen=True)
class Place:
    """Where and when a person measures: GPS time [ns], radians, metres; ``sky`` of ``SKIES``."""

    time_ns: int
    latitude_rad: float
    longitude_rad: float
    height_m: float = 0.0
    sky: str = UNKNOWN
    albedo: float = SNOW_ALBEDO

    def __post_init__(self):
        if self.sky not in SKIES:
            raise SettingsError(f"sky {self.sky!r}: expected {', '.join(SKIES)}")


def light_band(place, tilt_rad, facing_rad, horizon=LEVEL_HORIZON, lost_of=None):
    """Return the :class:`LightBand` on a tilted plane.

    Parameters
    ----------
    place : Place
    tilt_rad, facing_rad : float
        From level (0) to upright (pi/2); azimuth that the front faces, from north over east.
    horizon : sky.Horizon
    lost_of : callable, optional
        Of elevation as seen and azimuth of the Sun, arrays (1,) [rad]; returns the share of the
        beam that the station's own shadows take, as ``shading.lost_beam``.

    Notes
    -----
    The clear sky with haze, snow, tilt, facing and own shadows each at its least and most, and the
    formulas' own share, their effects in quadrature; so too below thin and thick cloud, all of it
    diffuse. ``unknown`` is both, and the brightness beside a cloud. In twilight only the upper
    bound is above 0.
    """
    sun = sun_course(place.time_ns, place.latitude_rad, place.longitude_rad, place.height_m)
    seen = float((sun.elevation_rad + refraction_rad(sun.elevation_rad))[0])
    azimuth = float(sun.azimuth_rad[0])
    cosine = np.cos(tilt_rad) * np.sin(seen)
    cosine += np.sin(tilt_rad) * np.cos(seen) * np.cos(azimuth - facing_rad)
    up = seen > max(0.0, float(horizon.at(azimuth)))
    lit = bool(up and cosine > 0.0)
    if np.degrees(seen) <= SUNRISE_DEG:
        most = TWILIGHT_W_M2 if np.degrees(seen) > CIVIL_TWILIGHT_DEG else 0.0
        return LightBand(0.0, 0.0, most, seen, azimuth, lit, 0.0)
    pose = (tilt_rad, facing_rad, horizon)
    lost = 0.0 if lost_of is None else float(lost_of(np.array([seen]), sun.azimuth_rad)[0])
    clear = _clear_bounds(place, sun, *pose, lost)
    cloudy = _cloudy_bounds(place, sun, *pose)
    if place.sky == CLEAR:
        least, expected, most = clear
    elif place.sky == CLOUDY:
        least, expected, most = cloudy
    else:
        least = min(cloudy[0], clear[0])
        expected = 0.5 * (cloudy[1] + clear[1])
        most = CLOUD_EDGE * max(clear[2], cloudy[2])
    shadow = lost if lit and place.sky != CLOUDY else 0.0
    return LightBand(least, expected, most, seen, azimuth, lit, shadow)


def _clear_bounds(place, sun, tilt, facing, horizon, lost):
    def on(turbidity, albedo, tilt, facing, lost):
        light = clear_light(sun, place.height_m, turbidity, albedo)
        return float(on_panel(light, sun, tilt, facing, albedo, horizon, lost=lost)[0])

    usual = (TURBIDITY[1], place.albedo, tilt, facing, lost)
    ends = (
        (TURBIDITY[0], TURBIDITY[2]),
        _albedos(place),
        tuple(tilt + turn for turn in _either(PLACING_DEG[0])),
        tuple(facing + turn for turn in _either(PLACING_DEG[1])),
        tuple(min(share * lost, 1.0) for share in SHADOW_ENDS),
    )
    return _together(on, usual, ends)


def _cloudy_bounds(place, sun, tilt, facing, horizon):
    clear = clear_light(sun, place.height_m, TURBIDITY[1], place.albedo)

    def on(depth, albedo):
        light = cloudy_light(clear, sun, 1.0, albedo, depth)
        return float(on_panel(light, sun, tilt, facing, albedo, horizon)[0])

    return _together(
        on, (CLOUD_DEPTHS[1], place.albedo), ((CLOUD_DEPTHS[0], CLOUD_DEPTHS[2]), _albedos(place))
    )


def _together(light_of, usual, ends):
    """Return (least, usual, most) light, each cause moved alone and their effects in quadrature.

    All causes at their worst at once would be a band in which most faults hide.
    """
    expected = light_of(*usual)
    below, above = [MODEL_SHARE], [MODEL_SHARE]
    for number, pair in enumerate(ends):
        moved = [light_of(*usual[:number], end, *usual[number + 1 :]) for end in pair]
        effects = np.array(moved) / max(expected, 1e-6) - 1.0
        below.append(min(effects.min(), 0.0))
        above.append(max(effects.max(), 0.0))
    least = expected * max(1.0 - np.linalg.norm(below), 0.0)
    return float(least), expected, float(expected * (1.0 + np.linalg.norm(above)))


def _albedos(place):
    return tuple(np.clip(place.albedo + np.array(ALBEDO_SPREAD)[[0, 2]], 0.0, 0.95))


def _either(degrees):
    return (-np.radians(degrees), np.radians(degrees))
