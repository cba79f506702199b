"""Rank tests and steps against published values; coincidences by hand and by simulation."""

import numpy as np
import pytest

from stakeline.errors import SettingsError, SolutionError
from stakeline.inference.coincidence import coincidence
from stakeline.inference.memory import effective_size, lag_one_correlation
from stakeline.inference.trend_tests import bridge_p, find_step, mann_kendall

# Little, College of the Holy Cross, course note on Mann-Kendall: worked by hand
WORKED = [12.9, 14.8, 13.2, 15.7, 13.8, 15.6, 12.9, 11.0, 17.3, 15.9, 19.0, 18.3, 20.1, 21.7]
# Annual flow of the Nile at Aswan 1871-1970 [1e8 m3]: Cobb (1978), Biometrika 65, 243
NILE = """
1120 1160 963 1210 1160 1160 813 1230 1370 1140 995 935 1110 994 1020 960 1180 799 958 1140 1100
1210 1150 1250 1260 1220 1030 1100 774 840 874 694 940 833 701 916 692 1020 1050 969 831 726 456
824 702 1120 1100 832 764 821 768 845 864 862 698 845 744 796 1040 759 781 865 845 944 984 897 822
1010 771 676 649 846 812 742 801 1040 860 874 848 890 744 749 838 1050 918 986 797 923 975 815 1020
906 901 1170 912 746 919 718 714 740
"""
FLOW = np.array(NILE.split(), float)


def test_mann_kendall_worked_by_hand():
    found = mann_kendall(WORKED)
    assert found.s == 54
    assert found.variance == pytest.approx(332.667, abs=5e-4)
    assert found.z == pytest.approx(2.9058, abs=5e-5)
    assert found.p / 2.0 == pytest.approx(0.0018, abs=5e-5)
    # arithmetic re-done from the stated formulas
    assert found.p == pytest.approx(0.0036628, abs=1e-7)  # from a rounded z: one in the last place
    assert found.tau == pytest.approx(0.59341, abs=5e-6)
    assert found.tau_ties == pytest.approx(0.59669, abs=5e-6)
    assert found.slope == pytest.approx(0.566667, abs=5e-7)
    np.testing.assert_allclose(found.interval, [0.325, 0.866667], atol=5e-3)


def test_the_step_of_the_nile():
    assert FLOW.sum() == 91935.0
    found = find_step(FLOW)
    # Cobb (1978): one break after 1898
    assert 1870 + found.after == 1898
    np.testing.assert_allclose(found.means, [1097.75, 849.9722], atol=5e-5)
    np.testing.assert_allclose(found.variances, [17573.12, 15352.92], atol=5e-3)
    assert found.f == pytest.approx(75.930, abs=5e-4)
    assert found.k == 1617
    assert found.p == pytest.approx(3.59e-7, abs=5e-10)
    assert found.cusum == pytest.approx(2.9518, abs=5e-5)
    assert found.p_cusum < 1e-6
    # 72.4 with the products over n; over the pairs, as here, r is n / (n - 1) larger
    assert found.effective == pytest.approx(72.4, abs=0.3)
    assert effective_size(100, 0.15986) == pytest.approx(72.4, abs=0.05)


def test_a_trend_test_is_fooled_by_a_step():
    found = mann_kendall(FLOW)
    assert found.s == -1387
    assert found.variance == pytest.approx(112728.33, abs=5e-3)
    assert found.z == pytest.approx(-4.12807, abs=5e-6)
    assert found.p == pytest.approx(3.658e-5, abs=5e-9)
    assert found.slope == pytest.approx(-2.6, abs=1e-9)
    np.testing.assert_allclose(found.interval, [-3.628, -1.429], atol=5e-3)
    assert lag_one_correlation(FLOW) == pytest.approx(0.49841, abs=0.006)
    assert effective_size(100, 0.49841) == pytest.approx(33.5, abs=0.05)


@pytest.mark.parametrize("memory", ["ranks", "lag one"])
def test_memory_inflates_what_a_red_series_says(memory):
    generator = np.random.default_rng(1)
    wrong, right = 0, 0
    for _ in range(150):
        draw = generator.standard_normal(260)
        for i in range(1, 260):
            draw[i] += 0.6 * draw[i - 1]
        wrong += mann_kendall(draw[60:]).p < 0.05
        right += mann_kendall(draw[60:], memory=memory).p < 0.05
    # independent: some 30 of 100; corrected: 5, 150 draws of 10 % stay below 26
    assert wrong > 30
    assert right < 26


def test_white_noise_is_not_inflated():
    draw = np.random.default_rng(3).standard_normal(100)
    assert mann_kendall(draw, memory="lag one").inflation < 1.3
    assert mann_kendall(draw).inflation == 1.0


def test_monotone_changes_leave_the_ranks():
    first, second = mann_kendall(WORKED), mann_kendall(np.exp(np.array(WORKED) / 5.0))
    assert (first.s, first.p) == (second.s, second.p)
    assert mann_kendall(-np.array(WORKED)).s == -54


def test_gaps_and_times():
    time = 3.0 * np.arange(30.0)
    values = 0.5 * time + 1.0
    values[[4, 9]] = np.nan
    found = mann_kendall(values, time)
    assert found.slope == pytest.approx(0.5)
    assert found.tau == 1.0


def test_height_of_a_bridge():
    # Kolmogorov's table: 1.3581 at 5 %, 1.6276 at 1 % (from memory)
    assert bridge_p(1.3581) == pytest.approx(0.05, abs=1e-4)
    assert bridge_p(1.6276) == pytest.approx(0.01, abs=1e-4)
    assert bridge_p(0.0) == pytest.approx(1.0)


def test_coincidences_by_hand():
    found = coincidence([12.0, 40.0, 70.0], [10.0, 11.0, 39.0, 80.0], 0.0, 100.0, 5.0)
    assert found.precursor_rate == pytest.approx(2 / 3)
    assert found.trigger_rate == pytest.approx(3 / 4)
    p = 1.0 - 0.95**4
    assert found.precursor_expected == pytest.approx(p)
    # at least 2 of 3
    assert found.precursor_p == pytest.approx(3 * p**2 * (1 - p) + p**3)
    late = coincidence([12.0, 40.0, 70.0], [10.0, 11.0, 39.0, 80.0], 0.0, 100.0, 5.0, delay=1.5)
    assert late.precursor_rate == pytest.approx(1 / 3)
    # law: delay is a shift of the answers
    other = coincidence([10.5, 38.5, 68.5], [10.0, 11.0, 39.0, 80.0], 0.0, 98.5, 5.0)
    assert other.trigger_rate == late.trigger_rate
    assert other.trigger_p == pytest.approx(late.trigger_p)


def test_chance_of_coincidences_by_simulation():
    generator = np.random.default_rng(5)
    rates = [
        coincidence(generator.uniform(0, 1000, 20), generator.uniform(0, 1000, 10), 0, 1000, 10.0)
        for _ in range(400)
    ]
    expected = 1.0 - 0.99**10
    assert np.mean([r.precursor_rate for r in rates]) == pytest.approx(expected, abs=0.012)
    assert np.mean([r.precursor_p <= 0.05 for r in rates]) < 0.09
    exact = coincidence([20.0, 30.0], [10.0], 0.0, 100.0, 10.0)
    assert exact.precursor_rate == 0.5


def test_samples_of_times_are_averaged():
    found = coincidence([[12.0, 30.0]], [10.0], 0.0, 100.0, 5.0)
    assert found.precursor_rate == 0.5
    sure = coincidence([12.0], [10.0], 0.0, 100.0, 5.0)
    assert found.precursor_p == pytest.approx(0.5 * sure.precursor_p + 0.5)


def test_what_has_no_answer_is_a_sentence():
    with pytest.raises(SolutionError, match="3 values present"):
        mann_kendall([1.0, 2.0, 3.0, np.nan])
    with pytest.raises(SolutionError, match="does not vary"):
        find_step(np.ones(9))
    with pytest.raises(SettingsError, match="known are none"):
        mann_kendall(WORKED, memory="pink")
    with pytest.raises(SolutionError, match="without gaps"):
        mann_kendall([*WORKED, np.nan], memory="ranks")
    with pytest.raises(SettingsError, match="expected equal, ascending"):
        mann_kendall(WORKED, np.zeros(14))
    with pytest.raises(SettingsError, match="no cause was given"):
        coincidence([1.0], [], 0.0, 10.0, 1.0)
    with pytest.raises(SettingsError, match="answer 2 at 30 is outside"):
        coincidence([1.0, 30.0], [2.0], 0.0, 10.0, 1.0)
    with pytest.raises(SettingsError, match="shorter than the record"):
        coincidence([1.0], [2.0], 0.0, 10.0, 11.0)
