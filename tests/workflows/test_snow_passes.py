"""Elevations between nodes, and heights of a mast that invented strengths swing with."""

from dataclasses import replace

import numpy as np
import pytest

from stakeline.constants import (
    FREQUENCY_HZ,
    NS_PER_DAY,
    NS_PER_S,
    SPEED_OF_LIGHT_M_S,
)
from stakeline.earth.ellipsoid import enu_axes, geodetic_from_xyz
from stakeline.signals.reflections import bent_elevation
from stakeline.tables import Products
from stakeline.workflows.snow_passes import sine_of_elevation, snow_day, snow_days

MAST_M = 2.1


def straight(sky, time_ns):
    """Return the sine of the elevation (n, 24), about the vertical of the ellipsoid."""
    up = enu_axes(*geodetic_from_xyz(sky.site)[:2])[2]
    away = sky.satellites_at(time_ns) - sky.site
    return away @ up / np.linalg.norm(away, axis=2)


def swinging(sky, time_ns, mast_m=MAST_M, noise_dB=0.5):
    """Return observations of one strength, that a mast over level snow swings."""
    data = sky.observations(time_ns)
    sine = straight(sky, time_ns)
    seen = np.repeat(np.arange(len(time_ns)), np.diff(data.row_start)), data.satellite - 1
    elevation = bent_elevation(np.arcsin(sine[seen]), 990.0, -8.0)
    wave_m = SPEED_OF_LIGHT_M_S / FREQUENCY_HZ["G1"]
    turn = 4.0 * np.pi * mast_m * np.sin(elevation) / wave_m
    wave = 0.15 * np.exp(-elevation / np.radians(20.0) + 1j * (turn + 0.4 * seen[1]))
    strength = 40.0 + 10.0 * np.sin(elevation) + 20.0 * np.log10(np.abs(1.0 + wave))
    strength += np.random.default_rng(3).normal(0.0, noise_dB, strength.size)
    value = np.column_stack([data.value, np.round(strength, 1)])
    lock = np.zeros(value.shape, np.uint8)
    codes = {"G": (*data.codes["G"], "S1C")}
    return replace(data, value=value, lock=lock, strength=lock.copy(), codes=codes)


@pytest.fixture(scope="module")
def products(sky):
    return Products(orbits=sky.orbits(-1, 4))


def test_sines_between_nodes_are_those_of_the_orbits(sky, products):
    time_ns = sky.times(3000, 40000, 333)
    satellites, column = np.arange(1, 25), np.tile(np.arange(24), time_ns.size)
    found = sine_of_elevation(products, sky.site, satellites, column, np.repeat(time_ns, 24))
    assert found == pytest.approx(straight(sky, time_ns).ravel(), abs=5e-6)


def test_a_satellite_without_orbit_has_no_elevation(sky, products):
    time_ns = sky.times(0, 3000)
    column = np.zeros(time_ns.size, int)
    assert np.isnan(sine_of_elevation(products, sky.site, np.array([77]), column, time_ns)).all()


@pytest.mark.compiled
@pytest.mark.parametrize("step_s", [15, 30])
def test_the_mast_comes_back_each_day(sky, products, step_s):
    data = swinging(sky, sky.times(0, 2 * 86400, step_s))
    days = snow_days(data, products, sky.site)
    assert [day.time_ns // NS_PER_DAY for day in days] == [
        sky.day // NS_PER_DAY,
        sky.day // NS_PER_DAY + 1,
    ]
    for day in days:
        # usual air of the place is not quite the air above: 3 mm in 2 m
        assert day.height_m == pytest.approx(MAST_M, abs=3.0 * day.sigma_m + 0.003)
        assert 0.0 < day.sigma_m < 0.01
        assert day.signals == ("GS1C",)
        assert day.used <= day.passes <= day.arcs
        assert day.said == ()


@pytest.mark.compiled
def test_a_raise_at_noon_makes_two_heights(sky, products):
    low = swinging(sky, sky.times(0, 86400, 30), 1.4)
    high = swinging(sky, sky.times(0, 86400, 30), 2.6)
    noon = sky.day + NS_PER_DAY // 2
    epoch = np.repeat(low.time_ns, np.diff(low.row_start))
    data = replace(low, value=np.where(epoch[:, None] < noon, low.value, high.value))
    before = snow_day(data, products, sky.site, sky.day, noon)
    after = snow_day(data, products, sky.site, noon, sky.day + NS_PER_DAY)
    assert before.height_m == pytest.approx(1.4, abs=0.02)
    assert after.height_m == pytest.approx(2.6, abs=0.02)
    assert before.time_ns < noon < after.time_ns


@pytest.mark.compiled
def test_where_there_is_no_height_it_says_why(sky, products):
    day = sky.day, sky.day + NS_PER_DAY

    def said(data, with_products=products):
        found = snow_day(data, with_products, sky.site, *day)
        assert np.isnan(found.height_m)
        assert np.isnan(found.sigma_m)
        return found.said

    assert said(sky.observations(sky.times(0, 86400))) == ("the files hold no signal strengths",)
    calm = swinging(sky, sky.times(0, 86400, 30), 0.0)
    assert said(calm) == ("reflections in fewer than 4 passes of satellites",)
    nowhere = Products(orbits=replace(products.orbits, satellites=np.arange(61, 85)))
    nothing = ("no satellite rises or sets through the elevations used",)
    assert said(swinging(sky, sky.times(0, 86400, 300)), nowhere) == nothing
    rough = [swinging(sky, sky.times(0, 86400, 30), mast_m) for mast_m in (0.9, 2.4, 4.0)]
    odd = rough[0].satellite % 3
    value = np.select([odd[:, None] == k for k in range(3)], [data.value for data in rough])
    words = ("the heights of passes do not agree: no level surface, or several",)
    assert said(replace(rough[0], value=value)) == words


@pytest.mark.compiled
def test_faster_data_are_averaged_not_dropped(sky, products):
    begin, end = sky.day, sky.day + NS_PER_DAY // 2
    slow = snow_day(swinging(sky, sky.times(0, 43200, 60)), products, sky.site, begin, end)
    fast = snow_day(swinging(sky, sky.times(0, 43200, 10)), products, sky.site, begin, end)
    assert fast.arcs >= slow.arcs
    assert fast.sigma_m < slow.sigma_m
    assert fast.time_ns == pytest.approx(slow.time_ns, abs=60 * NS_PER_S)
