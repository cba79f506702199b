"""Published values against ours: exact permutation, trends, a step, sizes, pooling, lines.

    python validation/decide_formulas.py

Exit code 1 where one falls short. No data are read.
"""

import numpy as np
from _measured import Table

from stakeline.inference.dose import line_with_errors
from stakeline.inference.memory import effective_size, error_factor
from stakeline.inference.permutation import paired_permutation
from stakeline.inference.pooling import pool
from stakeline.inference.power import power_formula, smallest_formula
from stakeline.inference.trend_tests import find_step, mann_kendall

FISHER = "Fisher 1935, section 21"
HAND = "Little, course note, worked by hand"
COBB = "Cobb 1978"
FORMULA = "arithmetic re-done from the formula"
MEMORY = "from memory"
MAIZE = 49, -67, 8, 16, 6, 23, 28, 41, 14, 29, 56, 24, 75, 60, -48
WORKED = 12.9, 14.8, 13.2, 15.7, 13.8, 15.6, 12.9, 11.0, 17.3, 15.9, 19.0, 18.3, 20.1, 21.7
NILE = """
1120 1160 963 1210 1160 1160 813 1230 1370 1140 995 935 1110 994 1020 960 1180 799 958 1140 1100
1210 1150 1250 1260 1220 1030 1100 774 840 874 694 940 833 701 916 692 1020 1050 969 831 726 456
824 702 1120 1100 832 764 821 768 845 864 862 698 845 744 796 1040 759 781 865 845 944 984 897 822
1010 771 676 649 846 812 742 801 1040 860 874 848 890 744 749 838 1050 918 986 797 923 975 815 1020
906 901 1170 912 746 919 718 714 740
"""
EFFECTIVE = {
    0.3: (0.53846, 1.3628),
    0.5: (0.33333, 1.7321),
    0.8: (0.11111, 3.0),
    0.9: (0.05263, 4.3589),
    0.95: (0.02564, 6.2450),
}
SCHOOLS = np.array([28.0, 8.0, -3.0, 7.0, -1.0, 1.0, 18.0, 12.0])
SCHOOL_SIGMA = np.array([15.0, 10.0, 16.0, 11.0, 9.0, 11.0, 10.0, 18.0])
PEARSON_X = np.array([0.0, 0.9, 1.8, 2.6, 3.3, 4.4, 5.2, 6.1, 6.5, 7.4])
PEARSON_Y = np.array([5.9, 5.4, 4.4, 4.6, 3.5, 3.7, 2.8, 2.8, 2.4, 1.5])
WEIGHT_X = np.array([1000.0, 1000.0, 500.0, 800.0, 200.0, 80.0, 60.0, 20.0, 1.8, 1.0])
WEIGHT_Y = np.array([1.0, 1.8, 4.0, 8.0, 20.0, 20.0, 70.0, 70.0, 100.0, 500.0])


def compare(table, quantity, found, published, digit, source):
    """Say how far a value is off, in units of half the last printed digit; 1 is the bar."""
    table.line(
        f"{quantity}: {found:.7g}, published {published:.7g}",
        abs(found - published) / (0.5 * digit),
        1.001,
        "",
        source,
    )


def exact(table):
    p, extreme, patterns = paired_permutation(MAIZE)
    compare(table, "Darwin's maize, patterns as extreme", extreme, 1726, 1, FISHER)
    compare(table, "all patterns", patterns, 32768, 1, FISHER)
    compare(table, "p", p, 0.0526733, 1e-7, FORMULA)


def trends(table):
    found = mann_kendall(WORKED)
    compare(table, "Mann-Kendall S", found.s, 54, 1, HAND)
    compare(table, "its variance", found.variance, 332.667, 1e-3, HAND)
    compare(table, "Z", found.z, 2.9058, 1e-4, HAND)
    compare(table, "p, one-sided", found.p / 2.0, 0.0018, 1e-4, HAND)
    compare(table, "slope of Sen", found.slope, 0.566667, 1e-6, FORMULA)
    compare(table, "tau without ties", found.tau, 0.59341, 1e-5, FORMULA)
    compare(table, "tau with ties", found.tau_ties, 0.59669, 1e-5, FORMULA)


def nile(table):
    flow = np.array(NILE.split(), float)
    found = find_step(flow)
    compare(table, "Nile, last year before the step", 1870 + found.after, 1898, 1, COBB)
    for name, value, published in zip(
        ("mean before", "mean after"), found.means, (1097.75, 849.9722), strict=True
    ):
        compare(table, name, value, published, 1e-4, FORMULA)
    for name, value, published in zip(
        ("variance before", "variance after"), found.variances, (17573.12, 15352.92), strict=True
    ):
        compare(table, name, value, published, 1e-2, COBB)
    compare(table, "F of the step", found.f, 75.930, 1e-3, FORMULA)
    compare(table, "K of Pettitt", found.k, 1617, 1, FORMULA)
    compare(table, "p of Pettitt", found.p, 3.59e-7, 1e-9, FORMULA)
    compare(table, "scaled cumulative sum", found.cusum, 2.9518, 1e-4, FORMULA)
    trend = mann_kendall(flow)
    compare(table, "Mann-Kendall S, fooled by the step", trend.s, -1387, 1, FORMULA)
    compare(table, "Z", trend.z, -4.12807, 1e-5, FORMULA)


def sizes(table):
    for r, (share, factor) in EFFECTIVE.items():
        found = effective_size(10**6, r) / 10**6
        compare(table, f"effective share of n at r = {r}", found, share, 1e-5, FORMULA)
        compare(table, f"factor on sigma at r = {r}", float(error_factor(r)), factor, 1e-4, FORMULA)


def others(table):
    found = pool(SCHOOLS, np.diag(SCHOOL_SIGMA**2), np.arange(8))
    compare(table, "eight schools, mean effect", found.effect, 8.0, 1.0, f"Gelman et al., {MEMORY}")
    compare(table, "its sigma", found.sigma, 5.0, 1.0, f"Gelman et al., {MEMORY}")
    slope, start, _, _ = line_with_errors(PEARSON_X, WEIGHT_X**-0.5, PEARSON_Y, WEIGHT_Y**-0.5)
    compare(table, "Pearson's data, slope", slope, -0.4805, 1e-4, f"York 1966, {MEMORY}")
    compare(table, "start", start, 5.4799, 1e-4, f"York 1966, {MEMORY}")
    compare(table, "change seen with 80 %, sigmas", smallest_formula(1.0, 1e7), 2.80, 0.01, FORMULA)
    cohen = power_formula(0.5, np.sqrt(2.0 / 64.0), 126)
    compare(table, "power, two samples of 64, d = 0.5", cohen, 0.80, 0.01, f"Cohen 1988, {MEMORY}")


def main():
    table = Table("Statistics of decisions: off by how many halves of the last printed digit")
    for part in (exact, trends, nile, sizes, others):
        part(table)
    table.end()


if __name__ == "__main__":
    main()
