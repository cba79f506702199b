"""Burial and melt: without doubt height over rate, with doubt a second formula, published cases."""

import numpy as np
import pytest
from scipy.stats import norm

from stakeline.errors import SettingsError
from stakeline.station import burial

QUIET = burial.Rise(1.2, storm_share=0.0)
REAL = burial.Rise(1.0, 0.15, 0.2)


def drawn():
    return np.random.default_rng(17)


@pytest.mark.parametrize(("rate_m_a", "height_m"), [(1.2, 3.0), (0.4, 1.0), (2.0, 0.7)])
def test_without_doubt_a_part_is_buried_at_height_over_rate(rate_m_a, height_m):
    found = burial.passage(
        "antenna", height_m, burial.Rise(rate_m_a, storm_share=0.0), 5.0, drawn(), count=3
    )
    expected = pytest.approx(height_m / rate_m_a, abs=1e-9)
    assert (found.early_a, found.median_a, found.late_a, found.visit_a) == (expected,) * 4


def test_poles_five_metres_deep_fall_after_two_years_of_melt():
    # poles set 5 m into ice fell after some 5 m of melt in 2 years (field report)
    melt = burial.Rise(2.5, storm_share=0.0)
    assert burial.melt_out("pole", 5.0, 0.0, melt, 4.0, drawn()).median_a == pytest.approx(2.0)
    held = burial.melt_out("pole", 5.0, 1.5, melt, 4.0, drawn())
    assert held.median_a == pytest.approx(1.4)
    assert any("Drilling" in text for text in held.cautions)


def test_melt_happens_in_its_season():
    melt = burial.Rise(2.0, storm_share=0.0, season=(0.5, 0.7))
    found = burial.melt_out("leg", 3.0, 0.0, melt, 4.0, drawn())
    assert found.median_a == pytest.approx(1.6, abs=1e-6)  # middle of the second season
    times, heights = burial.surfaces(melt, 2.0, drawn(), 2)
    assert np.interp([0.5, 0.7, 1.0, 1.5], times, heights[0]) == pytest.approx(
        [0.0, 2.0, 2.0, 2.0], abs=0.15
    )


def test_a_station_built_in_the_midst_of_the_melt_meets_its_second_half_first():
    melt = burial.Rise(2.0, storm_share=0.0, season=(0.9, 1.1))
    times, heights = burial.surfaces(melt, 2.2, drawn(), 2)
    seen = np.interp([0.1, 0.5, 0.9, 1.0, 1.1, 2.1], times, heights[0])
    assert seen == pytest.approx([1.0, 1.0, 1.0, 2.0, 3.0, 5.0], abs=0.15)


def test_what_is_too_short_on_the_first_day_is_loose_then():
    found = burial.too_short("legs", 0.5, 0.8)
    assert (found.early_a, found.median_a, found.late_a, found.visit_a) == (0.0, 0.0, 0.0, 0.0)
    assert found.distance_m == pytest.approx(-0.3)
    assert found.chance_by(0.0) == 1.0


def test_mean_and_spread_of_the_surfaces():
    times, heights = burial.surfaces(REAL, 4.0, drawn())
    at = int(np.argmin(np.abs(times - 3.0)))
    years = times[at]
    storms = 2.0 * (0.5 * 1.0) ** 2 / burial.STORMS_A  # variance of a year of exponential storms
    # doubt of the rate also moves the depth of storms: 2 (share sigma)^2 / storms more
    storms += 2.0 * (0.5 * 0.15) ** 2 / burial.STORMS_A
    sigma = np.sqrt((0.15 * years) ** 2 + (0.2**2 + storms) * years)
    assert heights[:, at].mean() == pytest.approx(years, abs=4.0 * sigma / np.sqrt(4000))
    assert heights[:, at].std() == pytest.approx(sigma, rel=0.05)


def test_doubt_of_the_rate_alone_against_the_normal_law():
    rise = burial.Rise(1.0, 0.2, storm_share=0.0)
    found = burial.passage("panel", 2.0, rise, 6.0, drawn())
    for years in (1.5, 2.0, 2.5):
        assert found.chance_by(years) == pytest.approx(
            norm.cdf((years - 2.0) / 0.2 / years), abs=0.03
        )
    # quantiles of height over a normal rate
    assert found.early_a == pytest.approx(2.0 / (1.0 + 1.645 * 0.2), rel=0.02)


def test_height_needed_keeps_its_promise():
    height = burial.height_needed(REAL, 1.0)
    found = burial.passage("antenna", height, REAL, 3.0, drawn())
    # the normal law leaves out the long tail of storms: a few in a hundred, not fractions of one
    assert found.chance_by(1.0) == pytest.approx(0.05, abs=0.025)
    assert burial.height_needed(REAL, 1.0, margin_m=0.5) == pytest.approx(height + 0.5)
    assert burial.height_needed(QUIET, 2.0) == pytest.approx(2.4)


def test_more_doubt_asks_for_an_earlier_visit():
    visits = [
        burial.passage("a", 2.0, burial.Rise(1.0, doubt, 0.1), 6.0, drawn()).visit_a
        for doubt in (0.0, 0.2, 0.4)
    ]
    assert np.all(np.diff(visits) < 0.0)


def test_lowest_first_and_drift_around_the_box():
    heights = {"antenna": 3.0, "box": 0.6, "panel": 1.0}
    found = burial.burial(heights, QUIET, 5.0, drawn(), drift_m_a={"box": 0.3})
    assert [one.name for one in found] == ["box", "panel", "antenna"]
    assert found[0].median_a == pytest.approx(0.6 / 1.5)
    assert found[1].median_a == pytest.approx(1.0 / 1.2)


def test_what_never_happens_is_infinitely_far():
    found = burial.passage("antenna", 9.0, QUIET, 5.0, drawn())
    assert found.median_a == np.inf
    assert found.chance_by(5.0) == 0.0


def test_same_generator_same_answer():
    one, two = (burial.passage("a", 2.0, REAL, 5.0, drawn()).median_a for _ in range(2))
    assert one == two


def test_snow_from_water_equivalent():
    # 0.375 m w.e. a year near a coast, as snow of 400 kg/m3
    assert burial.snow_rate(0.375, 400.0) == pytest.approx(0.9375)


@pytest.mark.parametrize(
    ("call", "sentence"),
    [
        (lambda: burial.Rise(-1.0), "rate_m_a is -1.0"),
        (lambda: burial.Rise(1.0, season=(0.7, 0.5)), "an end after it by a year at most"),
        (lambda: burial.Rise(1.0, season=(0.7, 1.8)), "an end after it by a year at most"),
        (lambda: burial.too_short("leg", 1.0, 0.5), "it is held"),
        (lambda: burial.passage("a", 0.0, QUIET, 1.0, drawn()), "distance_m is 0.0"),
        (lambda: burial.melt_out("leg", 1.0, 1.5, QUIET, 1.0, drawn()), "leg: 1.0 m in the ice"),
        (
            lambda: burial.burial({"a": 1.0}, QUIET, 1.0, drawn(), drift_m_a={"b": 1.0}),
            "drift around b: no such part; there are a",
        ),
    ],
)
def test_impossible_snow_is_refused(call, sentence):
    with pytest.raises(SettingsError, match=sentence):
        call()


def test_parts_see_the_same_winters():
    heights = {"east": 1.2, "west": 1.2, "low": 1.1, "box": 1.2}
    found = burial.burial(
        heights, burial.Rise(0.7, 0.15, 0.2), 5.0, np.random.default_rng(3), drift_m_a={"box": 0.4}
    )
    by_name = {one.name: one for one in found}
    np.testing.assert_array_equal(by_name["east"].times_a, by_name["west"].times_a)
    assert by_name["low"].visit_a < by_name["east"].visit_a
    assert by_name["box"].median_a < by_name["east"].median_a
