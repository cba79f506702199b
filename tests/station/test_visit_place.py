"""A moving site on the day of a visit: geometry, limits, and how often its ellipse holds it."""

import dataclasses

import numpy as np
import pytest

from stakeline.errors import SettingsError
from stakeline.station import visit_place as visits
from stakeline.station.field_coordinates import distance

SITE = visits.MovingSite(
    *(79.2, -22.5, 900.0, 0, (-180.0, 240.0)),
    np.diag([0.01, 0.01]),
    np.array([[25.0, 10.0], [10.0, 16.0]]),
)
YEAR = int(visits.YEAR_NS)


def test_moves_as_far_and_as_the_ice_says():
    place = visits.visit_place(SITE, YEAR)
    assert place.moved_m == pytest.approx([-180.0, 240.0])
    there = (place.latitude_deg, place.longitude_deg)
    assert distance((79.2, -22.5), there) == pytest.approx(300.0 * (1 - 900.0 / 6.38e6), abs=0.05)
    assert place.latitude_deg > 79.2
    assert place.longitude_deg < -22.5


def test_three_hundred_to_eight_hundred_metres_a_year_are_found_a_day_off_by_a_metre_or_two():
    for speed in (300.0, 800.0):
        site = dataclasses.replace(SITE, velocity_m_a=(speed, 0.0))
        day = visits.visit_place(site, YEAR // 365).moved_m[0]
        assert day == pytest.approx(speed / 365.0, rel=1e-3)  # 0.8 to 2.2 m/d


def test_there_and_back():
    place = visits.visit_place(SITE, YEAR)
    back = visits.visit_place(
        dataclasses.replace(
            SITE, latitude_deg=place.latitude_deg, longitude_deg=place.longitude_deg, time_ns=YEAR
        ),
        0,
    )
    assert distance((back.latitude_deg, back.longitude_deg), (79.2, -22.5)) < 0.05


def test_today_the_ellipse_is_that_of_the_position():
    place = visits.visit_place(SITE, 0)
    assert place.semi_major_m == pytest.approx(0.1 * np.sqrt(-2.0 * np.log(0.05)))
    assert place.semi_minor_m == pytest.approx(place.semi_major_m)
    # 95 %: 2.4477 sigma, the root of the quantile 5.991 of chi-square with two degrees of freedom
    assert place.semi_major_m == pytest.approx(0.24477, abs=1e-5)


def test_the_ellipse_holds_the_site_as_often_as_it_says():
    place = visits.visit_place(SITE, 2 * YEAR)
    rng = np.random.default_rng(4)
    velocities = rng.multivariate_normal(SITE.velocity_m_a, SITE.velocity_covariance_m2_a2, 20_000)
    starts = rng.multivariate_normal([0.0, 0.0], SITE.position_covariance_m2, 20_000)
    off = starts + 2.0 * velocities - place.moved_m
    azimuth = np.radians(place.azimuth_deg)
    along = off @ [np.sin(azimuth), np.cos(azimuth)]
    across = off @ [np.cos(azimuth), -np.sin(azimuth)]
    inside = (along / place.semi_major_m) ** 2 + (across / place.semi_minor_m) ** 2 <= 1.0
    assert inside.mean() == pytest.approx(0.95, abs=4.0 * np.sqrt(0.95 * 0.05 / 20_000))


def test_outline_lies_on_the_ellipse():
    place = visits.visit_place(SITE, YEAR)
    outline = visits.ellipse_outline(place)
    assert outline[0] == pytest.approx(outline[-1])
    far = [distance((place.latitude_deg, place.longitude_deg), (b, a)) for a, b in outline]
    assert max(far) == pytest.approx(place.semi_major_m, rel=1e-4)
    assert min(far) == pytest.approx(place.semi_minor_m, rel=1e-3)
    assert place.search_ha == pytest.approx(
        np.pi * place.semi_major_m * place.semi_minor_m / 10_000.0
    )


@pytest.mark.parametrize(
    ("change", "sentence"),
    [
        ({"velocity_m_a": (1.0,)}, "expected east and north"),
        ({"position_covariance_m2": np.diag([1.0, -1.0])}, "expected no negative variance"),
        ({"velocity_covariance_m2_a2": np.array([[1.0, 0.5], [0.1, 1.0]])}, "a symmetric 2 by 2"),
    ],
)
def test_impossible_sites_are_refused(change, sentence):
    with pytest.raises(SettingsError, match=sentence):
        dataclasses.replace(SITE, **change)


def test_impossible_chance_is_refused():
    with pytest.raises(SettingsError, match=r"a chance of 1\.0"):
        visits.visit_place(SITE, YEAR, chance=1.0)
