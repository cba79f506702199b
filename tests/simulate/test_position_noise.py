"""Noise of positions: laws of its parts, any step, the same seed, the sizes asked for."""

import numpy as np
import pytest
from scipy.linalg import toeplitz

from stakeline.errors import SettingsError
from stakeline.simulate import position_noise as noise
from stakeline.simulate.position_noise import (
    Extras,
    common_noise,
    flicker_level_m2,
    mean_share,
    modes,
    noise_of_positions,
    smoothed_markov,
    within_a_day,
)
from stakeline.time import from_calendar

START_NS = from_calendar(2030, 5, 1)
QUIET = Extras(0.0)


def rng(seed=1):
    return np.random.default_rng(seed)


def times(count, step_s):
    return START_NS + np.arange(count) * round(step_s * 1e9)


def correlation(series, lag):
    """Autocorrelation of a series (n, m) of mean 0, all columns together."""
    return np.mean(series[:-lag] * series[lag:]) / np.mean(series**2)


def law(memories_s, lag_s):
    rate, covariance = modes(memories_s)
    return float(covariance.sum(axis=1) @ np.exp(-rate * lag_s))


def test_one_memory_is_a_gauss_markov_process():
    # AR(1): autocorrelation exp(-t / memory), from the definition of the process
    series = smoothed_markov(rng(), np.arange(20000) * 60.0, (600.0,), np.full(8, 0.005))
    np.testing.assert_allclose(series.std(), 0.005, rtol=0.02)
    for lag in (1, 5, 10, 20):
        np.testing.assert_allclose(correlation(series, lag), np.exp(-lag / 10.0), atol=0.02)


@pytest.mark.parametrize("memories_s", [noise.LEVEL_MEMORIES_S, noise.UP_MEMORIES_S])
def test_the_correlation_belongs_to_the_spectrum(memories_s):
    # Wiener-Khinchin: the transform of the product of 1 / (1 + (2 pi f memory)2)
    frequency = np.arange(0.0, 0.05, 1e-6)
    power = np.prod([1.0 / (1.0 + (2 * np.pi * frequency * m) ** 2) for m in memories_s], axis=0)
    for lag_s in (0.0, 300.0, 1800.0, 7200.0):
        found = np.trapezoid(power * np.cos(2 * np.pi * frequency * lag_s), frequency)
        found /= np.trapezoid(power, frequency)
        np.testing.assert_allclose(law(memories_s, lag_s), found, atol=1e-6)


def test_uneven_and_even_steps_have_one_law():
    memories, lag_s = (3000.0, 900.0), 1200.0
    even = smoothed_markov(rng(2), np.arange(3000) * lag_s, memories, np.ones(20))
    np.testing.assert_allclose(correlation(even, 1), law(memories, lag_s), atol=0.02)
    gaps = rng(3).choice([lag_s, 1771.7], 3000)
    uneven = smoothed_markov(rng(4), np.cumsum(gaps), memories, np.ones(20))
    np.testing.assert_allclose(uneven.std(), 1.0, rtol=0.02)
    short = gaps[1:] == lag_s
    for chosen, lag in ((short, lag_s), (~short, 1771.7)):
        found = np.mean((uneven[:-1] * uneven[1:])[chosen]) / np.mean(uneven**2)
        np.testing.assert_allclose(found, law(memories, lag), atol=0.03)


def test_gaps_are_cut_from_the_even_series():
    whole = np.arange(500) * 3600.0
    kept = np.flatnonzero(rng(5).random(500) < 0.7)
    kept = np.union1d(kept, [0, 1, 499])
    full = smoothed_markov(rng(6), whole, (5000.0, 900.0), np.ones(3))
    some = smoothed_markov(rng(6), whole[kept], (5000.0, 900.0), np.ones(3))
    np.testing.assert_array_equal(some, full[kept])


def test_a_thinned_series_is_as_one_made_at_the_coarse_step():
    fine = within_a_day(rng(7), np.arange(0.0, 60 * 86400.0, 30.0))[::120]
    coarse = within_a_day(rng(8), np.arange(0.0, 600 * 86400.0, 3600.0))
    for column, memories in (
        (slice(0, 2), noise.LEVEL_MEMORIES_S),
        (slice(2, 3), noise.UP_MEMORIES_S),
    ):
        np.testing.assert_allclose(
            fine[:, column].std(), coarse[:, column].std(), rtol=0.08
        )  # 1440 hours, half of them independent: sigma to 3 %
        for series, room in ((fine, 0.1), (coarse, 0.03)):
            found = correlation(series[:, column], 1)
            np.testing.assert_allclose(found, law(memories, 3600.0), atol=room)


def test_means_over_a_day_have_the_share_that_is_said():
    for memories in (noise.LEVEL_MEMORIES_S, noise.UP_MEMORIES_S):
        series = smoothed_markov(rng(9), np.arange(0.0, 400 * 86400.0, 600.0), memories, np.ones(4))
        means = series.reshape(400, 144, 4).mean(axis=1)
        # 1600 means: sigma to 2 %; sums for integrals over 600 s are off by less
        np.testing.assert_allclose(means.std(), mean_share(memories, 86400.0), rtol=0.08)


def test_flicker_costs_a_rate_what_the_fractional_definition_does():
    """A rate from 1096 daily positions by generalised least squares with the sum of processes."""
    lag_s = 86400.0 * np.arange(1096)
    factor, parts = noise.FLICKER_FACTOR, noise.FLICKER_PARTS
    memory_s = noise.SHORTEST_FLICKER_S * factor ** np.arange(parts)
    level = flicker_level_m2(0.005) * np.log(factor)
    covariance = toeplitz(level * np.exp(-lag_s[:, None] / memory_s).sum(axis=1))
    year = lag_s / (365.25 * 86400.0)
    design = np.stack([np.ones_like(year), year], axis=1)
    sigma = np.sqrt(np.linalg.inv(design.T @ np.linalg.solve(covariance, design))[1, 1])
    # 0.5320 mm/a by generalised least squares with fractional differences that begin at 0, for
    # 5 mm/a^0.25 (Williams 2003), and 13 to 15 % more by the formula for long stationary series
    # (Bos et al. 2008): a stationary sum of processes belongs between the two
    assert 0.5320 < 1e3 * sigma < 0.5320 * 1.15


def test_flicker_has_the_spectrum_c_over_f():
    memory_s = noise.SHORTEST_FLICKER_S * noise.FLICKER_FACTOR ** np.arange(noise.FLICKER_PARTS)
    frequency = 1.0 / (86400.0 * np.array([60.0, 200.0, 600.0]))
    variance = np.log(noise.FLICKER_FACTOR)  # of each part, where c is 1
    turn = 2.0 * np.pi * frequency[:, None] * memory_s
    power = np.sum(4.0 * variance * memory_s / (1.0 + turn**2), axis=1)
    # the integral over all memories in place of the sum: definition of the spectrum
    np.testing.assert_allclose(power * frequency, 1.0, rtol=0.1)


def test_variances_of_the_parts_add_up():
    time_ns = times(24 * 40, 3600.0)
    found = np.array([noise_of_positions(rng(s), time_ns, extras=QUIET)[0] for s in range(40)])
    level = np.array([noise.LEVEL_SIGMA_M, noise.LEVEL_SIGMA_M, noise.UP_SIGMA_M]) ** 2
    slow = noise.FLICKER_PARTS * np.log(noise.FLICKER_FACTOR)
    slow = slow * flicker_level_m2(noise.OWN_FLICKER_M)
    # of each line's two waves: size2 times 1/2 of time and 1/2 of chance; half as large, 1/2
    daily = np.sum(noise.SIDEREAL_M**2, axis=0) * (1.0 / 4.0 + 1.0 / 8.0)
    np.testing.assert_allclose(np.mean(found**2, axis=(0, 1)), level + slow + daily, rtol=0.2)


def test_sigmas_tell_of_the_noise_within_a_day():
    time_ns = times(24 * 1000, 3600.0)
    error, sigma = noise_of_positions(rng(11), time_ns, extras=QUIET)
    days = error.reshape(1000, 24, 3)
    within = np.sqrt(np.mean(days.var(axis=1, ddof=1), axis=0))
    np.testing.assert_allclose(within, np.sqrt(np.mean(sigma**2, axis=0)), rtol=0.15)
    # both antennas: medians of 4.9 and 13.6 mm, ours lower by the noise that is slower
    np.testing.assert_allclose(np.median(sigma, axis=0) * 1e3, [4.7, 4.7, 12.5], rtol=0.1)
    assert sigma.min() > 0.0


def test_outliers_have_their_share_and_size():
    time_ns = times(50000, 3600.0)
    quiet, sigma = noise_of_positions(rng(12), time_ns, extras=QUIET)
    loud, same = noise_of_positions(rng(12), time_ns, extras=Extras(0.003))
    np.testing.assert_array_equal(sigma, same)
    size = np.linalg.norm((loud - quiet) / sigma, axis=1)
    hit = size > 1e-9
    assert abs(hit.sum() - 150) < 50  # four sigmas of a Poisson number
    assert size[hit].min() > 2.99
    assert size[hit].max() < 10.01


def test_jumps_are_at_midnight_alone():
    time_ns = times(24 * 30, 3600.0)
    quiet, _ = noise_of_positions(rng(13), time_ns, extras=QUIET)
    jumping, _ = noise_of_positions(
        rng(13), time_ns, extras=Extras(0.0, day_jump_m=(0.003, 0.003, 0.01))
    )
    shift = (jumping - quiet).reshape(30, 24, 3)
    np.testing.assert_allclose(shift, shift[:, :1].repeat(24, axis=1), atol=1e-12)
    np.testing.assert_allclose(shift[:, 0].std(axis=0), [0.003, 0.003, 0.01], rtol=0.5)


def test_daily_multipath_comes_again_unless_the_snow_changes():
    sidereal_ns = round(noise.SIDEREAL_DAY_S * 1e9)
    time_ns = START_NS + np.arange(0, sidereal_ns, sidereal_ns // 48, dtype=np.int64)
    still = np.full(time_ns.size, 1.9)
    first = noise._daily_multipath(rng(14), time_ns, still)
    again = noise._daily_multipath(rng(14), time_ns + sidereal_ns, still)
    deeper = noise._daily_multipath(rng(14), time_ns + sidereal_ns, still - 0.14)
    np.testing.assert_allclose(again, first, atol=1e-8)
    assert np.abs(deeper - first).max() > 0.5e-3
    assert np.abs(first).max() < 1.5 * noise.SIDEREAL_M.sum(axis=0).max() + 1e-12


def test_common_noise_is_of_the_instant_and_of_its_size():
    time_ns = times(24 * 1096, 3600.0)
    whole = common_noise(rng(15), time_ns)
    np.testing.assert_allclose(common_noise(rng(15), time_ns[500::7]), whole[500::7], atol=1e-12)
    several = np.array([common_noise(rng(s), time_ns[::24]).std(axis=0) for s in range(20)])
    level, up = several[:, :2].mean(), several[:, 2].mean()
    assert 0.0015 < level < 0.0035  # 2 to 3 mm level; asked for
    assert 0.004 < up < 0.010


def test_the_same_seed_gives_the_same_bytes():
    time_ns = times(500, 3600.0)
    for make in (
        lambda s: noise_of_positions(rng(s), time_ns)[0],
        lambda s: noise_of_positions(rng(s), time_ns)[1],
        lambda s: noise_of_positions(rng(s), time_ns, "daily")[0],
        lambda s: common_noise(rng(s), time_ns),
    ):
        assert make(1).tobytes() == make(1).tobytes()
        assert make(1).tobytes() != make(2).tobytes()


def test_daily_positions_are_quieter():
    time_ns = times(1000, 86400.0)
    _, epoch = noise_of_positions(rng(16), time_ns)
    _, daily = noise_of_positions(rng(16), time_ns, "daily")
    np.testing.assert_allclose(daily / epoch, np.tile(noise.daily_share(), (1000, 1)))
    assert (np.median(daily, axis=0) < [0.002, 0.002, 0.004]).all()


def test_no_and_one_epoch():
    for count in (0, 1):
        error, sigma = noise_of_positions(rng(), times(count, 30.0))
        assert error.shape == sigma.shape == (count, 3)


def test_what_cannot_be_done_is_said():
    with pytest.raises(SettingsError, match=r"'weekly'; there are kinematic, daily"):
        noise_of_positions(rng(), times(3, 30.0), "weekly")
    with pytest.raises(SettingsError, match="do not increase"):
        noise_of_positions(rng(), times(3, 30.0)[::-1])
