"""Reflections: published frequencies, heights put in come out, noise gives none."""

import numpy as np
import pytest

from stakeline.constants import FREQUENCY_HZ, NS_PER_DAY, NS_PER_S, SPEED_OF_LIGHT_M_S
from stakeline.errors import SettingsError
from stakeline.signals._reflection_kernels import powers, without_trend
from stakeline.signals.reflections import (
    agreed_height,
    arc_heights,
    bent_elevation,
    daily_heights,
    joined,
    reflecting_distance_m,
    swings_per_sine,
)
from stakeline.simulate.atmosphere import make_air, make_ionosphere
from stakeline.simulate.ground import Place
from stakeline.simulate.motion import Motion
from stakeline.simulate.observe import Station, make_world, observe
from stakeline.simulate.receiver import Receiver
from stakeline.simulate.sight import line_of_sight
from stakeline.tables import SYSTEMS
from stakeline.time import from_calendar

L1_M = SPEED_OF_LIGHT_M_S / FREQUENCY_HZ["G1"]
L2_M = SPEED_OF_LIGHT_M_S / FREQUENCY_HZ["G2"]
L5_M = SPEED_OF_LIGHT_M_S / FREQUENCY_HZ["G5"]
CENTIMETRE = 0.01


@pytest.mark.parametrize(
    ("wavelength_m", "height_m", "swings"),
    # checks.md 4.9: formula in several papers, numbers by arithmetic
    [
        (L1_M, 1.0, 10.5101),
        (L1_M, 2.0, 21.0201),
        (L1_M, 3.0, 31.5302),
        (L1_M, 4.0, 42.0403),
        (L2_M, 1.0, 8.1897),
        (L2_M, 2.0, 16.3793),
        (L2_M, 3.0, 24.5690),
        (L2_M, 4.0, 32.7587),
        (L5_M, 2.0, 15.6969),
    ],
)
def test_published_swings(wavelength_m, height_m, swings):
    assert swings_per_sine(height_m, wavelength_m) == pytest.approx(swings, abs=6e-5)


def test_published_reflecting_distance():
    # checks.md 4.9: height 2 m, elevation 5 deg: 22.9 m away
    assert reflecting_distance_m(2.0, np.radians(5.0)) == pytest.approx(22.9, abs=0.05)


def test_bending_of_the_air():
    # Saemundsson (1986), Sky & Telescope 72, 70: 9.9 arcmin at 5 deg, 2.1 at 25 deg in standard
    # air (values of the usual refraction tables, from memory)
    bend = bent_elevation(np.radians([5.0, 25.0])) - np.radians([5.0, 25.0])
    assert np.degrees(bend) * 60.0 == pytest.approx([9.7, 2.1], abs=0.3)


def test_bent_waves_go_through_less_sine():
    # the swing counts in the sine of the bent elevation: without the bend heights are too small
    straight = np.radians([5.0, 25.0])
    share = np.diff(np.sin(bent_elevation(straight)))[0] / np.diff(np.sin(straight))[0]
    assert share == pytest.approx(1.0 - 0.007, abs=0.001)


def passes(rng, height_m, wavelength_m, *, count=12, amplitude=0.15, noise_dB=0.7, interval_s=30.0):
    """Return columns of invented passes: each rises from 2 to 40 deg and falls again."""
    columns = []
    for k in range(count):
        top, hours = np.radians(rng.uniform(30.0, 70.0)), rng.uniform(5.0, 7.0)
        time_s = np.arange(0.0, hours * 3600.0, interval_s)
        elevation = top * np.sin(np.pi * time_s / time_s[-1])
        sine = np.sin(elevation)
        strength = 34.0 + 16.0 * np.maximum(sine, 0.0) ** 0.7
        wave = amplitude * np.exp(-elevation / np.radians(20.0) + rng.uniform(0, 6.28) * 1j)
        wave = wave * np.exp(4j * np.pi * height_m * sine / wavelength_m)
        strength = strength + 20.0 * np.log10(np.abs(1.0 + wave))
        strength = strength + rng.normal(0.0, noise_dB, strength.size)
        start_s = rng.uniform(0.0, 86400.0 - hours * 3600.0)
        time_ns = ((start_s + time_s) * NS_PER_S).astype(np.int64)
        columns.append((time_ns, np.full(time_s.size, k + 1), elevation, strength))
    return [np.concatenate(c) for c in zip(*columns, strict=True)]


def test_sine_waves_take_what_least_squares_with_a_trend_gives_them():
    # second formula: the fall of the squares as cosine and sine join the cubic, by the library
    rng = np.random.default_rng(2)
    x, y = np.sort(rng.uniform(0.1, 0.5, 30)), 30.0 + rng.normal(size=30)
    own_x, own_y, trend = x.copy(), y.copy(), np.empty((4, 30))
    total = without_trend(own_x, own_y, trend, np.ptp(x))
    cubic = np.vander(x, 4)

    def left(*columns):
        columns = np.column_stack([cubic, *columns])
        return np.linalg.lstsq(columns, y / y.mean(), rcond=None)[1][0]

    assert total == pytest.approx(left(), rel=1e-9)
    work, turn, heights = np.empty((16, 5)), 4.0 * np.pi / L1_M, 0.9 + 0.07 * np.arange(5)
    powers(own_x, own_y, trend, turn, 0.9, 0.07, 5, work)
    for height, power in zip(heights, work[0], strict=True):
        wave = left(np.cos(turn * height * x), np.sin(turn * height * x))
        assert power == pytest.approx(left() - wave, rel=1e-9)


@pytest.mark.compiled
@pytest.mark.parametrize("height_m", [0.45, 0.6, 0.9, 1.3, 2.0, 3.1, 5.2])
@pytest.mark.parametrize("wavelength_m", [L1_M, L2_M])
def test_height_put_in_comes_out(height_m, wavelength_m):
    rng = np.random.default_rng(round(100 * height_m))
    arcs = arc_heights(*passes(rng, height_m, wavelength_m), wavelength_m)
    day = daily_heights(arcs)
    few = height_m < 3.5 * wavelength_m  # below, the trend takes part of the few swings
    within = 2.5 * day.sigma_m[0] if few else 2.0 * CENTIMETRE
    assert day.height_m[0] == pytest.approx(height_m, abs=within)
    assert 0.0 < day.sigma_m[0] < (8.0 if few else 1.5) * CENTIMETRE
    assert day.used[0] >= (5 if few else 10)
    assert agreed_height(arcs, np.ones(len(arcs), bool))[0] == day.height_m[0]
    assert np.isnan(agreed_height(arcs, np.zeros(len(arcs), bool))[0])


@pytest.mark.compiled
def test_error_bars_are_those_of_repeated_days():
    rng = np.random.default_rng(31)
    single, daily = [], []
    for _ in range(25):
        arcs = arc_heights(*passes(rng, 1.8, L1_M, count=10), L1_M)
        found = np.isfinite(arcs.height_m)
        single += list((arcs.height_m[found] - 1.8) / arcs.sigma_m[found])
        day = daily_heights(arcs)
        daily.append((day.height_m[0] - 1.8) / day.sigma_m[0])
    # single ones are some 20 % too small, because the reflection fades across the arc
    assert 1.4826 * np.median(np.abs(single)) == pytest.approx(1.15, abs=0.25)
    assert np.sqrt(np.mean(np.square(daily))) == pytest.approx(1.0, abs=0.4)


@pytest.mark.compiled
def test_noise_alone_gives_no_height():
    rng = np.random.default_rng(5)
    arcs = [arc_heights(*passes(rng, 2.0, L1_M, amplitude=0.0), L1_M) for _ in range(12)]
    wrong = sum(np.isfinite(a.height_m).sum() for a in arcs)
    assert sum(map(len, arcs)) > 250
    assert wrong <= 3
    assert all(np.isnan(daily_heights(a).height_m).all() for a in arcs)
    assert "no swing stands out of the noise" in arcs[0].refused


@pytest.mark.compiled
def test_red_noise_alone_gives_no_height_of_a_day():
    rng = np.random.default_rng(6)
    for _ in range(6):
        columns = passes(rng, 2.0, L1_M, amplitude=0.0, noise_dB=0.3)
        columns[3] = columns[3] + 0.05 * np.cumsum(rng.normal(size=columns[3].size))
        assert np.isnan(daily_heights(arc_heights(*columns, L1_M)).height_m).all()


@pytest.mark.compiled
def test_passes_that_disagree_give_no_height():
    rng = np.random.default_rng(7)
    parts = []
    for k in range(10):
        columns = passes(rng, rng.uniform(0.6, 6.0), L1_M, count=1)
        columns[1] = columns[1] + k
        parts.append(arc_heights(*columns, L1_M))
    day = daily_heights(joined(*parts))
    assert day.passes[0] >= 4
    assert np.isnan(day.height_m[0])


@pytest.mark.compiled
def test_a_few_wrong_passes_do_not_pull():
    rng = np.random.default_rng(8)
    good = passes(rng, 2.0, L1_M, count=10)
    bad = passes(rng, 4.5, L1_M, count=2)
    bad[1] = bad[1] + 50
    arcs = joined(arc_heights(*good, L1_M), arc_heights(*bad, L1_M))
    day = daily_heights(arcs)
    assert day.height_m[0] == pytest.approx(2.0, abs=2.0 * CENTIMETRE)
    assert day.used[0] <= day.passes[0] - 2


@pytest.mark.compiled
def test_two_bands_of_a_pass_are_one_pass():
    rng = np.random.default_rng(9)
    columns = passes(rng, 2.0, L1_M, count=8)
    arcs = arc_heights(*columns, L1_M)
    once, twice = daily_heights(arcs), daily_heights(joined(arcs, arcs))
    assert twice.passes[0] == once.passes[0]
    # passes count as surer by the root of two, and one more may be left out
    assert twice.height_m[0] == pytest.approx(once.height_m[0], abs=0.5 * CENTIMETRE)
    assert twice.sigma_m[0] == pytest.approx(once.sigma_m[0], rel=0.3)


@pytest.mark.compiled
def test_snow_falls_and_the_days_follow():
    rng = np.random.default_rng(10)
    parts = []
    for k, height_m in enumerate((2.2, 2.2, 1.9, 1.9)):
        columns = passes(rng, height_m, L1_M)
        columns[0] = columns[0] + k * NS_PER_DAY
        if k != 1:
            parts.append(arc_heights(*columns, L1_M))
    day = daily_heights(joined(*parts))
    assert day.height_m[[0, 2, 3]] == pytest.approx([2.2, 1.9, 1.9], abs=2.0 * CENTIMETRE)
    assert np.isnan(day.height_m[1])
    assert day.passes[1] == 0


@pytest.mark.compiled
def test_order_and_gaps_do_not_matter():
    rng = np.random.default_rng(11)
    columns = passes(rng, 2.0, L1_M)
    shuffled = rng.permutation(columns[0].size)
    one = arc_heights(*columns, L1_M)
    other = arc_heights(*(c[shuffled] for c in columns), L1_M)
    assert np.array_equal(one.height_m, other.height_m, equal_nan=True)
    columns[3] = np.where(rng.random(columns[3].size) < 0.3, np.nan, columns[3])
    holed = daily_heights(arc_heights(*columns, L1_M))
    assert holed.height_m[0] == pytest.approx(2.0, abs=2.0 * CENTIMETRE)


@pytest.mark.compiled
def test_arcs_that_cannot_tell_say_why():
    rng = np.random.default_rng(12)
    columns = passes(rng, 2.0, L1_M, count=1)
    few = arc_heights(*(c[::12] for c in columns), L1_M)
    assert set(few.refused) == {"too few samples"}
    dense = passes(rng, 2.0, L1_M, count=1, interval_s=5.0)
    short = (dense[2] > np.radians(5.0)) & (dense[2] < np.radians(8.0))
    arcs = arc_heights(*(c[short] for c in dense), L1_M, tallest_m=3.0)
    assert set(arcs.refused) == {"too short for the heights that are possible"}
    buried = arc_heights(*passes(rng, 0.1, L1_M), L1_M)
    assert np.isnan(daily_heights(buried).height_m).all()
    tall = arc_heights(*passes(rng, 4.0, L1_M), L1_M, tallest_m=3.0)
    assert np.isnan(daily_heights(tall).height_m).all()
    nothing = arc_heights(*(c[:0] for c in columns), L1_M)
    assert len(nothing) == 0
    assert daily_heights(nothing).height_m.size == 0
    with pytest.raises(SettingsError, match=r"heights from 3.0 to 1.0 m"):
        arc_heights(*columns, L1_M, shortest_m=3.0, tallest_m=1.0)


@pytest.mark.compiled
def test_mast_of_an_invented_station_is_found():
    # strengths as the invented receiver writes them, elevations from the invented orbits
    place = Place(np.radians(79.1), np.radians(-22.0), 420.0)
    by_world, by_air, by_data = np.random.default_rng(21).spawn(3)
    world = make_world(by_world, from_calendar(2031, 7, 12), 43200.0)
    air = make_air(by_air, place, world.duration_s)
    ionosphere = make_ionosphere(by_air)
    for mast_m in (1.6, 2.7):
        receiver = Receiver(mast_m=mast_m)
        station = Station("HV01", Motion(place), 1.5, air, ionosphere, receiver)
        data, truth = observe(by_data, world, station, 60.0)
        time_s = (data.time_ns - world.sky.start_ns) / NS_PER_S
        position_m = truth.position_m + 1.5 * place.axes[2]
        away = line_of_sight(world, position_m, time_s) - position_m[:, None]
        elevation = np.arcsin(away @ place.axes[2] / np.linalg.norm(away, axis=2))
        epoch = np.repeat(np.arange(len(data)), np.diff(data.row_start))
        column = np.searchsorted(world.constellation.satellites, data.satellite)
        columns = data.time_ns[epoch], data.satellite, elevation[epoch, column]
        arcs = [arc_heights(*columns, *band) for band in two_bands(data)]
        day = daily_heights(joined(*arcs))
        assert day.height_m[0] == pytest.approx(mast_m, abs=2.0 * CENTIMETRE)
        assert abs(day.height_m[0] - mast_m) < 3.5 * day.sigma_m[0]


def two_bands(data):
    """Yield strengths (rows,) and wavelengths (rows,) of the two signals of each satellite."""
    letters = np.array([SYSTEMS[s // 100] for s in data.satellite.astype(int)])
    for slot in (0, 1):
        strength, wavelength = np.full(letters.size, np.nan), np.ones(letters.size)
        for letter, codes in data.codes.items():
            code = [c for c in codes if c[0] == "S"][slot]
            rows = letters == letter
            strength[rows] = data.value[rows, codes.index(code)]
            wavelength[rows] = SPEED_OF_LIGHT_M_S / FREQUENCY_HZ[letter + code[1]]
        yield strength, wavelength
