"""The Sun of long spans against that of each hour, and against another library."""

import numpy as np
import pandas as pd
import pytest
from pvlib import solarposition

from stakeline.constants import NS_PER_DAY
from stakeline.station.sunlight import sun_course, sun_course_of_days
from stakeline.time import from_calendar, iso, utc_from_gps

HOUR_NS = NS_PER_DAY // 24


def apart_deg(first, second):
    """Return the largest angle between two directions of the Sun."""
    cosine = np.sin(first.elevation_rad) * np.sin(second.elevation_rad) + np.cos(
        first.elevation_rad
    ) * np.cos(second.elevation_rad) * np.cos(first.azimuth_rad - second.azimuth_rad)
    return np.degrees(np.arccos(np.clip(cosine, -1.0, 1.0)).max())


@pytest.mark.parametrize("latitude_deg", [90.0, 79.0, 0.0, -84.3])
def test_one_sun_a_day_is_enough(latitude_deg):
    time_ns = from_calendar(2031, 7, 1) + HOUR_NS // 2 + HOUR_NS * np.arange(0, 8760, 7)
    place = np.radians(latitude_deg), 0.3, 200.0
    each, days = sun_course(time_ns, *place), sun_course_of_days(time_ns, *place)
    assert apart_deg(each, days) < 2e-6
    assert np.abs(each.distance_au - days.distance_au).max() < 1e-8


@pytest.mark.parametrize(("latitude_deg", "longitude_deg"), [(79.0, 17.0), (-84.3, -150.0)])
def test_as_another_library_has_it(latitude_deg, longitude_deg):
    # pvlib's own code of Reda & Andreas (2008), NREL/TP-560-34302; UT1 taken as UTC in both
    time_ns = from_calendar(2024, 1, 1) + HOUR_NS * np.arange(0, 8760, 37)
    ours = sun_course_of_days(time_ns, *np.radians([latitude_deg, longitude_deg]), 300.0)
    when = pd.DatetimeIndex([iso(t) for t in utc_from_gps(time_ns)]).tz_localize("UTC")
    theirs = solarposition.get_solarposition(when, latitude_deg, longitude_deg, altitude=300.0)
    off = np.abs(np.degrees(ours.elevation_rad) - theirs["elevation"].to_numpy())
    assert off.max() < 0.01
    turned = np.degrees(ours.azimuth_rad) - theirs["azimuth"].to_numpy()
    assert np.abs((turned + 180.0) % 360.0 - 180.0).max() < 0.01
