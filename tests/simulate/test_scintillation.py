"""Scintillation: bursts where and when they were asked for, and what they do to observations."""

from dataclasses import replace

import numpy as np
import pytest

from stakeline.constants import NS_PER_DAY
from stakeline.simulate.observe import observe
from stakeline.simulate.receiver import Receiver
from stakeline.simulate.scintillation import (
    MAGNETIC_MIDNIGHT_S,
    Burst,
    Scintillation,
    Trouble,
    fade,
    make_scintillation,
)

BURST = Burst(3600.0, 7200.0, np.pi, 0.9, 0.4, 0.3, waves=((0.4, 120.0, 0.0, 0.0),))


def trouble_of(fading, phase, count=200_000):
    return Trouble(np.ones(count), np.full(count, fading), np.full(count, phase), np.zeros(count))


def test_a_burst_has_its_time_and_its_patch_of_sky():
    time_s = np.array([3600.0, 5400.0, 7200.0, 5400.0, 5400.0, 4500.0])
    azimuth = np.array([np.pi, -np.pi, np.pi, np.pi - 0.9, 0.0, np.pi])
    share = BURST.share(time_s, azimuth)
    np.testing.assert_allclose(share, [0.0, 1.0, 0.0, 0.0, 0.0, 0.5], atol=1e-12)
    trouble = Scintillation((BURST,)).trouble(time_s, azimuth)
    np.testing.assert_allclose(trouble.fading, 0.4 * share, atol=1e-12)
    np.testing.assert_allclose(trouble.phase_rad, 0.3 * share, atol=1e-12)
    assert Scintillation().trouble(time_s, azimuth) is None


@pytest.mark.parametrize("wavelength", [0.19029, 0.25483])
def test_fades_have_the_index_asked_for(wavelength):
    trouble = trouble_of(0.3, 0.2)
    change, noise = fade(np.random.default_rng(1), trouble, np.full(200_000, wavelength))
    power = 10.0 ** (change / 10.0)
    # S4 is sigma over mean of the power, growing with wavelength by 1.5: Rino (1979)
    expected = 0.3 * (wavelength / 0.19029) ** 1.5
    assert power.std() / power.mean() == pytest.approx(expected, rel=0.02)
    assert power.mean() == pytest.approx(1.0, abs=0.01)
    radians = noise.std() * 2.0 * np.pi / wavelength
    assert radians == pytest.approx(0.2 * wavelength / 0.19029, rel=0.02)


def test_bursts_gather_about_magnetic_midnight():
    days = 200.0
    rng = np.random.default_rng(2)
    bursts = make_scintillation(rng, 6 * 3600 * 10**9, days * 86400.0, 3.0).bursts
    assert abs(len(bursts) - 3.0 * days) < 4.0 * np.sqrt(3.0 * days)  # a Poisson number
    length = np.array([b.end_s - b.begin_s for b in bursts])
    assert 180.0 <= length.min() < length.max() <= 3600.0
    hour = np.array([0.5 * (b.begin_s + b.end_s) / 3600.0 + 6.0 for b in bursts])
    away = np.abs((hour - MAGNETIC_MIDNIGHT_S / 3600.0 + 12.0) % 24.0 - 12.0)
    assert 0.65 < np.mean(away < 5.0) < 0.9
    start = 40 * NS_PER_DAY
    one, same, other = (make_scintillation(np.random.default_rng(s), start, 9e4) for s in (1, 1, 2))
    assert one == same != other


def test_a_burst_disturbs_what_is_inside_and_nothing_else(world, make_station):
    receiver = Receiver(slips_a_day=0.0, dropout_share=0.0)
    calm = make_station(receiver)
    everywhere = replace(BURST, half_width_rad=100.0)
    wild = replace(calm, scintillation=Scintillation((everywhere,), 30.0, 0.3))
    (still, _), (rough, truth) = (
        observe(np.random.default_rng(3), world, station) for station in (calm, wild)
    )
    assert truth.bursts == (everywhere,)
    assert len(truth.slips) > 20
    second = (truth.time_ns - world.sky.start_ns) / 1e9
    times = np.array([s.time_ns for s in truth.slips if set(s.cycles) != {0, -0.5}])
    assert (times - world.sky.start_ns >= 3600 * 10**9).all()
    inside = (second > 4800.0) & (second < 6000.0)
    count = [np.diff(o.row_start)[inside].mean() for o in (still, rough)]
    assert 0.6 < count[1] / count[0] < 0.85  # three tenths are lost in the middle
    before = second < 3500.0
    count = [np.diff(o.row_start)[before].sum() for o in (still, rough)]
    assert count[0] == count[1]
