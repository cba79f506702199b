import erfa
import numpy as np
import pytest

from stakeline.simulate.sunlight import irradiance, on_plane, sun_position
from stakeline.time import from_calendar, julian_tt, julian_utc

HOUR_NS = 3600 * 10**9
LATITUDE, LONGITUDE = np.radians(79.1), np.radians(-22.0)


def test_the_sun_stands_where_the_series_of_the_earths_motion_puts_it():
    time_ns = from_calendar(2030, 1, 1) + 7 * HOUR_NS * np.arange(1250)
    day, fraction = julian_tt(time_ns)
    # Second path: position of the Earth (VSOP87-based) of the SOFA collection, erfa.epv00, with
    # its celestial-to-terrestrial matrix; neither light time nor polar motion.
    sun = -erfa.epv00(day, fraction)[0]["p"]
    utc = julian_utc(time_ns)
    turn = erfa.c2t06a(day, fraction, *utc, 0.0, 0.0)
    fixed = np.einsum("nij,nj->ni", turn, sun / np.linalg.norm(sun, axis=1)[:, None])
    east = np.array([-np.sin(LONGITUDE), np.cos(LONGITUDE), 0.0])
    level = np.array([np.cos(LONGITUDE), np.sin(LONGITUDE), 0.0])
    up = np.cos(LATITUDE) * level + np.array([0.0, 0.0, np.sin(LATITUDE)])
    elevation, azimuth = sun_position(time_ns, LATITUDE, LONGITUDE)
    own = np.cos(elevation)[:, None] * (
        np.sin(azimuth)[:, None] * east + np.cos(azimuth)[:, None] * np.cross(up, east)
    )
    own += np.sin(elevation)[:, None] * up
    apart = np.degrees(np.arccos(np.clip(np.sum(own * fixed, axis=1), -1.0, 1.0)))
    # Astronomical Almanac, section C: the formulas are good to 0.01 deg; aberration adds 0.006
    assert apart.max() < 0.02


@pytest.mark.parametrize(("latitude_deg", "days"), [(70, 56), (75, 96), (80, 127), (85, 154)])
def test_length_of_the_southern_polar_night(latitude_deg, days):
    # Days by another person's arithmetic, not published: sun's centre below -0.833 deg all day
    time_ns = from_calendar(2030, 1, 1) + HOUR_NS // 4 * np.arange(365 * 96)
    elevation, _ = sun_position(time_ns, -np.radians(latitude_deg), 0.0)
    dark = np.degrees(elevation).reshape(365, 96).max(axis=1) < -0.833
    assert abs(dark.sum() - days) <= 2


def test_light_of_a_clear_and_of_a_covered_sky():
    total, diffuse = irradiance(np.full(2, np.pi / 2), np.array([0.0, 1.0]))
    # Haurwitz (1945): 1098 exp(-0.059) overhead; Kasten & Czeplak (1980): a quarter is left under
    # a full cover, all of it diffuse
    assert total == pytest.approx([1035.09, 258.77], abs=0.01)
    assert diffuse == pytest.approx([0.3 * 1035.09, 258.77], abs=0.01)


def test_no_light_from_below_the_horizon():
    total, diffuse = irradiance(np.radians([-0.1, -20.0]), np.zeros(2))
    assert np.all(total < 1e-12)
    assert np.all(diffuse < 1e-12)


def test_planes_all_around_catch_the_beam_of_a_post():
    facing = np.linspace(0.0, 2 * np.pi, 721)[:-1]
    elevation = np.radians(20.0)
    caught = [on_plane(elevation, 1.0, 500.0, 200.0, a, 0.8) for a in facing]
    # Law: the mean over azimuths of max(cos, 0) is 1/pi; the beam is (G - D) / sin(e)
    beam = 300.0 / np.sin(elevation) * np.cos(elevation) / np.pi
    assert np.mean(caught) == pytest.approx(beam + 0.5 * (200.0 + 0.8 * 500.0), rel=1e-5)
    assert caught[0] == pytest.approx(on_plane(elevation, -1.0, 500.0, 200.0, 0.0, 0.8))
