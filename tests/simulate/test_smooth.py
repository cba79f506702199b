"""Random functions: nodes are met, statistics are as asked."""

import numpy as np

from stakeline.simulate.smooth import Smooth, gauss_markov, random_walk


def test_nodes_are_met_and_each_column_has_its_own_time():
    values = np.random.default_rng(1).normal(size=(9, 2))
    curve = Smooth(-20.0, 10.0, values)
    np.testing.assert_allclose(curve(np.arange(-20.0, 61.0, 10.0)), values, atol=1e-12)
    mixed = curve(np.array([[0.0, 30.0]]))
    np.testing.assert_allclose(mixed[0], [values[2, 0], values[5, 1]], atol=1e-12)


def test_between_nodes_a_cubic_is_exact():
    # a cubic spline reproduces cubics: definition (not-a-knot ends)
    node = np.arange(0.0, 11.0)
    curve = Smooth(0.0, 1.0, (node**3 - 2.0 * node)[:, None])
    assert abs(curve(np.array([4.3]))[0, 0] - (4.3**3 - 8.6)) < 1e-10


def test_random_walk_grows_with_the_root_of_time():
    walk = random_walk(np.random.default_rng(2), 0.0, 100.0, 10.0, 4000, 0.3)
    end = walk(np.array([100.0]))[0]
    # variance of a random walk: rate squared times time; 4000 samples give it to 2.2 %
    assert abs(end.var() / (0.3**2 * 100.0) - 1.0) < 0.09
    assert abs(walk(np.array([0.0]))).max() == 0.0


def test_gauss_markov_has_its_sigma_and_memory():
    curve = gauss_markov(np.random.default_rng(3), 0.0, 600.0, 60.0, 4000, 2.0, 300.0)
    first, later = curve(np.array([0.0, 300.0]))
    assert abs(first.std() / 2.0 - 1.0) < 0.05
    # autocorrelation exp(-1) after one memory: definition of the process
    assert abs(np.corrcoef(first, later)[0, 1] - np.exp(-1.0)) < 0.05
