"""Bounds of the light on a panel: what they hold, when they widen, both hemispheres, night."""

import numpy as np
import pytest

from stakeline.errors import SettingsError
from stakeline.station.light_band import CLEAR, CLOUDY, UNKNOWN, Place, light_band
from stakeline.station.sky import Horizon, clear_light, on_panel
from stakeline.station.sunlight import sun_course
from stakeline.time import from_iso, gps_from_utc

TILT = np.radians(80.0)


def place(iso, latitude_deg=79.0, sky=CLEAR, longitude_deg=17.0):
    time_ns = int(gps_from_utc(from_iso(iso)))
    return Place(time_ns, np.radians(latitude_deg), np.radians(longitude_deg), 200.0, sky)


MAY = "2031-05-10T11:00:00"


def test_expected_is_the_clear_sky_of_the_station_library():
    where = place(MAY)
    sun = sun_course(where.time_ns, where.latitude_rad, where.longitude_rad, 200.0)
    ours = light_band(where, TILT, np.pi)
    assert ours.expected_W_m2 == pytest.approx(
        float(on_panel(clear_light(sun, 200.0), sun, TILT, np.pi)[0])
    )
    assert ours.lit
    assert ours.least_W_m2 < ours.expected_W_m2 < ours.most_W_m2


@pytest.mark.parametrize("facing", [0.0, 90.0, 180.0, 270.0])
def test_unknown_holds_both_skies(facing):
    bands = {
        sky: light_band(place(MAY, sky=sky), TILT, np.radians(facing))
        for sky in (CLEAR, CLOUDY, UNKNOWN)
    }
    for sky in (CLEAR, CLOUDY):
        assert bands[UNKNOWN].least_W_m2 <= bands[sky].least_W_m2
        assert bands[UNKNOWN].most_W_m2 >= bands[sky].most_W_m2


def test_the_south_is_the_north_half_a_year_and_half_a_turn_away():
    north = light_band(place("2031-06-21T10:52:00"), TILT, np.pi)
    south = light_band(place("2031-12-22T10:52:00", -79.0), TILT, 0.0)
    # the Sun is nearer in December: 6.9 % more light (1.0167^2 / 0.9833^2)
    assert south.expected_W_m2 / north.expected_W_m2 == pytest.approx(1.069, abs=0.02)
    turned = (south.sun_azimuth_rad - north.sun_azimuth_rad) % (2.0 * np.pi)
    assert turned == pytest.approx(np.pi, abs=0.1)


def test_night_and_twilight():
    night = light_band(place("2031-12-10T11:00:00"), TILT, np.pi)
    assert (night.least_W_m2, night.expected_W_m2, night.most_W_m2) == (0.0, 0.0, 0.0)
    assert not night.worth_measuring
    twilight = light_band(place("2031-02-10T10:50:00"), TILT, np.pi)
    assert -6.0 < np.degrees(twilight.sun_elevation_rad) < -0.8
    assert twilight.expected_W_m2 == 0.0 < twilight.most_W_m2


def test_behind_a_ridge_there_is_no_beam():
    ridge = Horizon(np.radians([0.0, 170.0, 190.0]), np.radians([0.0, 60.0, 60.0]))
    free = light_band(place(MAY), TILT, np.pi)
    hidden = light_band(place(MAY), TILT, np.pi, ridge)
    assert free.lit
    assert not hidden.lit
    assert hidden.most_W_m2 < free.least_W_m2


def test_a_sky_that_is_none_is_refused():
    with pytest.raises(SettingsError, match="sky 'sunny': expected clear, cloudy, unknown"):
        place(MAY, sky="sunny")
