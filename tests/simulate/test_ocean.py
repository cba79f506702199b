"""The ocean's tide of the invented world, against published speeds and a second way."""

import erfa
import numpy as np
import pytest

from stakeline.simulate import ocean
from stakeline.simulate.ocean import Tide, flexure, make_tide
from stakeline.time import from_calendar, julian_tt, julian_utc

START_NS = from_calendar(2030, 5, 1)
HOUR_NS = 3600 * 10**9
NAMES = list(ocean.ARGUMENTS)


def hours(count, step=1.0):
    """Return times (count,) from the start. [ns]"""
    return START_NS + (np.arange(count) * step * HOUR_NS).astype(np.int64)


def only(name, amplitude_m=1.0, lag_rad=0.0):
    """Return a tide of one constituent."""
    amplitude = np.where(np.array(NAMES) == name, amplitude_m, 0.0)
    return Tide(amplitude, np.full(len(NAMES), lag_rad))


@pytest.mark.parametrize(
    ("name", "speed"),
    [
        # Schureman (1958), Special Publication 98, table 2
        ("M2", 28.9841042),
        ("S2", 30.0),
        ("N2", 28.4397295),
        ("K2", 30.0821373),
        ("K1", 15.0410686),
        ("O1", 13.9430356),
        ("P1", 14.9589314),
        ("Mf", 1.0980331),
    ],
)
def test_speeds(name, speed):
    assert ocean.speeds_deg_h()[name] == pytest.approx(speed, abs=1e-7)
    # a tide of one constituent moves by that speed; nodal angle: 24 deg in 18.6 years at most
    _, phase = ocean.arguments(hours(2, 2400.0))
    moved = np.degrees(np.diff(phase[:, NAMES.index(name)])[0]) % 360.0
    away = (moved - 2400.0 * speed + 180.0) % 360.0 - 180.0
    assert abs(away) < 24.0 * 2.0 * np.pi * 100.0 / 6798.0 + 1e-3


def test_mean_longitudes_are_those_of_the_iers_conventions():
    time_ns = hours(6, 24.0 * 200.0)
    centuries = (np.array(julian_tt(time_ns)).sum(axis=0) - 2451545.0) / 36525.0
    # Simon et al. (1994) as in IERS Conventions (2010), eq. 5.43, through erfa
    el, f, d, om = (
        np.degrees(fun(centuries)) for fun in (erfa.fal03, erfa.faf03, erfa.fad03, erfa.faom03)
    )
    expected = np.stack([f + om, f + om - d, f + om - el, om], axis=1)
    away = (ocean.longitudes_deg(time_ns) - expected + 180.0) % 360.0 - 180.0
    # 70 s between UTC and TT move the Moon by 0.011 deg
    assert np.abs(away).max() < 0.015


def test_arguments_follow_sidereal_time():
    time_ns = hours(30, 7.3)
    utc, tt = julian_utc(time_ns), julian_tt(time_ns)
    sidereal = erfa.gmst06(*np.broadcast_arrays(*utc, *tt))
    s, h, p, n = np.radians(ocean.longitudes_deg(time_ns)).T
    _, phase = ocean.arguments(time_ns)
    # tide-raising bodies by their mean hour angle: Doodson (1921), Proc. R. Soc. A 100
    expected = {
        "M2": 2.0 * (sidereal - s) - np.radians(2.1) * np.sin(n),
        "S2": 2.0 * (sidereal - h),
        "N2": 2.0 * (sidereal - s) - (s - p) - np.radians(2.1) * np.sin(n),
        "K1": sidereal - np.pi / 2.0 - np.radians(8.9) * np.sin(n),
        "O1": sidereal - 2.0 * s + np.pi / 2.0 + np.radians(10.8) * np.sin(n),
    }
    for name, angle in expected.items():
        away = np.angle(np.exp(1j * (phase[:, NAMES.index(name)] - angle)))
        # precession of the equinox in sidereal time and UT1 - UTC: some 0.01 deg
        assert np.degrees(np.abs(away)).max() < 0.05, name


def test_moon_stands_highest_in_2025():
    time_ns = from_calendar(2016, 1, 1) + np.arange(0, 6700, 10) * 24 * HOUR_NS
    factor, _ = ocean.arguments(time_ns)
    years = 2016.0 + np.arange(0, 6700, 10) / 365.25
    # major lunar standstill of January 2025 (from memory): O1 greatest, M2 least
    assert years[np.argmax(factor[:, NAMES.index("O1")])] == pytest.approx(2025.1, abs=0.2)
    assert years[np.argmin(factor[:, NAMES.index("M2")])] == pytest.approx(2025.1, abs=0.2)
    assert np.all(factor[:, NAMES.index("S2")] == 1.0)


def test_tide_is_a_sum_with_its_amplitudes():
    tide = make_tide(np.random.default_rng(5))
    time_ns = hours(24 * 400)
    parts = tide.parts_m(time_ns)
    np.testing.assert_allclose(parts.sum(axis=1), tide.height_m(time_ns), atol=1e-12)
    np.testing.assert_array_equal(tide.height_m(time_ns.reshape(2, -1)).ravel(),
                                  tide.height_m(time_ns))  # fmt: skip
    # f of K2 departs from 1 by 0.31 at most (Pugh 1987, table 4:3)
    assert np.all(np.abs(parts.std(axis=0) * np.sqrt(2.0) / tide.amplitude_m - 1.0) < 0.5)
    assert tide.amplitude_m[0] == pytest.approx(0.45, rel=0.3)  # invented mean
    again, other = (make_tide(np.random.default_rng(seed)) for seed in (5, 6))
    assert again.amplitude_m.tobytes() == tide.amplitude_m.tobytes()
    assert again.lag_rad.tobytes() == tide.lag_rad.tobytes()
    assert not np.any(other.amplitude_m == tide.amplitude_m)


@pytest.mark.parametrize(
    ("thickness_m", "b_m"), [(200.0, 1.4063e-3), (500.0, 7.0731e-4), (1000.0, 4.2057e-4)]
)
def test_wave_number_of_bending(thickness_m, b_m):
    # Holdsworth (1969) with E 0.88 GPa of Vaughan (1995), nu 0.3, water 1028: worked by hand
    assert ocean.beam_b_m(thickness_m) == pytest.approx(b_m, rel=5e-5)


def test_flexure_of_a_clamped_beam():
    # Holdsworth (1969): 1 - exp(-bx)(cos bx + sin bx), worked by hand
    bx = np.array([0.5, 1.0, np.pi / 2, 2.0, 3.0, np.pi, 4.0])
    expected = [0.17693, 0.49167, 0.79212, 0.93326, 1.04226, 1.04321, 1.02583]
    np.testing.assert_allclose(flexure(bx / ocean.beam_b_m(480.0)), expected, atol=1e-5)


def test_flexure_satisfies_the_equation_of_the_beam():
    x = np.linspace(500.0, 12000.0, 24)
    step, b = 50.0, ocean.beam_b_m(480.0)
    weights = {-2: 1, -1: -4, 0: 6, 1: -4, 2: 1}
    fourth = sum(c * flexure(x + k * step) for k, c in weights.items())
    # E I w'''' = rho g (tide - w), so w'''' = 4 b^4 (1 - w): Timoshenko, beams on elastic ground
    np.testing.assert_allclose(fourth / step**4, 4.0 * b**4 * (1.0 - flexure(x)), atol=2e-3 * b**4)


def test_flexure_on_grounded_ice():
    x = np.linspace(-40000.0, 0.0, 2001)
    share = flexure(x)
    # invented: sinks by 2 % at most, nothing far up, joins with value and slope
    assert share.max() <= 0.0
    assert share.min() == pytest.approx(-0.02, rel=1e-3)
    assert abs(share[0]) < 1e-6
    assert share[-1] == 0.0
    assert abs(flexure(-1.0) - flexure(1.0)) < 2e-6
    assert flexure(30000.0) == pytest.approx(1.0, abs=1e-8)


def test_answer_dies_out_up_glacier_and_comes_later():
    tide, time_ns = only("M2", 0.45), hours(24 * 60, 0.25)
    size, phase = [], []
    carrier = np.exp(-1j * tide_phase(time_ns, "M2"))
    for grounding_m in (5000.0, 0.0, -8000.0, -16000.0):
        wave = tide.answer_m(time_ns, grounding_m)
        line = 2.0 * np.mean((wave - wave.mean()) * carrier)
        size.append(abs(line))
        phase.append(np.angle(line))
    factor = ocean.arguments(time_ns)[0][:, 0].mean()
    # description of the campaign: some cm at the grounding line, e-folding over 8 km
    assert size[0] == pytest.approx(size[1], rel=1e-12)
    assert size[1] == pytest.approx(0.09 * 0.45 * factor, rel=0.02)
    assert size[2] / size[1] == pytest.approx(np.exp(-1.0), rel=0.02)
    assert size[3] / size[2] == pytest.approx(np.exp(-1.0), rel=0.02)
    later_h = np.degrees(phase[2] - phase[3]) / 28.9841042
    assert later_h == pytest.approx(8000.0 / 2.5 / 3600.0, rel=0.05)


def tide_phase(time_ns, name):
    """Return the argument of a constituent. [rad]"""
    return ocean.arguments(time_ns)[1][:, NAMES.index(name)]


def test_slow_answer_has_the_period_of_springs_and_neaps():
    tide, time_ns = only("Mf", 0.0), hours(24 * 60, 0.5)
    wave = tide.answer_m(time_ns, -14000.0)
    # amplitude invented; e-folding 14 km
    assert np.abs(wave).max() == pytest.approx(0.03 * np.exp(-1.0), rel=1e-3)
    tops = np.flatnonzero((wave[1:-1] > wave[:-2]) & (wave[1:-1] >= wave[2:]))
    # 14.7653 d: Schureman (1958), from the speeds of M2 and S2
    assert np.diff(tops).mean() * 0.5 / 24.0 == pytest.approx(14.7653, abs=0.05)


def test_moving_ice_takes_each_instant_at_its_own_distance():
    tide, time_ns = make_tide(np.random.default_rng(1)), hours(50)
    grounding = np.linspace(-6000.0, 2000.0, 50)
    both = tide.answer_m(time_ns, grounding), tide.lift_m(time_ns, grounding)
    for k in (0, 20, 49):
        alone = tide.answer_m(time_ns[k : k + 1], grounding[k])[0]
        assert both[0][k] == pytest.approx(alone, abs=1e-12)
        alone = tide.lift_m(time_ns[k : k + 1], grounding[k])[0]
        assert both[1][k] == pytest.approx(alone, abs=1e-12)
