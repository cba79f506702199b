"""Courses fitted together: coordinates that bend back, the law asked for from whichever start."""

import numpy as np
import pytest
from scipy.stats import beta

from stakeline.lakes.beginnings import beginnings, mixture_of, tops
from stakeline.lakes.combined import StationUp, combined_series
from stakeline.lakes.curve import ramp
from stakeline.lakes.fit import AT_ONCE_SIGMA, KEPT, Changes, _evened, sampled
from stakeline.lakes.straight import bent, straightened
from stakeline.motion.smoother import MotionModel

START_NS = 1_900_000_000_000_000_000
DAY_NS = 86_400_000_000_000
NOISE = MotionModel(1e-12, np.inf, (0.0001,), (1.0,), 1.0)


def some_numbers(count, changes):
    rng = np.random.default_rng(1)
    each = rng.uniform([10.0, 0.0, 0.1, 0.1], [50.0, 3.0, 2.0, 2.0], (count, changes, 4))
    return np.column_stack([each.reshape(count, -1), rng.random((count, 2))])


def test_straightened_numbers_are_mean_and_width_of_the_rate():
    numbers = some_numbers(5, 2)
    place = straightened(numbers, 2)
    assert bent(place, 2) == pytest.approx(numbers)
    onset, length, rise, fall = numbers[0, 0], *np.exp(numbers[0, 1:4])
    # expected: mean and sigma of the beta distribution (scipy)
    rate = beta(rise, fall, onset, length)
    assert place[0, 0] == pytest.approx(rate.mean())
    assert np.exp(place[0, 1]) == pytest.approx(rate.std())


def test_straightening_keeps_volumes():
    numbers = some_numbers(1, 1)[0]
    move = 1e-5 * np.eye(6)
    slope = straightened(numbers + move, 1) - straightened(numbers - move, 1)
    assert np.linalg.det(slope / 2e-5) == pytest.approx(1.0, abs=1e-5)


def pair(sigma_m=0.01, at_once=None):
    """Return (Changes, true numbers) of a filling that runs into a draining, by one station."""
    rng = np.random.default_rng(5)
    day = np.arange(0.0, 45.0, 0.25)
    up = 3.0 * ramp((day - 12.0) / 8.0, 2.8, 3.4) - 4.8 * ramp((day - 16.5) / 11.0, 2.7, 3.1)
    up += sigma_m * rng.standard_normal(len(day))
    time_ns = START_NS + np.round(day * DAY_NS).astype(np.int64)
    station = StationUp("HV07", time_ns, up, np.full(len(day), sigma_m), at_once=at_once)
    series = combined_series([station], 6.0, ())
    origin = (series.start_ns - START_NS) / DAY_NS
    changes = Changes(series, NOISE, 2, (0, len(series.day)))
    each = [[12.0 - origin, np.log(8.0), *np.log([2.8, 3.4])],
            [16.5 - origin, np.log(11.0), *np.log([2.7, 3.1])]]  # fmt: skip
    return changes, np.array([*np.ravel(each), 0.98, 0.0])


def shifted(numbers, corner):
    """Return numbers with the draining's onset moved by a share of its length, its end kept."""
    moved = numbers.copy()
    moved[4] += corner * np.exp(moved[5])
    moved[5] += np.log1p(-corner)
    return moved


@pytest.mark.compiled
def test_samples_do_not_depend_on_where_one_begins():
    changes, numbers = pair()
    found = []
    for k, corner in enumerate((-0.3, 0.35)):
        fit = sampled(changes, shifted(numbers, corner), np.random.default_rng(k))
        found.append(np.stack([fit.onset_d[:, 1], fit.size_m[:, 1]]))
    middle = np.array([np.median(f, axis=1) for f in found])
    # half of what holds the middle 68 %: one sigma of a normal law
    spread = np.array([np.ptp(np.quantile(f, [0.16, 0.84], axis=1), axis=0) / 2.0 for f in found])
    # chance of some 100 independent samples makes 0.13 of each middle
    assert (np.ptp(middle, axis=0) / spread.mean(axis=0)).max() < 0.5
    assert (spread.max(axis=0) / spread.min(axis=0)).max() < 1.6
    for onset, size in found:
        assert np.quantile(onset, 0.005) < numbers[4] < np.quantile(onset, 0.995)
        assert np.quantile(size, 0.005) < -4.8 < np.quantile(size, 0.995)


@pytest.mark.compiled
def test_changes_that_took_each_others_place_are_set_right():
    changes, numbers = pair()
    swapped = np.concatenate([numbers[4:8], numbers[:4], numbers[8:]])
    for start, sign in ((numbers, 1.0), (swapped, -1.0)):
        for place, _, _ in tops(changes, start):
            assert np.sign(changes.solved(place)[0][0]) == pytest.approx([sign, -sign])


def test_beginnings_move_the_corner_of_neighbours_alone():
    changes, numbers = pair()
    moved = beginnings(changes, numbers)
    ends = [m[4] + np.exp(m[5]) for m in moved]
    assert ends == pytest.approx(np.full(len(moved), ends[0]))
    assert len({round(m[4], 6) for m in moved}) == 5
    far = numbers.copy()
    far[4] += 30.0
    assert len(beginnings(changes, far)) == 1


@pytest.mark.compiled
def test_the_mixture_covers_its_tops():
    changes, numbers = pair()
    found = tops(changes, numbers)
    mixture = mixture_of(changes, found)
    assert mixture.weight.sum() == pytest.approx(1.0)
    place = straightened(found[0][0][None], 2)
    assert mixture.log_density(place)[0] > mixture.log_density(place + 5.0)[0]


def test_a_share_at_once_by_maps_pulls_like_a_measurement():
    without, numbers = pair()
    changes, _ = pair(at_once=0.98 - 2.0 * AT_ONCE_SIGMA)
    pulled, before = (one.pulled(numbers[None])[0] for one in (changes, without))
    assert pulled[1] == pytest.approx(2.0)
    assert np.delete(pulled, 1) == pytest.approx(before)
    assert changes.solved(numbers)[2] == pytest.approx(without.solved(numbers)[2] - 2.0)


def test_shares_at_once_are_weighed_by_what_stations_feel():
    day_ns = START_NS + DAY_NS // 4 * np.arange(80)
    up, sigma = np.zeros(80), np.full(80, 0.01)
    stations = [
        StationUp("HV02", day_ns, up, sigma, share=0.9, at_once=0.6),
        StationUp("HV03", day_ns, up, sigma, share=0.3, at_once=0.2),
    ]
    # of 1 m of roof 0.9 and 0.3 m are shown, 0.54 and 0.06 m at once
    assert combined_series(stations, 6.0, ()).at_once == pytest.approx(0.6 / 1.2)
    stations[1] = StationUp("HV03", day_ns, up, sigma, share=0.3)
    assert combined_series(stations, 6.0, ()).at_once is None


@pytest.mark.compiled
def test_information_is_that_of_the_slopes_of_what_is_left():
    changes, numbers = pair(at_once=0.5)
    numbers[-2:] = 0.6, np.log(2.0)
    size = changes.solved(numbers)[0][0]

    def rest(both):
        courses = changes.white(changes.courses(both[:-2])[:, 0]) @ both[-2:]
        left = courses - changes.base @ (changes.base.T @ courses)
        return np.concatenate(
            [left, changes.pulled(both[None, :-2])[0], both[-2:] / changes.spread]
        )

    both = np.concatenate([numbers, size])
    step = 1e-4 * np.eye(len(both))
    slope = np.stack([(rest(both + s) - rest(both - s)) / 2e-4 for s in step], axis=1)
    expected = np.linalg.slogdet(slope.T @ slope)[1]
    # its steps are wider: 1 % of each of twelve numbers
    assert changes.told(numbers[None])[0] == pytest.approx(expected, abs=0.24)


@pytest.mark.compiled
def test_samples_count_by_the_root_of_their_information():
    changes, numbers = pair()
    numbers[-2:] = 0.6, np.log(2.0)
    faster = numbers.copy()
    faster[-2] = 0.8  # less comes late and smeared: the courses are told more sharply
    told = changes.told(np.stack([numbers, faster]))
    share = 1.0 / (1.0 + np.exp(0.5 * (told[1] - told[0])))
    both = np.repeat([numbers, faster], 300, axis=0)
    kept = _evened(changes, both, np.random.default_rng(2))
    assert len(kept) == KEPT
    # three sigmas of a binomial number
    chance = 3.0 * np.sqrt(share * (1.0 - share) / KEPT)
    assert np.mean(kept[:, -2] == numbers[-2]) == pytest.approx(share, abs=chance)
    assert 0.05 < share < 0.45
