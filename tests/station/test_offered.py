"""What panels and turbine bring: against the plain formulas, hour by hour."""

import numpy as np
import pytest

from stakeline.station.battery import Bank
from stakeline.station.box import Box
from stakeline.station.design import Design, Load, PlacedPanel, Site
from stakeline.station.offered import (
    RIME_LOSS,
    light_by_cloud,
    offered_power,
    sun_of_year,
    turbine_ends_h,
)
from stakeline.station.panel import Panel, delivered_W
from stakeline.station.sky import clear_light, cloudy_light, on_panel
from stakeline.station.storm import air_density, speed_at_height
from stakeline.station.turbine import Turbine, wind_power_W
from stakeline.station.weather import WeatherYears
from stakeline.time import from_calendar

SITE = Site(79.0, 17.0, 200.0)
GROUP = PlacedPanel("panel", Panel(), 1, 80.0, 180.0, clean_share=1.0)
DESIGN = Design("HV01", SITE, (GROUP,), Bank(), Box(), (Load("receiver", "receiver", 4.0),),
                turbine=Turbine())  # fmt: skip
HOURS = 480


def weather(seed=1, **changed):
    rng = np.random.default_rng(seed)
    shape = (2, HOURS)
    made = {
        "temperature_degC": rng.uniform(-40.0, 0.0, shape),
        "wind_m_s": rng.uniform(0.0, 25.0, shape),
        "cloud": rng.uniform(0.0, 1.0, shape),
        "rime": np.maximum(rng.uniform(-1.0, 1.0, shape), 0.0),
    }
    made.update(changed)
    return WeatherYears(int(from_calendar(2031, 4, 1)), **made, pressure_hPa=980.0, measured_at_m=3)


def test_light_is_exact_for_any_cloud():
    years = weather()
    sun = sun_of_year(SITE, years.time_ns)
    parts = light_by_cloud(DESIGN, GROUP, sun)
    clear = clear_light(sun, SITE.elevation_m, albedo=SITE.albedo)
    for cover in (0.0, 0.3, 0.77):
        plain = on_panel(cloudy_light(clear, sun, cover), sun, np.radians(80.0), np.pi)
        np.testing.assert_allclose(
            parts[0] + cover * (parts[1] + cover * parts[2]), plain, atol=1e-9
        )


def test_panels_bring_what_the_diode_gives():
    years = weather()
    sun = sun_of_year(SITE, years.time_ns)
    found = offered_power(DESIGN, years).panel_W[0]
    clear = clear_light(sun, SITE.elevation_m)
    light = np.stack(
        [
            on_panel(cloudy_light(clear, sun, cover), sun, np.radians(80.0), np.pi)
            for cover in years.cloud
        ]
    )
    free = 1.0 - RIME_LOSS * years.rime
    plain = delivered_W(Panel(), light, years.temperature_degC, years.wind_m_s, 13.0, free)
    # a table of 82 by 37 nodes, straight between: within 0.2 W of 85
    assert np.abs(found - plain).max() < 0.2
    assert found.mean() == pytest.approx(plain.mean(), rel=0.003)
    assert (found[light <= 0.0] == 0.0).all()


def test_a_turbine_gives_what_its_formula_says():
    years = weather()
    found = offered_power(DESIGN, years).turbine_W
    turbine = DESIGN.turbine
    hub = speed_at_height(years.wind_m_s, 3.0, turbine.hub_m)
    density = air_density(980.0, years.temperature_degC)
    plain = wind_power_W(turbine, hub, density, years.rime)
    edge = np.abs(hub - turbine.start_m_s) < 0.11
    edge |= np.abs(hub - turbine.stop_m_s) < 0.11
    assert np.abs(found - plain)[~edge].max() < 0.5


def test_a_storm_above_the_survival_wind_ends_a_turbine():
    years = weather()
    years.wind_m_s[0, 100] = 60.0
    found = offered_power(DESIGN, years).turbine_W
    assert (found[0, 100:] == 0.0).all()
    assert found[1, 100:].max() > 0.0


def test_luck_ends_a_share_of_turbines_within_the_year():
    luck = (np.arange(1000) + 0.5) / 1000
    ends = turbine_ends_h(0.8, luck, 1000, 8760)
    assert (ends > 8760).mean() == pytest.approx(0.8, abs=1e-3)
    assert np.isinf(turbine_ends_h(0.8, None, 3, 8760)).all()


def test_snow_over_a_panel_takes_its_light():
    years = weather()
    steps = HOURS // 120
    surface = np.zeros((2, steps))
    surface[1, 2:] = 10.0
    found = offered_power(DESIGN, years, surface_m=surface).panel_W[0]
    assert (found[1, 240:] == 0.0).all()
    np.testing.assert_array_equal(found[0], offered_power(DESIGN, years).panel_W[0, 0])


def test_sums_are_of_counts():
    offered = offered_power(DESIGN, weather())
    both = offered.total_W([2], 1)
    np.testing.assert_allclose(both, 2.0 * offered.panel_W[0] + offered.turbine_W)
    np.testing.assert_allclose(offered.total_W([0], 0), 0.0)
