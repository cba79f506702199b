"""Lone wild rows go, sharp motion stays; gaps part; nothing is deleted."""

import time

import numpy as np
import pytest
from scipy.signal import lfilter

from stakeline.constants import NS_PER_DAY, NS_PER_S
from stakeline.errors import SettingsError, SolutionError
from stakeline.motion.cleaning import EDGE, MISSING, PROTECTED, SPIKE, UNCERTAIN, find_outliers

N = 3000
SIGMA_M = 0.005
START_NS = 1_700_000_000 * NS_PER_S


def times(n=N, interval_s=300):
    return START_NS + np.arange(n, dtype=np.int64) * interval_s * NS_PER_S


def flowing(seed, time_ns, speed_m_d=1.0):
    rng = np.random.default_rng(seed)
    time_d = (time_ns - time_ns[0]) / NS_PER_DAY
    return speed_m_d * time_d + rng.normal(0.0, SIGMA_M, len(time_ns))


@pytest.mark.parametrize("seed", [1, 2, 3])
def test_lone_spikes_are_found_and_nothing_else(seed):
    time_ns = times()
    position = flowing(seed, time_ns)
    wild = np.array([0, 5, 700, 701, 1500, 2222, N - 1])
    position[wild] += 0.3 * np.array([1, -1, 1, 1, -1, 1, 1])
    found = find_outliers(time_ns, position)
    np.testing.assert_array_equal(np.flatnonzero(~found.keep), wild)
    assert found.counts["spike"] + found.counts["edge"] == len(wild) == found.axis_spikes[0]
    assert found.counts["kept"] == N - len(wild)


@pytest.mark.parametrize("minutes", [0, 10, 20, 30, 180, 1440])
@pytest.mark.parametrize("size_m", [0.03, 0.3, 3.0])
def test_sharp_motion_stays(minutes, size_m):
    # Stick-slip of some cm in 10 to 30 min, lakes that drain in hours, poles that are reset.
    time_ns = times()
    since_s = (time_ns - time_ns[1500]) / NS_PER_S
    ramp = np.clip(since_s / max(60.0 * minutes, 1.0), 0.0, 1.0)
    for seed in range(3):
        found = find_outliers(time_ns, flowing(seed, time_ns) + size_m * ramp)
        assert found.keep.all()


def test_uneven_times_and_rows_missing():
    rng = np.random.default_rng(4)
    time_ns = START_NS + np.cumsum(rng.integers(60, 1200, N)) * NS_PER_S
    position = flowing(4, time_ns)
    position[100], position[200:203] = np.nan, np.inf
    position[1000] += 0.2
    found = find_outliers(time_ns, position)
    assert found.reason[1000] == SPIKE
    assert (found.reason[[100, 200, 201, 202]] == MISSING).all()
    assert found.counts["kept"] == N - 5


def test_no_neighbour_is_asked_beyond_a_gap():
    # After a gap of 10 d the pole stands 2 m away: neither side of the gap is an outlier.
    time_ns = times()
    time_ns[1500:] += 10 * NS_PER_DAY
    position = flowing(5, time_ns)
    position[1500:] += 2.0
    assert find_outliers(time_ns, position).keep.all()
    # A lone row in the midst of the gap cannot be judged: it stays, and it is said.
    lone = np.insert(time_ns, 1500, time_ns[1499] + 5 * NS_PER_DAY)
    found = find_outliers(lone, np.insert(position, 1500, -50.0))
    assert found.keep.all()
    assert found.counts["alone"] == 1
    # With the limit beyond the gap, it is judged.
    found = find_outliers(lone, np.insert(position, 1500, -50.0), longest_gap_d=20.0)
    assert np.flatnonzero(~found.keep).tolist() == [1500]


def test_last_row_before_a_gap_is_judged_by_one_side():
    time_ns = times()
    time_ns[1500:] += 10 * NS_PER_DAY
    position = flowing(6, time_ns)
    position[1499] += 0.3
    found = find_outliers(time_ns, position)
    assert found.reason[1499] == EDGE
    assert found.counts["kept"] == N - 1


def test_axes_are_judged_together_and_events_can_be_protected():
    time_ns = times()
    position = np.stack([flowing(s, time_ns) for s in (7, 8, 9)], axis=1)
    position[400, 2] += 0.5
    position[900, 0] += 0.5
    protect = np.arange(N) == 900
    found = find_outliers(time_ns, position, protect=protect)
    assert found.reason[400] == SPIKE
    assert found.reason[900] == PROTECTED
    assert found.keep[900]
    assert not found.keep[400]
    assert found.axis_spikes.tolist() == [1, 0, 1]


def test_uncertain_rows_by_their_sigma():
    time_ns = times()
    sigma = np.full(N, SIGMA_M)
    sigma[50], sigma[60] = 0.5, np.nan
    found = find_outliers(time_ns, flowing(1, time_ns), sigma, largest_sigma_m=0.1)
    assert np.flatnonzero(found.reason == UNCERTAIN).tolist() == [50, 60]


@pytest.mark.parametrize("memory", [0.0, 0.5, 0.9, 0.99])
def test_share_of_good_rows_put_aside(memory):
    # Noise with a memory is no outlier: fewer than 1 row in 3000 (bar of our own).
    rng = np.random.default_rng(10)
    noise = lfilter([1.0], [1.0, -memory], rng.normal(0.0, 0.01 * np.sqrt(1 - memory**2), N * 4))
    found = find_outliers(times(N * 4), noise)
    assert (~found.keep).sum() <= 4


def test_scale_is_that_of_the_noise():
    # Prediction by the resistant line of nine rows: somewhat noisier than a row itself.
    found = find_outliers(times(), flowing(3, times()))
    assert 1.0 < found.scale_m[0] / SIGMA_M < 1.8


def test_unchanged_by_a_move_and_a_change_of_speed():
    time_ns = times()
    position = flowing(11, time_ns)
    position[[5, 77]] += 0.1
    time_d = (time_ns - time_ns[0]) / NS_PER_DAY
    reason = find_outliers(time_ns, position).reason
    np.testing.assert_array_equal(
        reason, find_outliers(time_ns, position - 30.0 + 8.0 * time_d).reason
    )
    np.testing.assert_array_equal(reason, find_outliers(time_ns, -position).reason)


@pytest.mark.parametrize("n", [0, 1, 2, 9])
def test_very_short_series_are_kept(n):
    found = find_outliers(times(n), np.zeros(n))
    assert found.keep.all()
    assert sum(found.counts.values()) == n


def test_all_missing():
    found = find_outliers(times(20), np.full(20, np.nan))
    assert found.counts["missing"] == 20


def test_constant_series_with_one_wild_row():
    position = np.zeros(100)
    position[50] = 1.0
    assert np.flatnonzero(~find_outliers(times(100), position).keep).tolist() == [50]


def test_impossible_input_is_refused():
    with pytest.raises(SolutionError, match="repeats"):
        find_outliers(np.zeros(3, np.int64), np.zeros(3))
    with pytest.raises(SettingsError, match="times"):
        find_outliers(times(3), np.zeros(4))
    with pytest.raises(SettingsError, match="threshold -1"):
        find_outliers(times(3), np.zeros(3), threshold=-1.0)


@pytest.mark.compiled
def test_a_year_each_30_s_takes_two_seconds():
    find_outliers(times(100), np.zeros(100))  # compiles
    position = flowing(1, times(1_050_000, 30))
    begin = time.process_time()
    found = find_outliers(times(1_050_000, 30), position)
    assert time.process_time() - begin < 4.0  # bar 2 s on an idle core
    assert (~found.keep).sum() < 30


@pytest.mark.real
def test_real_slip_stays(reference_data):
    path = reference_data / "ice" / "motion" / "slip_event_2013-03-12_displacement_m.csv.gz"
    table = np.genfromtxt(path, delimiter=",", skip_header=1)[:, 1:]
    time_ns = times(len(table), 15)
    for column in table.T:
        assert (~find_outliers(time_ns, column).keep).sum() <= 1
