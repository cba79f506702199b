"""Walkers: the law they are given, with several tops, by quadrature on a grid."""

import numpy as np
import pytest
from scipy.special import logsumexp
from scipy.stats import multivariate_t

from stakeline.lakes.walkers import TAILS, Mixture, law_samples


def mixture(places, roots, weights):
    return Mixture(np.array(places, float), np.array(roots, float), np.array(weights, float))


def test_the_mixture_is_that_of_t_distributions():
    roots = [[[1.0, 0.0], [0.5, 2.0]], [[0.3, 0.0], [0.0, 0.4]]]
    one = mixture([[0.0, 1.0], [4.0, -2.0]], roots, [0.3, 0.7])
    place = np.random.default_rng(1).uniform(-3.0, 5.0, (50, 2))
    # expected: scipy's multivariate t, shape = root root'
    parts = [
        multivariate_t(p, r @ r.T, TAILS).logpdf(place) + np.log(w)
        for p, r, w in zip(one.place, one.root, one.weight, strict=True)
    ]
    assert one.log_density(place) == pytest.approx(logsumexp(parts, axis=0))
    drawn = one.drawn(np.random.default_rng(2), 20000)
    # expected: medians are the middles; a place nearer one middle than the other is nearly its own
    right = drawn[:, 0] > 3.0
    assert np.median(drawn[right], axis=0) == pytest.approx([4.0, -2.0], abs=0.1)


def banana(place):
    """Return a bent law of two tops, the second a third of the first; cut at x = 5."""
    x, y = place.T
    first = -0.5 * ((x + 1.0) / 0.6) ** 2 - 0.5 * ((y - x**2) / 0.2) ** 2
    second = -0.5 * ((x - 3.5) / 0.3) ** 2 - 0.5 * ((y + 1.0) / 0.4) ** 2 + np.log(1.0 / 3.0)
    return np.where(x < 5.0, np.logaddexp(first, second), -np.inf)


def by_grid():
    """Return the mean of x and y and the share of the second top, by brute force."""
    x, y = np.meshgrid(np.linspace(-5.0, 5.0, 301), np.linspace(-4.0, 12.0, 401))
    density = np.exp(banana(np.stack([x.ravel(), y.ravel()], axis=1))).reshape(x.shape)
    density /= density.sum()
    return (x * density).sum(), (y * density).sum(), density[x > 2.0].sum()


@pytest.mark.parametrize("weights", [(0.97, 0.03), (0.5, 0.5), (0.03, 0.97)])
def test_tops_get_their_share_whichever_way_one_begins(weights):
    roots = [np.diag([0.5, 0.3]), np.diag([0.4, 0.4])]
    begun = mixture([[-1.0, 1.0], [3.4, -0.9]], roots, weights)
    samples, accepted = law_samples(banana, begun, np.random.default_rng(4))
    assert accepted > 0.15
    mean_x, mean_y, share = by_grid()
    # chance of 400 walkers: 0.022 of the share, three of its sigmas
    assert np.mean(samples[:, 0] > 2.0) == pytest.approx(share, abs=0.07)
    assert samples[:, 0].mean() == pytest.approx(mean_x, abs=0.35)
    assert samples[:, 1].mean() == pytest.approx(mean_y, abs=0.35)
    assert samples[:, 0].max() < 5.0


def test_a_normal_law_cut_at_a_bound():
    middle, sigma = np.array([0.3, -1.0, 2.0]), np.array([0.5, 2.0, 0.1])

    def valued(place):
        value = -0.5 * (((place - middle) / sigma) ** 2).sum(axis=1)
        return np.where(place[:, 0] > 0.0, value, -np.inf)

    begun = mixture([middle], [np.diag(1.6 * sigma)], [1.0])
    samples, _ = law_samples(valued, begun, np.random.default_rng(2))
    # expected: mean and sigma of the normal law cut at 0.6 sigma below its middle, by quadrature
    x = np.linspace(0.0, 3.5, 20001)
    density = np.exp(-0.5 * ((x - 0.3) / 0.5) ** 2)
    mean = (x * density).sum() / density.sum()
    assert samples[:, 0].mean() == pytest.approx(mean, abs=0.06)
    assert samples[:, 1].std() == pytest.approx(2.0, rel=0.1)
    assert np.abs(samples[:, 2] - 2.0).mean() == pytest.approx(0.1 * np.sqrt(2 / np.pi), rel=0.1)
