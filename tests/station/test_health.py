"""A dead rotor is not forgotten in calm, neither by what holds nor by the forecast."""

import numpy as np
import pytest

from stakeline.station import health as whole
from stakeline.station.health import judge, outlook_from
from stakeline.station.health_parts import TURBINE
from stakeline.station.turbine import Turbine

from .health_example import design, telemetry

DAYS, CALM_D = 40, 25
DAY = np.arange(24 * DAYS) // 24
WINDY = design(turbine=Turbine(), panels=())


def judged(turns):
    """Return the health of a station whose rotor turned on days, in wind until ``CALM_D``."""
    hours, _ = telemetry(
        DAYS, turbine_A=np.where(turns, 0.15, 0.0), wind_m_s=np.where(DAY < CALM_D, 9.0, 1.0)
    )
    hours.columns["air_degC"][:] = -35.0  # too dry and cold for rime
    return judge(hours, WINDY, np.random.default_rng(1))


@pytest.fixture(scope="module")
def dead():
    return judged(DAY < 10)


def kinds(health, day):
    return {finding.kind for finding in health.holding(day)}


def test_a_dead_rotor_holds_on_every_day_of_calm(dead):
    assert all(TURBINE in kinds(dead, day) for day in range(CALM_D, DAYS))
    turned = judged((DAY < 10) | (DAY == 35))
    assert TURBINE in kinds(turned, 34)
    assert TURBINE not in kinds(turned, 35)


def test_the_forecast_counts_with_it_in_calm_as_in_wind(dead, monkeypatch):
    monkeypatch.setattr(whole, "forecast", lambda design, cloud, habits, *rest, **more: habits)
    rng = np.random.default_rng(1)
    windy, calm = (outlook_from(dead, WINDY, None, day, rng) for day in (CALM_D, DAYS))
    assert calm.turbine_dead == windy.turbine_dead > 0.2
    sound = judged(DAY < CALM_D)
    assert outlook_from(sound, WINDY, None, DAYS, rng).turbine_dead == 0.0


def test_energy_and_cover_are_by_day(dead):
    assert dead.cover is None
    assert {values.size for values in dead.energy.values()} == {DAYS}
