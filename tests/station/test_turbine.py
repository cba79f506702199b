"""Turbines: a published power, the cube, limits, rime, storms, refusals."""

import dataclasses
import math

import numpy as np
import pytest

from stakeline.errors import SettingsError
from stakeline.station.turbine import Turbine, destroyed, wind_power_W

ROTOR = Turbine()


def test_a_small_rotor():
    # checks.md 1.8: 1.1 m, 0.25, 10 m/s, 1.225 kg/m3 -> 145.5 W
    assert wind_power_W(ROTOR, 10.0, 1.225) == pytest.approx(145.5, abs=0.1)


def test_power_goes_with_the_cube_and_with_density():
    assert wind_power_W(ROTOR, 10.0, 1.2) == pytest.approx(8.0 * wind_power_W(ROTOR, 5.0, 1.2))
    assert wind_power_W(ROTOR, 6.0, 1.4) == pytest.approx(2.0 * wind_power_W(ROTOR, 6.0, 0.7))


def test_rayleigh_winds_give_six_by_pi():
    # checks.md 1.8: <v^3> / <v>^3 = 6 / pi, with neither start nor stop nor rated power
    wind = 5.0 * np.sqrt(-np.log((np.arange(200000) + 0.5) / 200000))
    free = dataclasses.replace(ROTOR, start_m_s=1e-9, stop_m_s=1e3, survival_m_s=2e3, rated_W=1e9)
    ratio = wind_power_W(free, wind, 1.225).mean() / wind_power_W(free, wind.mean(), 1.225)
    assert ratio == pytest.approx(6.0 / math.pi, rel=1e-3)


def test_limits_of_the_wind():
    power = wind_power_W(ROTOR, np.array([0.0, 3.99, 4.0, 15.0, 19.99, 20.0, 50.0]), 1.225)
    assert (power[[0, 1, 5, 6]] == 0.0).all()
    assert 0.0 < power[2] < power[3] == power[4] == 200.0


def test_a_makers_curve():
    drawn = dataclasses.replace(ROTOR, curve_m_s=(4.0, 8.0, 12.0), curve_W=(5.0, 60.0, 180.0))
    assert wind_power_W(drawn, np.array([8.0, 10.0]), 1.225) == pytest.approx([60.0, 120.0])
    assert wind_power_W(drawn, 8.0, 2.0 * 1.225) == pytest.approx(120.0)


def test_rime_takes_power_until_the_blades_stand():
    power = wind_power_W(ROTOR, 8.0, 1.3, rime=np.array([0.0, 0.2, 0.4, 1.0]))
    assert power / power[0] == pytest.approx([1.0, 0.5, 0.0, 0.0])


def test_a_turbine_once_destroyed_stays_so():
    wind = np.array([[10.0, 46.0, 10.0, 10.0], [10.0, 44.9, 10.0, 30.0]])
    assert destroyed(ROTOR, wind).tolist() == [[False, True, True, True], [False] * 4]


@pytest.mark.parametrize(
    ("change", "sentence"),
    [
        ({"efficiency": 0.6}, "efficiency 0[.]6: expected above 0, up to 16/27"),
        ({"stop_m_s": 3.0}, "expected to rise"),
        ({"diameter_m": 0.0}, "diameter_m 0: expected above 0"),
        ({"curve_m_s": (4.0, 8.0)}, "curve of 2 speeds and 0 powers"),
    ],
)
def test_refusals(change, sentence):
    with pytest.raises(SettingsError, match=sentence):
        dataclasses.replace(ROTOR, **change)
