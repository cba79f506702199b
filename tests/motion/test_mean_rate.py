"""The mean velocity of a record under white and power-law noise: simulated, in steps and gaps."""

import numpy as np
import pytest

from stakeline.constants import DAYS_PER_YEAR, NS_PER_DAY
from stakeline.inference.noise import FLICKER, fractional_weights
from stakeline.motion.mean_rate import MOST_MEANS, mean_rate

TRUE_M_D = 0.5
NO_STEPS = 0


def record(rng, days, power_m, index=FLICKER, white_m=0.004, every_h=6):
    """Return (times, positions) with power-law noise of daily values and white noise of each."""
    count = days * 24 // every_h
    time_ns = np.arange(count, dtype=np.int64) * (NS_PER_DAY * every_h // 24)
    drawn = np.convolve(rng.normal(0.0, 1.0, days), fractional_weights(index, days))[:days]
    daily = power_m * DAYS_PER_YEAR ** (0.25 * index) * drawn
    day = time_ns / NS_PER_DAY
    noise = np.repeat(daily, 24 // every_h) + rng.normal(0.0, white_m, count)
    return time_ns, TRUE_M_D * day + noise


def solved(time_ns, position_m, columns=None):
    columns = np.zeros((len(time_ns), NO_STEPS)) if columns is None else columns
    return mean_rate(time_ns, position_m, np.full(len(time_ns), 0.004), columns)


@pytest.mark.parametrize("days", [120, 400])
def test_errors_are_as_large_as_told(days):
    # simulation: 40 records of flicker of 10 mm/a^0.25; longer ones in means of several days
    rng = np.random.default_rng(days)
    found = [solved(*record(rng, days, 0.010)) for _ in range(40)]
    assert found[0].interval_d == max(1, np.ceil(days / MOST_MEANS))
    z = np.array([(f.velocity_m_d - TRUE_M_D) / f.sigma_m_d for f in found])
    assert 0.75 < z.std() < 1.35  # 40 draws know a spread to 11 %
    assert abs(np.mean([f.noise.spectral_index for f in found]) - FLICKER) < 0.25


def test_a_step_costs_and_is_not_taken_as_motion():
    rng = np.random.default_rng(2)
    time_ns, position = record(rng, 100, 0.005)
    after = (time_ns >= 40 * NS_PER_DAY).astype(float)[:, None]
    found = solved(time_ns, position + 0.8 * after[:, 0], after)
    plain = solved(time_ns, position)
    assert abs(found.velocity_m_d - TRUE_M_D) < 4.0 * found.sigma_m_d
    assert found.sigma_m_d > plain.sigma_m_d


def test_gaps_and_thin_days_are_left_out():
    time_ns, position = record(np.random.default_rng(3), 100, 0.005)
    keep = np.ones(len(time_ns), bool)
    keep[100:160] = False  # 15 days
    keep[[201, 202, 203]] = False  # one of four left in a day
    found = solved(time_ns[keep], position[keep])
    assert found.means == 84
    assert abs(found.velocity_m_d - TRUE_M_D) < 4.0 * found.sigma_m_d


def test_a_speed_that_changes_is_called_so_and_even_motion_is_not():
    rng = np.random.default_rng(4)
    time_ns, position = record(rng, 120, 0.005)
    assert not solved(time_ns, position).uneven
    day = time_ns / NS_PER_DAY
    found = solved(time_ns, position + 0.3 * np.maximum(day - 60.0, 0.0) * 0.1)
    assert found.uneven
    assert found.sigma_m_d > 5.0 * solved(time_ns, position).sigma_m_d


def test_too_short_is_said():
    found = solved(*record(np.random.default_rng(5), 20, 0.005))
    assert np.isnan(found.velocity_m_d)
    assert found.why == "20 daily means are too few to tell power-law noise; 30 are needed"
