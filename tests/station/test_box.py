"""Boxes: published losses, limits, snow and firn, the equation of heat, refusals."""

import dataclasses

import numpy as np
import pytest

from stakeline.errors import SettingsError
from stakeline.station.box import (
    HEATERS,
    YEAR_S,
    Box,
    damping_depth_m,
    film_W_m2_K,
    firn_degC,
    firn_W_m_K,
    loss_in_air_W_K,
    loss_in_snow_W_K,
    rise_K,
    settling_s,
    shape_factor_m,
)

# checks.md 2.2: 0.6 x 0.5 x 0.4 m inside, wall 0.10 m, 0.030 W/(m K), 60 kg at 900 J/(kg K)
BOX = Box(wall_W_m_K=0.030, heat_J_K=60.0 * 900.0)
WALLS_W_K = loss_in_air_W_K(BOX, np.inf)


def test_loss_of_a_box():
    # checks.md 2.2: Langmuir's formula, by hand
    assert shape_factor_m(BOX) == pytest.approx(18.16, abs=1e-9)
    assert pytest.approx(0.5448, abs=1e-9) == WALLS_W_K
    assert loss_in_air_W_K(BOX, 15.0) == pytest.approx(0.5381, abs=1e-4)
    assert rise_K(5.0, WALLS_W_K) == pytest.approx(9.18, abs=0.01)
    assert settling_s(BOX, WALLS_W_K) / 3600.0 == pytest.approx(27.5, abs=0.05)


def test_the_walls_limit_the_loss():
    # checks.md 2.3: 24.7, 43.7, 81.7 W/(m2 K) at 5, 10, 20 m/s
    film = film_W_m2_K(np.array([5.0, 10.0, 20.0]))
    assert film == pytest.approx([24.7, 43.7, 81.7])
    losses = loss_in_air_W_K(BOX, film)
    assert (np.diff(losses) > 0.0).all()
    assert losses[-1] < WALLS_W_K
    thin = dataclasses.replace(BOX, wall_m=1e-4)
    assert shape_factor_m(thin) * 1e-4 == pytest.approx(1.48, rel=1e-3)  # plain plates


def test_snow_insulates_and_deep_snow_more():
    light, dense = (loss_in_snow_W_K(BOX, k, 2.0) for k in (0.1, 0.5))
    assert light < dense < WALLS_W_K
    assert loss_in_snow_W_K(BOX, 0.2, 8.0) < loss_in_snow_W_K(BOX, 0.2, 0.8)
    radius = np.sqrt(2.92 / (4 * np.pi))
    endless = 1.0 / (1.0 / WALLS_W_K + 1.0 / (4 * np.pi * radius * 0.2))
    assert loss_in_snow_W_K(BOX, 0.2, 1e9) == pytest.approx(endless, rel=1e-6)


@pytest.mark.parametrize(
    ("density", "calonne"),
    # checks.md 2.3: evaluated at 300, 350, 400, 500 kg/m3
    [(300, 0.2121), (350, 0.2872), (400, 0.3748), (500, 0.5875)],
)
def test_conductivity_of_snow(density, calonne):
    assert firn_W_m_K(density) == pytest.approx(calonne, abs=6e-5)


def test_the_wave_in_the_firn():
    # checks.md 2.3: 25 m2/a (Giese & Hawley 2015): 2.821 m; 0.170 at 5 m, 0.0289 at 10 m; 206 d
    assert damping_depth_m() == pytest.approx(2.821, abs=1e-3)
    assert damping_depth_m(86400.0) == pytest.approx(0.148, abs=1e-3)
    time_s = np.linspace(0.0, YEAR_S, 20001)
    for depth_m, share in ((5.0, 0.170), (10.0, 0.0289)):
        wave = firn_degC(time_s, depth_m, -30.0, 15.0) + 30.0
        assert wave.max() / 15.0 == pytest.approx(share, abs=5e-4)
    assert time_s[wave.argmax()] / 86400.0 == pytest.approx(206.0, abs=0.5)


def test_the_wave_obeys_the_equation_of_heat():
    t, z, dt, dz = 0.3 * YEAR_S, 2.0, 3600.0, 0.01
    rate = firn_degC(t + dt, z, -25.0, 20.0) - firn_degC(t - dt, z, -25.0, 20.0)
    bend = (
        firn_degC(t, z + dz, -25.0, 20.0)
        - 2.0 * firn_degC(t, z, -25.0, 20.0)
        + firn_degC(t, z - dz, -25.0, 20.0)
    )
    assert rate / (2.0 * dt) == pytest.approx(25.0 / YEAR_S * bend / dz**2, rel=1e-3)
    assert firn_degC(t, 1e3, -25.0, 20.0) == pytest.approx(-25.0)
    assert firn_degC(0.0, 0.0, -25.0, 20.0) == pytest.approx(-5.0)


def test_cautions_of_heaters():
    assert HEATERS in BOX.cautions


@pytest.mark.parametrize(
    ("call", "sentence"),
    [
        (lambda: Box(wall_m=0.0), "expected three edges, all above 0"),
        (lambda: Box(inner_m=(0.6, 0.5)), "expected three edges"),
        (lambda: Box(heater_on_degC=5.0, heater_off_degC=-5.0), "off warmer than on"),
        (lambda: loss_in_snow_W_K(BOX, 0.2, 0.3), "centre deeper than 0[.]48 m"),
        (lambda: firn_W_m_K(920.0), "snow of 920 kg/m3: expected above 0, up to 917"),
        (lambda: Box(air_m3_h=-1.0), "air_m3_h -1: expected 0 or more"),
        (lambda: damping_depth_m(0.0), "period_s 0"),
    ],
)
def test_refusals(call, sentence):
    with pytest.raises(SettingsError, match=sentence):
        call()
