"""The motion of one station from invented positions with known truth; series that are not whole."""

from dataclasses import replace

import numpy as np
import pytest

from stakeline.constants import NS_PER_DAY
from stakeline.errors import SettingsError, SolutionError
from stakeline.motion.constituents import greenwich_terms
from stakeline.motion.solve import (
    MotionSettings,
    StationSeries,
    covariance_of,
    rise,
    solve_motion,
)
from stakeline.time import from_iso

START = from_iso("2031-05-01")
SIGMA = np.array([0.005, 0.005, 0.012])
AZIMUTH = np.radians(60.0)
QUICK = MotionSettings(likelihood_rows=700, window_d=(1.0,))


def invented(days=40, interval_h=1.0, seed=1, speed=0.8, tide_m=0.0, memory=True):
    """Return (StationSeries, true along-flow speed): even flow that swings by 5 %, towards 60 deg.

    White noise of the sigmas, and hours of coloured noise half as large.
    """
    rng = np.random.default_rng(seed)
    n = int(days * 24 / interval_h)
    time_ns = START + (np.arange(n) * interval_h * 3600e9).astype(np.int64)
    t = np.arange(n) * interval_h / 24.0
    swing = 0.05 * speed
    along = speed * t + swing * 10.0 / (2 * np.pi) * (1.0 - np.cos(2 * np.pi * t / 10.0))
    true = speed + swing * np.sin(2 * np.pi * t / 10.0)
    up = -0.01 * along + tide_m * greenwich_terms(("M2",), time_ns)[:, 0].real
    noise = rng.normal(0.0, 1.0, (n, 3)) * SIGMA
    if memory:
        share = np.exp(-interval_h / 24.0 / 0.15)
        state = rng.normal(0.0, 1.0, 3)
        for k in range(n):
            state = share * state + np.sqrt(1.0 - share**2) * rng.normal(0.0, 1.0, 3)
            noise[k] += 0.5 * SIGMA * state
    enu = np.stack([along * np.sin(AZIMUTH), along * np.cos(AZIMUTH), up], axis=1) + noise
    covariance = np.broadcast_to(covariance_of(SIGMA), (n, 3, 3)).copy()
    place = np.radians(79.0), np.radians(17.0), 500.0
    return StationSeries("HV05", time_ns, enu, covariance, *place), true


def kept(series, rows):
    return replace(
        series,
        time_ns=series.time_ns[rows],
        enu_m=series.enu_m[rows],
        covariance_m2=series.covariance_m2[rows],
    )


@pytest.fixture(scope="module")
def solved():
    series, true = invented()
    return series, true, solve_motion(series, QUICK)


@pytest.mark.compiled
def test_speed_and_its_sigma_are_those_of_the_truth(solved):
    _, true, motion = solved
    error = motion.speed_m_d - true[: len(motion.time_ns)]
    inside = np.abs(error) < 1.96 * motion.along.velocity_sigma_m_d
    assert np.sqrt(np.mean(error**2)) < 0.010  # a quarter of the swing; our choice
    # one record of 40 d holds some 40 independent values: 95 % +- 3 sigma of these
    assert 0.84 < inside.mean() <= 1.0
    assert np.degrees(motion.path.azimuth_rad) == pytest.approx(60.0, abs=0.2)
    assert abs(motion.along.mean_velocity_m_d - 0.8) < 0.002  # 4 whole swings; 1 cm in 40 d


@pytest.mark.compiled
def test_the_causal_speed_does_not_know_the_future(solved):
    series, _, motion = solved
    middle = len(series) // 2
    given = tuple(axis.model for axis in motion.axes)
    known = replace(QUICK, models=given, path="fixed", azimuth_deg=60.0, remove_tide=False,
                    find_steps=False)  # fmt: skip
    moved = series.enu_m.copy()
    days = (series.time_ns[middle:] - series.time_ns[middle]) / NS_PER_DAY
    moved[middle:, 0] += 3.0 * days  # from the middle on much faster
    one, other = (solve_motion(s, known).along for s in (series, replace(series, enu_m=moved)))
    before = slice(30, middle - 20)
    np.testing.assert_allclose(
        one.causal_velocity_m_d[before], other.causal_velocity_m_d[before], rtol=0, atol=1e-9
    )
    after = slice(middle + 200, None)
    assert (other.causal_velocity_m_d[after] - one.causal_velocity_m_d[after]).min() > 2.0


@pytest.mark.compiled
def test_the_height_budget_closes(solved):
    _, _, motion = solved
    budget = motion.vertical.budget
    total = budget.residual_m + sum(term.value_m for term in budget.terms)
    np.testing.assert_allclose(total, budget.measured_m, rtol=0, atol=1e-12)
    assert {term.name for term in budget.terms} >= {"antenna", "tide", "slope"}
    assert motion.vertical.slope.slope == pytest.approx(-0.01, abs=0.001)
    assert any("travel follows time" in said for said in motion.warnings)


@pytest.mark.compiled
def test_a_logged_step_is_taken_out_with_its_size():
    series, true = invented(seed=2)
    at = 500
    enu = series.enu_m.copy()
    enu[at:] += [0.03, -0.02, 0.40]
    logged = ((int(series.time_ns[at]), int(series.time_ns[at])),)
    motion = solve_motion(replace(series, enu_m=enu, logged_ns=logged), QUICK)
    (step,) = np.flatnonzero(motion.steps.logged)
    s, c = np.sin(AZIMUTH), np.cos(AZIMUTH)
    expected = [0.03 * s - 0.02 * c, -0.03 * c - 0.02 * s, 0.40]
    misfit = (motion.steps.size_m[step] - expected) / motion.steps.sigma_m[step]
    assert np.abs(misfit).max() < 4.0
    assert np.abs(motion.speed_m_d - true[: len(motion.time_ns)]).max() < 0.05


@pytest.mark.compiled
def test_the_tide_is_found_and_is_no_motion():
    series, _ = invented(seed=3, tide_m=0.30)
    motion = solve_motion(series, QUICK)
    tides = motion.up.tides
    k = tides.index("M2")
    assert abs(tides.amplitude[k] - 0.30) < 4.0 * tides.amplitude_sigma[k]
    assert abs((tides.phase_deg[k] + 180.0) % 360.0 - 180.0) < 4.0 * tides.phase_sigma_deg[k]
    assert np.nanstd(motion.up.velocity_m_d) < 0.05  # the tide itself moves by 2.6 m/d rms
    assert any("K1" in said for said in motion.warnings)


@pytest.mark.compiled
def test_a_rise_of_5_cm_in_2_days_is_seen():
    series, _ = invented(days=60, seed=4)
    t = (series.time_ns - START) / NS_PER_DAY
    enu = series.enu_m.copy()
    enu[:, 2] += 0.05 * np.clip((t - 30.0) / 2.0, 0.0, 1.0)
    settings = replace(QUICK, slope_source="given", slope=-0.01)
    motion = solve_motion(replace(series, enu_m=enu), settings)
    days = [START + int(d * NS_PER_DAY) for d in (29.0, 30.0, 32.0, 33.0)]
    height, sigma = rise(motion, days[:2], days[2:])
    # between the middles of the windows the station travels 3 d down the slope, which is known
    assert abs(height - 0.05) < 3.0 * sigma
    assert height > 3.0 * sigma


@pytest.mark.compiled
def test_no_motion_is_invented_across_a_gap_of_250_days():
    series, _ = invented(days=290, interval_h=2.0, memory=False)
    t = (series.time_ns - START) / NS_PER_DAY
    motion = solve_motion(kept(series, (t < 20.0) | (t >= 270.0)), QUICK)
    inside = (motion.time_ns - START) / NS_PER_DAY
    hidden = (inside > 21.0) & (inside < 269.0)
    assert np.isnan(motion.speed_m_d[hidden]).all()
    assert np.isnan(motion.along.causal_velocity_m_d[hidden]).all()
    assert np.isnan(motion.vertical.residual_up_m[hidden]).all()
    assert motion.in_gap[hidden].all()
    assert np.isfinite(motion.speed_m_d[~motion.in_gap]).all()


@pytest.mark.compiled
def test_rows_in_any_order_and_repeated_give_the_same():
    series, _ = invented(days=4, memory=False)
    settings = replace(QUICK, find_steps=False)
    order = np.random.default_rng(5).permutation(len(series))
    shuffled = kept(series, np.concatenate([order, order[:5]]))
    one, other = solve_motion(series, settings), solve_motion(shuffled, settings)
    np.testing.assert_array_equal(one.speed_m_d, other.speed_m_d)
    assert "5 rows repeated" in other.notes
    assert any("not in order" in note for note in other.notes)


@pytest.mark.parametrize(
    ("rows", "said"),
    [
        (slice(0, 3), "3 usable positions at different times of 3 rows"),
        (slice(0, 1), "1 usable positions at different times of 1 rows"),
        (slice(0, 0), "0 usable positions"),
        (np.zeros(50, int), "1 usable positions at different times of 50 rows"),
    ],
)
def test_too_few_rows_are_refused_with_a_sentence(rows, said):
    with pytest.raises(SolutionError, match=said) as problem:
        solve_motion(kept(invented(days=4)[0], rows), QUICK)
    assert "so none is given" in str(problem.value)


def test_rows_without_a_position_are_refused_with_a_sentence():
    series, _ = invented(days=4)
    nothing = replace(series, enu_m=np.full_like(series.enu_m, np.nan))
    with pytest.raises(SolutionError, match="0 usable positions at different times of 96 rows"):
        solve_motion(nothing, QUICK)


@pytest.mark.compiled
def test_a_short_record_says_that_its_noise_is_not_known():
    series, _ = invented(days=20, interval_h=24.0, memory=False)
    motion = solve_motion(series, QUICK)
    assert motion.along.fit is None
    assert motion.along.tides is None
    assert any("too few to estimate their noise" in said for said in motion.warnings)
    assert abs(motion.along.mean_velocity_m_d - 0.8) < 0.01  # 1 cm at each end of 19 d


@pytest.mark.compiled
def test_a_clock_that_jumped_is_told():
    series, _ = invented(days=4, memory=False)
    times = series.time_ns.copy()
    times[-1] += 1024 * 7 * NS_PER_DAY  # a week number that rolled over
    motion = solve_motion(replace(series, time_ns=times), replace(QUICK, interval_h=24.0))
    assert any("has a clock jumped?" in note for note in motion.notes)
    with pytest.raises(SettingsError, match="more than 3000000 results"):
        solve_motion(replace(series, time_ns=times), replace(QUICK, interval_h=0.05))


@pytest.mark.parametrize(
    ("change", "said"),
    [
        ({"path": "crooked"}, "path 'crooked' is not known"),
        ({"path": "fixed"}, "needs azimuth_deg"),
        ({"interval_h": 0.0}, "more than 0"),
        ({"coloured_noises": 3}, "expected 0 to 2"),
        ({"long_noise_m": (0.001, 0.001)}, "expected three sigmas"),
        ({"long_noise_m": (0.001, 0.001, -0.004)}, "expected three sigmas"),
        ({"slope_source": "given"}, "no slope is given"),
        ({"slope_source": "map"}, "known are automatic, own path, grid, given, none"),
        ({"models": (1,)}, "expected none or three"),
    ],
)
def test_impossible_settings_are_refused(change, said):
    with pytest.raises(SettingsError, match=said):
        MotionSettings(**change)


@pytest.mark.compiled
def test_noise_of_days_is_in_the_sigma_of_a_step_and_can_be_left_out():
    # of still heights, steps are known as well as days of noise let them: 4.3 mm with 4 d, from
    # two sides; arithmetic gives 4.3 sqrt(2 (1 - exp(-T / 4 d))), T days apart, 2 to 6 mm
    series, _ = invented(days=30, memory=False)
    at = len(series) // 2
    series.enu_m[at:, 2] += 0.5
    series = replace(series, logged_ns=(int(series.time_ns[at]),))
    sigma = [
        solve_motion(series, replace(QUICK, long_noise_m=noise)).steps.sigma_m[0, 2]
        for noise in ((0.0, 0.0, 0.0), QUICK.long_noise_m)
    ]
    assert sigma[0] < 0.0025
    assert 0.002 < np.sqrt(sigma[1] ** 2 - sigma[0] ** 2) < 0.006


def test_arrays_that_do_not_fit_are_refused():
    series, _ = invented(days=4)
    with pytest.raises(SettingsError, match="without sigmas"):
        solve_motion(replace(series, covariance_m2=None))
    with pytest.raises(SettingsError, match="expected int64"):
        solve_motion(replace(series, time_ns=series.time_ns.astype(float)))
