"""Permutations: brute force beside the kernel, laws of chance, Darwin's maize."""

import itertools

import numpy as np
import pytest

from stakeline.errors import SettingsError, SolutionError
from stakeline.inference.permutation import (
    Windows,
    chance,
    conclude,
    contrasts,
    paired_permutation,
    permutation_test,
    plan_shifts,
)

MAIZE = [49, -67, 8, 16, 6, 23, 28, 41, 14, 29, 56, 24, 75, 60, -48]
WINDOWS = Windows(4, 3, (0, 2, 5))


def record(seed=1, n=120, series=2, gaps=True):
    generator = np.random.default_rng(seed)
    values = np.cumsum(generator.standard_normal((series, n)), axis=1)
    values -= 0.9 * np.cumsum(values, axis=1) / np.arange(1, n + 1)
    if gaps:
        values[0, 30:41] = np.nan
        values[-1, ::7] = np.nan
    return np.arange(float(n)), values


def plain_contrasts(values, windows):
    """The contrasts (series, lags, n) over their spread, by plain slices."""
    found = np.full((len(values), len(windows.lags), values.shape[1]), np.nan)
    for s, k, i in np.ndindex(found.shape):
        before = values[s, max(i - windows.before, 0) : i]
        after = values[s, i + windows.lags[k] :][: windows.after]
        enough = np.isfinite(before).sum() >= windows.before / 2
        if enough and np.isfinite(after).sum() >= windows.after / 2:
            found[s, k, i] = np.nanmean(after) - np.nanmean(before)
    return found / np.nanstd(found, axis=2, ddof=1, keepdims=True)


def statistics(found, onsets, shift):
    """The statistics (series, lags) of one shift."""
    of = found[:, :, (np.asarray(onsets) + shift) % found.shape[2]]
    count = np.isfinite(of).sum(axis=2)
    return np.nansum(of, axis=2) / np.sqrt(np.maximum(count, 1))


def test_every_shift_is_the_plain_one():
    time, values = record()
    onsets = [25, 50, 90]
    plan = plan_shifts(time, values, onsets, WINDOWS, np.random.default_rng(0))
    assert plan.exhaustive
    assert len(plan.shifts) == 119
    greatest = chance(plan, 0, 119)
    every = plain_contrasts(values, WINDOWS)
    plain = [np.abs(statistics(every, onsets, k)).max(axis=1) for k in range(1, 120)]
    np.testing.assert_allclose(greatest, plain, rtol=1e-9)
    result = conclude(plan, greatest)
    observed = statistics(every, onsets, 0)
    np.testing.assert_allclose(result.statistic, observed, rtol=1e-9)
    b = (np.max(plain, axis=1) >= np.abs(observed).max() - 1e-9).sum()
    assert result.p == (1 + b) / 120
    assert result.resolution == 1 / 120
    s, k = result.strongest
    assert abs(result.statistic[s, k]) == np.abs(result.statistic).max()


def test_contrasts_of_a_step():
    found = contrasts(np.repeat([0.0, 2.0], 10), Windows(3, 2))
    assert found[10, 0, 0] == 2.0
    assert found[9, 0, 0] == 1.0
    assert np.isnan(found[0, 0, 0])
    assert np.isnan(found[1, 0, 0])  # one of three samples before
    assert found[2, 0, 0] == 0.0


def test_stretches_of_draws_join_to_the_same_p():
    time, values = record(n=400)
    groups = ["upper", "upper", "lower"]

    def plan():
        return plan_shifts(
            time, values, [60.0, 200.0, 311.0], WINDOWS, np.random.default_rng(8), 500, groups
        )

    whole = chance(plan(), 0, 500)
    parts = [chance(plan(), start, 130) for start in (0, 130, 260, 390)]
    np.testing.assert_array_equal(np.concatenate(parts), whole)
    assert conclude(plan(), whole).p == conclude(plan(), np.concatenate(parts[::-1])).p
    with pytest.raises(SettingsError, match="370 draws were handed back of 500"):
        conclude(plan(), np.concatenate(parts[1:]))


def test_direction_is_seen_and_p_is_two_sided():
    time, values = record(3, 600, gaps=False)
    onsets = np.array([100.5, 300.2, 480.7])
    effect = sum((time >= t) & (time < t + 8) for t in onsets)
    windows = Windows(8, 8, (0, 1, 2))
    results = [
        permutation_test(
            time, values + sign * 12.0 * effect, onsets, windows, np.random.default_rng(0)
        )
        for sign in (1.0, -1.0)
    ]
    for sign, result in zip((1.0, -1.0), results, strict=True):
        assert result.p <= 3 / 600
        assert result.p >= result.resolution
        assert np.sign(result.statistic[:, 0]).tolist() == [sign] * 2
        assert result.change[0, 0] == pytest.approx(sign * 12.0, abs=4.0)
        assert (result.events_used == 3).all()
        assert (result.p_adjusted >= result.p_series).all()
    assert results[0].floor == pytest.approx(3 / 600)


def test_turning_the_sign_changes_nothing_but_the_sign():
    time, values = record(5)
    first, second = (
        permutation_test(time, v, [30, 80], WINDOWS, np.random.default_rng(0))
        for v in (values, -values)
    )
    assert first.p == second.p
    np.testing.assert_allclose(first.statistic, -second.statistic)


def test_uncertain_times_are_averaged():
    time, values = record(6, gaps=False)
    certain = plan_shifts(time, values, [40, 80], WINDOWS, np.random.default_rng(0))
    spread = np.array([[39.0, 40.0, 40.0, 41.0], [80.0] * 4])
    plan = plan_shifts(time, values, spread, WINDOWS, np.random.default_rng(0))
    c = certain.contrast
    expected = (c[39] / 4 + c[40] / 2 + c[41] / 4 + c[80]) / np.sqrt(2.0)
    np.testing.assert_allclose(conclude(plan, chance(plan, 0, 119)).statistic, expected)


@pytest.mark.compiled
def test_p_is_uniform_without_an_effect():
    generator = np.random.default_rng(11)
    p = []
    for _ in range(200):
        noise = generator.standard_normal((2, 260))
        values = noise[:, 60:].copy()
        for back in range(1, 60):
            values += 0.9**back * noise[:, 60 - back : 260 - back]
        onsets = np.sort(generator.choice(np.arange(20, 180, 20), 4, replace=False))
        time = np.arange(200.0)
        p.append(permutation_test(time, values, onsets, Windows(10, 10, (0, 5)), generator).p)
    # 200 draws of a uniform: Kolmogorov distance below 1.36 / sqrt(200) in 95 of 100 cases
    ranks = np.arange(1, 201) / 200.0
    assert np.abs(np.sort(p) - ranks).max() < 0.115
    assert np.mean(np.array(p) <= 0.05) < 0.1


def test_even_unrest_changes_nothing():
    time, values = record()
    plain, even = (
        permutation_test(time, values, [25, 50, 90], WINDOWS, np.random.default_rng(0), unrest=u)
        for u in (None, np.full(120, 3.0))
    )
    np.testing.assert_allclose(even.statistic, plain.statistic, rtol=1e-9)
    assert even.p == plain.p


def test_events_in_calm_months_are_measured_by_calm_months():
    # three quarters of the record are five times as restless: by one scale p is hardly ever small
    time, generator = np.arange(400.0), np.random.default_rng(6)
    unrest = np.where(np.arange(400) % 200 < 50, 0.0, 24.0)
    p = []
    for _ in range(150):
        values = generator.standard_normal(400) * np.sqrt(1.0 + unrest)
        onsets = np.array([25.0, 225.0]) + generator.uniform(-8.0, 8.0)
        options = {"windows": Windows(8, 8), "count": 399}
        p.append([
            permutation_test(time, values, onsets, generator=generator, unrest=u, **options).p
            for u in (None, unrest)
        ])  # fmt: skip
    plain, scaled = np.array(p).T
    assert np.mean(plain <= 0.5) < 0.25
    assert 0.38 <= np.mean(scaled <= 0.5) <= 0.62  # three sigmas of chance in 150
    assert 0.0 < np.mean(scaled <= 0.1) <= 0.18


def test_random_draws_of_one_group_are_all_different():
    time, values = record(7, 900, 1, gaps=False)
    plan = plan_shifts(time, values, [300.0], WINDOWS, np.random.default_rng(0), 400)
    assert not plan.exhaustive
    assert len(np.unique(plan.shifts)) == 400
    assert plan.shifts.min() > 0


def test_darwins_maize():
    # Fisher (1935), section 21: 1726 of 32768 two-sided
    p, extreme, patterns = paired_permutation(MAIZE)
    assert (extreme, patterns) == (1726, 32768)
    assert p == pytest.approx(0.0526733, abs=5e-8)


def test_pairs_by_plain_listing():
    generator = np.random.default_rng(3)
    for n in (2, 5, 8):
        d = np.round(generator.normal(0.4, 1.0, n), 1)
        signs = np.array(list(itertools.product((1, -1), repeat=n)))
        extreme = (np.abs(signs @ d) >= abs(d.sum()) - 1e-9).sum()
        assert paired_permutation(d)[1] == extreme
    assert paired_permutation([1.0, -1.0])[0] == 1.0
    assert paired_permutation(np.ones(40))[1] == 2


def test_what_cannot_be_tested_is_a_sentence():
    time, values = record(gaps=False)
    rng = np.random.default_rng(0)

    def refused(error, match, time=time, values=values, onsets=(50,), windows=WINDOWS, **more):
        with pytest.raises(error, match=match):
            permutation_test(time, values, np.array(onsets, float), windows, rng, **more)

    refused(SettingsError, "no event was given", onsets=())
    refused(SettingsError, "event 2 at 300 is outside the record from 0 to 119", onsets=(50, 300))
    refused(SettingsError, "events 1 and 2 are 2 samples apart", onsets=(50, 52))
    refused(SettingsError, "not evenly spaced", time=time**2)
    refused(SettingsError, "do not fit into 120 samples", windows=Windows(80, 80))
    refused(SettingsError, "from 0 up", windows=Windows(3, 3, (-1,)))
    refused(SettingsError, "expected at least 1", count=0)
    refused(SettingsError, "one for each event", groups=[1, 2])
    refused(SolutionError, "series 2 does not vary", values=np.stack([values[0], 0 * time + 3]))
    refused(SolutionError, "series 1 has no place", values=np.full((2, 120), np.nan))
    holed = values.copy()
    holed[:, 40:60] = np.nan
    refused(SolutionError, "no event has values before and after", values=holed)
    with pytest.raises(SettingsError, match="2 to 40 finite"):
        paired_permutation([1.0, np.nan])
