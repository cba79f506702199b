"""What boxes stand in: limits of burial, the ground's own values, what air takes along."""

from dataclasses import replace

import numpy as np
import pytest

from stakeline.station.battery import Bank
from stakeline.station.box import YEAR_S, Box, loss_in_snow_W_K
from stakeline.station.burial import Rise
from stakeline.station.design import Design, Load, Site
from stakeline.station.gas import air_loss_W_K
from stakeline.station.surroundings import box_around, ground_of, wave_degC
from stakeline.station.survival import circumstances, survival
from stakeline.station.weather import WeatherYears
from stakeline.time import from_calendar

YEARS, HOURS, STEPS = 3, 8760, 73
DESIGN = Design("HV01", Site(79.0, 17.0, 200.0), (), Bank(parallel=12), Box(),
                (Load("receiver", "receiver", 5.0),))  # fmt: skip
BURIED = replace(DESIGN, box_depth_m=1.0)


def weather():
    shape = (YEARS, HOURS)
    season = -20.0 + 15.0 * np.cos(2.0 * np.pi * np.arange(HOURS) / HOURS)
    rng = np.random.default_rng(2)
    return WeatherYears(
        int(from_calendar(2031, 7, 1)), season + rng.normal(size=shape), np.full(shape, 5.0),
        np.full(shape, 0.5), np.zeros(shape), 980.0, 3.0,
    )  # fmt: skip


WEATHER = weather()


@pytest.mark.parametrize(
    ("surface", "density", "conductivity", "diffusivity_m2_s"),
    # Calonne's formula at 350; ice at -20 degC and gneiss as handbooks have them, from memory
    [("snow", 350.0, 0.287, 4.2e-7), ("ice", 917.0, 2.32, 1.29e-6), ("rock", 917.0, 2.5, 1.16e-6)],
)
def test_each_ground_has_its_own_values(surface, density, conductivity, diffusivity_m2_s):
    found = ground_of(surface, density, -20.0)
    assert found.conductivity_W_m_K == pytest.approx(conductivity, rel=0.01)
    assert found.diffusivity_m2_a / YEAR_S == pytest.approx(diffusivity_m2_s, rel=0.02)


def test_denser_snow_lets_more_through_and_ends_near_ice():
    found = [ground_of("snow", d, -20.0) for d in (200.0, 350.0, 500.0, 700.0, 917.0)]
    assert (np.diff([one.conductivity_W_m_K for one in found]) > 0.0).all()
    assert (np.diff([one.diffusivity_m2_a for one in found]) > 0.0).all()
    ice = ground_of("ice", 917.0, -20.0).conductivity_W_m_K
    assert found[-1].conductivity_W_m_K == pytest.approx(ice, rel=0.2)
    assert ground_of("ice", 917.0, 5.0) == ground_of("ice", 917.0, 0.0)  # ice is never warmer


def test_without_snow_a_box_is_where_it_was_put():
    around, losses = box_around(DESIGN, WEATHER)
    assert (around == WEATHER.temperature_degC).all()
    assert np.ptp(losses) == 0.0
    still, same = box_around(DESIGN, WEATHER, np.zeros((YEARS, STEPS)))
    assert (still == around).all()
    assert (same == losses).all()
    around, losses = box_around(BURIED, WEATHER)
    assert np.ptp(around, axis=0).max() == 0.0
    assert np.ptp(losses) == 0.0


def test_snow_over_a_buried_box_is_depth():
    risen = np.full((YEARS, STEPS), 2.0)
    around, losses = box_around(BURIED, WEATHER, risen)
    deep, lost = box_around(replace(BURIED, box_depth_m=3.0), WEATHER)
    assert around == pytest.approx(deep, abs=1e-12)
    assert losses == pytest.approx(np.broadcast_to(lost, losses.shape), rel=1e-12)
    ramp = np.broadcast_to(np.linspace(0.0, 2.0, STEPS), (YEARS, STEPS))
    shallow, lost = box_around(BURIED, WEATHER, ramp)
    assert shallow[:, 0] == pytest.approx(box_around(BURIED, WEATHER)[0][:, 0])
    assert shallow[:, -1] == pytest.approx(deep[:, -1])
    assert (np.diff(lost, axis=1) < 0.0).all()  # deeper snow insulates more


def test_a_box_on_the_surface_goes_from_air_to_snow():
    top = DESIGN.box.outer_m[2]
    _, in_air = box_around(DESIGN, WEATHER)
    around, losses = box_around(DESIGN, WEATHER, np.full((YEARS, STEPS), 0.5 * top))
    _, whole = box_around(DESIGN, WEATHER, np.full((YEARS, STEPS), top))
    assert losses[0, 0] == pytest.approx(0.5 * (in_air[0, 0] + whole[0, 0]))
    spread = [np.std(WEATHER.temperature_degC), np.std(around)]
    deep, lost = box_around(DESIGN, WEATHER, np.full((YEARS, STEPS), 4.0))
    assert spread[0] > spread[1] > np.std(deep)
    ground = ground_of("snow", 350.0, WEATHER.temperature_degC.mean())
    depth = np.full((1, STEPS), 4.0 - 0.5 * top)
    assert deep == pytest.approx(np.broadcast_to(wave_degC(WEATHER, depth, ground), deep.shape))
    assert lost[0, 0] == pytest.approx(
        float(loss_in_snow_W_K(DESIGN.box, ground.conductivity_W_m_K, depth[0, 0]))
    )


def test_deeper_firn_is_calmer_and_later():
    ground = ground_of("snow", 350.0, -20.0)
    shallow, deep = (wave_degC(WEATHER, np.full((1, STEPS), z), ground)[0] for z in (0.5, 2.5))
    assert np.ptp(deep) < 0.5 * np.ptp(shallow)
    assert deep.mean() == pytest.approx(shallow.mean(), abs=0.05)
    damping = np.sqrt(ground.diffusivity_m2_a / np.pi)
    assert np.ptp(deep) / np.ptp(shallow) == pytest.approx(np.exp(-2.0 / damping), rel=1e-3)


def test_air_let_through_takes_the_box_toward_the_air():
    aired = replace(BURIED, box=replace(BURIED.box, air_m3_h=4.0))
    around, losses = box_around(BURIED, WEATHER)
    fresh, more = box_around(aired, WEATHER)
    assert more - losses == pytest.approx(np.full(losses.shape, air_loss_W_K(4.0)))
    heat = losses[0, 0] * around + air_loss_W_K(4.0) * WEATHER.temperature_degC
    assert fresh == pytest.approx(heat / more[0, 0])
    storm = replace(BURIED, box=replace(BURIED.box, air_m3_h=1e6))
    assert box_around(storm, WEATHER)[0] == pytest.approx(WEATHER.temperature_degC, abs=0.01)


@pytest.mark.compiled
def test_a_box_that_snow_buries_is_warmer_in_the_years():
    still = circumstances(DESIGN.site, WEATHER)
    rising = circumstances(DESIGN.site, WEATHER, rise=Rise(1.5),
                           generator=np.random.default_rng(3))  # fmt: skip
    bare, buried = (survival(DESIGN, one).outcome for one in (still, rising))
    assert (buried.days[:, 2].min(axis=1) > bare.days[:, 2].min(axis=1)).all()
    assert np.abs(buried.balance).max() < 1e-9
