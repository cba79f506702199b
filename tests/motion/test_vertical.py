"""The budget closes to rounding; common parameters do not average away; slopes say their source."""

import numpy as np
import pytest

from stakeline.constants import NS_PER_DAY
from stakeline.errors import SettingsError, SolutionError
from stakeline.motion.slopes import compare_slopes, slope_from_path, surface_term
from stakeline.motion.snow_surface import snow_surface
from stakeline.motion.vertical import (
    antenna_term,
    close_budget,
    given_term,
    inverse_barometer_term,
    settling_term,
    slope_term,
    tide_term,
    vertical_strain_rate_m_a,
    vertical_strain_term,
)

START_NS = 1_600_000_000 * 10**9
N = 400
SIGMA_M = 0.008


def times(n=N, interval_d=0.25):
    return START_NS + (np.arange(n) * interval_d * NS_PER_DAY).astype(np.int64)


def days(n=N, interval_d=0.25):
    return np.arange(n) * interval_d


def truth_terms(time_ns):
    rng = np.random.default_rng(0)
    n = len(time_ns)
    time_d = (time_ns - time_ns[0]) / NS_PER_DAY
    return (
        slope_term(1.1 * time_d, -0.02, 0.002, "grid"),
        vertical_strain_term(time_ns, -0.8, 0.2, "stakes"),
        settling_term(time_ns, 0.3, 0.1, "tape at visits"),
        tide_term(0.4 * np.sin(12.1 * time_d), 0.003, 0.05, "harmonics"),
        inverse_barometer_term(990.0 + rng.normal(0, 8, n), 0.6, 0.1),
        antenna_term(time_ns, time_ns[[100, 250]], [-2.0, 0.7], [0.01, 0.02]),
    )


def test_the_sum_is_exact():
    time_ns = times()
    rng = np.random.default_rng(1)
    terms = truth_terms(time_ns)
    lake = 0.05 * np.clip((days() - 40.0) / 2.0, 0.0, 1.0)
    measured = 80.0 + sum(t.value_m for t in terms) + lake + rng.normal(0, SIGMA_M, N)
    for chosen in (terms, terms[:1], terms[3:], ()):
        budget = close_budget(time_ns, measured, SIGMA_M, chosen)
        total = sum((t.value_m for t in budget.terms), budget.residual_m.copy())
        np.testing.assert_allclose(total, measured, rtol=0, atol=1e-13 * 100)
    budget = close_budget(time_ns, measured, SIGMA_M, terms)
    np.testing.assert_allclose(budget.residual_m - 80.0, lake, atol=5 * SIGMA_M)


def test_a_missing_term_leaves_a_gap_and_no_zero():
    time_ns = times(5)
    budget = close_budget(time_ns, np.ones(5), 0.01, [given_term("tide", [0, 0, np.nan, 0, 0])])
    assert np.isnan(budget.residual_m).tolist() == [False, False, True, False, False]


def test_common_parameters_are_fully_correlated_in_time():
    time_ns = times()
    travel = 2.0 * days()
    budget = close_budget(time_ns, np.zeros(N), SIGMA_M, [slope_term(travel, -0.01, 0.001, "x")])
    # A slope wrong by one sigma gives 2 m/d * 0.001 = 2 mm/d, however many rows there are.
    _, sigma = budget.rate()
    assert sigma == pytest.approx(0.002, rel=0.01)
    assert close_budget(time_ns, np.zeros(N), SIGMA_M, []).rate()[1] < 1e-4
    # Change over 10 d: 20 mm by the slope, and twice the noise of a row.
    _, sigma = budget.change(0, 40)
    assert sigma == pytest.approx(np.hypot(0.02, SIGMA_M * np.sqrt(2.0)))
    total = budget.total_sigma_m()
    assert total[-1] == pytest.approx(np.hypot(SIGMA_M, 0.001 * travel[-1]))


def test_uncertainty_by_simulation():
    time_ns = times()
    rng = np.random.default_rng(2)
    rates, changes = [], []
    for _ in range(400):
        slope, settling = rng.normal(-0.02, 0.002), rng.normal(0.3, 0.1)
        truth = slope * 1.1 * days() - settling * days() / 365.25
        terms = (
            slope_term(1.1 * days(), -0.02, 0.002, "grid"),
            settling_term(time_ns, 0.3, 0.1),
        )
        budget = close_budget(time_ns, truth + rng.normal(0, SIGMA_M, N), SIGMA_M, terms)
        rate, rate_sigma = budget.rate()
        change, change_sigma = budget.change(10, 300)
        rates.append(rate / rate_sigma)
        changes.append(change / change_sigma)
    # 400 draws: the spread is known to 3.5 %, so four of these.
    assert np.std(rates) == pytest.approx(1.0, abs=0.14)
    assert np.std(changes) == pytest.approx(1.0, abs=0.14)


def test_terms_of_one_parameter_add_before_they_are_squared():
    time_ns = times(3)
    up = given_term("a", np.zeros(3), 0.0, np.ones(3), ("rate",))
    down = given_term("b", np.zeros(3), 0.0, -np.ones(3), ("rate",))
    budget = close_budget(time_ns, np.zeros(3), 0.0, [up, down])
    assert budget.parameters == ("rate",)
    assert (budget.total_sigma_m() == 0.0).all()


def test_numbers_of_single_terms():
    # needs of the field, computed: 300 m/a on 0.5 % sinks 1.5 m/a; H 1500 m at 1e-3 /a: 1.5 m/a.
    assert slope_term([0.0, 300.0], -0.005, 0.0, "x").value_m[1] == pytest.approx(-1.5)
    rate, sigma = vertical_strain_rate_m_a((1500.0, 150.0), (1e-3, 2e-4))
    assert rate == pytest.approx(-1.5)
    assert sigma == pytest.approx(1.5 * np.hypot(0.1, 0.2))
    # 1 cm of height for 1 hPa; Wunsch & Stammer (1997).
    term = inverse_barometer_term(np.array([980.0, 990.0]))
    assert np.diff(term.value_m)[0] == pytest.approx(-0.1)
    assert (inverse_barometer_term(np.array([980.0, 990.0]), share=0.0).value_m == 0.0).all()
    settled = settling_term(
        START_NS + np.array([0, 365.25 * NS_PER_DAY]).astype(np.int64), 0.3, 0.1
    )
    np.testing.assert_allclose(settled.value_m, [0.0, -0.3])
    np.testing.assert_allclose(settled.factor_m[:, 0], [0.0, 0.1])


def test_antenna_changes():
    time_ns = times(4)
    term = antenna_term(time_ns, time_ns[[1, 3]], [1.0, -0.5], [0.01, 0.02])
    np.testing.assert_allclose(term.value_m, [0.0, 1.0, 1.0, 0.5])
    np.testing.assert_allclose(np.hypot(*term.factor_m.T), [0, 0.01, 0.01, np.hypot(0.01, 0.02)])


def test_shapes_are_refused():
    with pytest.raises(SettingsError, match="r names"):
        given_term("x", np.zeros(3), 0.0, np.zeros((3, 2)), ("one",))
    with pytest.raises(SettingsError, match="another length"):
        close_budget(times(3), np.zeros(3), 0.01, [given_term("x", np.zeros(4))])


def path(seed, speed_change, rate_m_d=0.0):
    rng = np.random.default_rng(seed)
    speed = 1.0 + speed_change * (days() > 50.0)
    travel = np.cumsum(speed) * 0.25
    up = -0.02 * travel + rate_m_d * days() + rng.normal(0, SIGMA_M, N)
    return times(), travel, up


def test_slope_of_the_own_path():
    z = []
    for seed in range(100):
        found = slope_from_path(*path(seed, 0.5))
        z.append((found.slope + 0.02) / found.sigma)
        assert not found.confounded or abs(found.time_correlation) > 0.99
    assert np.std(z) == pytest.approx(1.0, abs=0.25)


def test_even_travel_cannot_tell_slope_from_uplift():
    # The station rises by 1 cm/d (a lake fills) on an even, straight path: the slope takes it all.
    found = slope_from_path(*path(1, 0.0, rate_m_d=0.01))
    assert found.confounded
    assert found.slope == pytest.approx(-0.01, abs=1e-4)
    assert abs(found.slope + 0.02) > 10.0 * found.sigma  # the bare sigma does not tell
    assert found.alone_sigma > 100.0 * found.sigma
    assert "holds every steady rise" in found.caution
    # With a change of speed by half, the rate left free, slope and uplift come apart.
    found = slope_from_path(*path(2, 0.5, rate_m_d=0.01))
    assert abs(found.alone_slope + 0.02) < 4.0 * found.alone_sigma < 0.01
    assert abs(found.slope + 0.02) > 4.0 * found.sigma
    with pytest.raises(SolutionError, match="10 that move"):
        slope_from_path(times(), np.zeros(N), np.zeros(N))


def test_slope_of_a_surface():
    east = np.linspace(0.0, 100.0, N)

    def plane(e, n):
        return 200.0 - 0.03 * e + 0.01 * n

    term = surface_term(east, 2.0 * east, plane, 50.0, 0.001, "plane")
    np.testing.assert_allclose(term.value_m, -0.01 * east, atol=1e-10)
    np.testing.assert_allclose(term.factor_m[:, 0], 0.001 * np.hypot(east, 2.0 * east))

    # Waves shorter than the length are averaged away.
    def waves(e, n):
        return plane(e, n) + 2.0 * np.sin(2.0 * np.pi * (e + n) / 10.0)

    rough = surface_term(east, 0.0 * east, waves, 0.0, 0.001, "waves").value_m + 0.03 * east
    even = surface_term(east, 0.0 * east, waves, 50.0, 0.001, "waves").value_m + 0.03 * east
    assert np.ptp(even) < 0.2 * np.ptp(rough)


def test_sensitivity_to_the_source_of_the_slope():
    # 800 m/a on 1 %: 2.2 cm/d (needs of the field, computed), as large as a lake.
    time_ns, travel = times(), 800.0 / 365.25 * days()
    rng = np.random.default_rng(3)
    up = -0.01 * travel + 0.01 * days() + rng.normal(0, SIGMA_M, N)
    grid = surface_term(travel, 0 * travel, lambda e, n: -0.012 * e, 0.0, 0.001, "grid")
    sources = {"survey": (-0.01, 0.0005), "grid": grid}
    none, survey, coarse = compare_slopes(time_ns, up, SIGMA_M, travel, sources)
    assert [r.source for r in (none, survey, coarse)] == ["none", "survey", "grid"]
    assert none.rate_m_d == pytest.approx(0.01 - 0.0219, abs=3e-4)
    assert survey.rate_m_d == pytest.approx(0.01, abs=3e-4)
    assert survey.rate_sigma_m_d == pytest.approx(0.0005 * 800.0 / 365.25, rel=0.05)
    assert coarse.slope == pytest.approx(-0.012)
    assert coarse.slope_sigma == pytest.approx(0.001)
    assert coarse.rate_m_d - survey.rate_m_d == pytest.approx(0.002 * 800.0 / 365.25, rel=0.01)
    assert survey.residual_rms_m > SIGMA_M


def test_snow_surface_and_ice_particle_are_two_points():
    time_ns = times(40)
    antenna = 100.0 - 0.001 * np.arange(40)
    noon = START_NS + (np.array([0.1, 3.0, 9.9, 30.0]) * NS_PER_DAY).astype(np.int64)
    found = snow_surface(time_ns, antenna, 0.02, noon, [2.0, 1.6, 1.2, 1.0], 0.05, offset_m=0.1)
    rows = [0, 12, 39]
    np.testing.assert_allclose(found.height_m[:3], antenna[rows] + 0.1 - [2.0, 1.6, 1.2])
    np.testing.assert_allclose(found.sigma_m[:3], np.hypot(0.02, 0.05))
    assert np.isnan(found.height_m[3])  # no antenna height within half a day
    assert found.apart_d[3] > 20.0
    assert np.isnan(
        snow_surface(time_ns, np.full(40, np.nan), 0.02, noon, np.ones(4), 0.1).height_m
    ).all()
    with pytest.raises(SettingsError, match="distances"):
        snow_surface(time_ns, antenna, 0.02, noon, [1.0], 0.05)
