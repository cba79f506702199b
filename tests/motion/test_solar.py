"""Waves of the sun and of the tide, told apart in invented records."""

from types import SimpleNamespace

import numpy as np
import pytest

from stakeline.constants import NS_PER_DAY
from stakeline.motion.constituents import greenwich_terms
from stakeline.motion.solar import DECIDED, solar_warnings, solar_waves
from stakeline.motion.tide_inference import equilibrium_inference
from stakeline.motion.tides import analyse, predict
from stakeline.time import from_iso

START = from_iso("2031-05-01")
LONGITUDE = np.radians(30.0)  # two hours before Greenwich
NOISE_M = 0.003


def axis_of(days, tide=(), heat_m=0.0, half_day_m=0.0, names=("M2", "S2", "K1", "O1"), seed=3):
    """Return (axis, times): a tide {name: m}, and waves of the sun that are greatest at 15 h."""
    rng = np.random.default_rng(seed)
    time_ns = START + np.arange(days * 24) * NS_PER_DAY // 24
    value = rng.normal(0.0, NOISE_M, len(time_ns))
    for name, size in dict(tide).items():
        value += size * greenwich_terms((name,), time_ns)[:, 0].real
    local = (time_ns % NS_PER_DAY) / NS_PER_DAY + LONGITUDE / (2.0 * np.pi)
    value += heat_m * np.cos(2.0 * np.pi * (local - 15.0 / 24.0))
    value += half_day_m * np.cos(4.0 * np.pi * (local - 15.0 / 24.0))
    infer = () if "S1" in names else (equilibrium_inference("P1", "K1"),)
    tides = analyse(time_ns, value, names=names, infer=infer)
    left = value - predict(tides, time_ns)
    return SimpleNamespace(tides=tides, row_residual_m=left), time_ns


def waves(*args, **options):
    return {w.constituent: w for w in solar_waves(*axis_of(*args, **options), LONGITUDE)}


TIDE = {"M2": 0.05, "S2": 0.02, "O1": 0.01, "K1": 0.014, "P1": 0.014 * 0.331}


@pytest.mark.parametrize("days", [60, 150])
def test_a_tide_is_a_tide(days):
    found = waves(days, TIDE)
    assert found["K1"].log_odds < -DECIDED
    assert found["S2"].ratio == pytest.approx(0.4, abs=0.02)
    assert found["S2"].expected == pytest.approx(0.4653, abs=1e-3)
    assert not any(w.remark for w in found.values())
    assert solar_warnings("up", tuple(found.values())) == ()


@pytest.mark.parametrize("days", [90, 150])
def test_a_heated_mast_follows_the_sun(days):
    found = waves(days, {"M2": 0.05, "S2": 0.02}, heat_m=0.005)
    assert found["K1"].log_odds > DECIDED
    assert found["K1"].remark == "follows the sun and not K1"
    (said,) = solar_warnings("across", tuple(found.values()))
    assert said.startswith("across: K1 ")
    assert "heating of the mast" in said
    assert "melt" not in said


def test_twelve_days_cannot_tell():
    found = waves(12, heat_m=0.005, names=("M2", "K1"))
    assert abs(found["K1"].log_odds) < DECIDED


def test_the_hour_is_that_of_the_maximum():
    # in the middle of the record K1's wave has the phase of the sun's that it stands for
    assert waves(60, heat_m=0.005)["K1"].hour == pytest.approx(15.0, abs=0.5)
    assert waves(60, half_day_m=0.005)["S2"].hour == pytest.approx(3.0, abs=0.3)
    axis, time_ns = axis_of(60, heat_m=0.005)
    assert all(np.isnan(w.hour) for w in solar_waves(axis, time_ns, np.nan))


def test_a_half_day_wave_larger_than_the_moon_allows_is_told():
    assert waves(60, TIDE, half_day_m=0.06)["S2"].remark.endswith("times what M2 lets expect")
    assert waves(60, half_day_m=0.005)["S2"].remark.endswith("times what M2 lets expect")


def test_s1_that_is_seen_is_the_suns():
    names = ("M2", "S2", "K1", "P1", "S1", "O1")
    found = waves(400, TIDE, heat_m=0.004, names=names)
    assert found["S1"].remark.startswith("no tide to speak of")
    assert found["S1"].hour == pytest.approx(15.0, abs=0.5)
    assert not waves(400, TIDE, names=names)["S1"].remark


def test_chance_makes_few_remarks():
    said = [any(w.remark for w in waves(60, seed=seed).values()) for seed in range(30)]
    assert sum(said) <= 2  # noise alone: 3 sigma and odds of 100 to 1, two waves
