"""Integer least squares: laws of the decorrelation, brute force, the published example."""

import itertools

import numpy as np
import pytest

from stakeline.errors import SolutionError
from stakeline.positioning.integers import (
    certainties,
    critical_ratio,
    decorrelate,
    integer_least_squares,
)

# de Jonge & Tiberius (1996), LGR series 12, section 3.8: covariance, real values, distances
PUBLISHED = np.array([[6.290, 5.978, 0.544], [5.978, 6.292, 2.340], [0.544, 2.340, 6.288]])
VALUES = np.array([5.450, 3.100, 2.970])


def correlated(rng, n, size=1.0):
    """Return a covariance as satellite geometry makes it: a few strong common directions."""
    common = rng.normal(0.0, 3.0, (n, 3))
    return size * (common @ common.T + np.diag(rng.uniform(0.005, 0.05, n)))


def by_brute_force(values, covariance, bound):
    """Return the best two distances of all integers in the box around the ellipsoid ``bound``."""
    inverse = np.linalg.inv(covariance)
    reach = np.sqrt(bound * np.diag(covariance))
    sides = [np.arange(np.ceil(v - r), v + r) for v, r in zip(values, reach, strict=True)]
    apart = values - np.array(list(itertools.product(*sides)))
    distance = np.einsum("ki,ij,kj->k", apart, inverse, apart)
    return np.sort(distance)[:2]


def test_the_published_example():
    found = integer_least_squares(VALUES, PUBLISHED, 3)
    np.testing.assert_array_equal(found.vectors, [[5, 3, 4], [6, 4, 4], [4, 2, 4]])
    expected = [0.2183310953369383, 0.3072725757902666, 0.5934096834669]
    np.testing.assert_allclose(found.distances, expected, rtol=0, atol=1e-12)
    assert found.ratio == pytest.approx(1.40737, abs=1e-5)
    assert found.ratio < 2.0  # must be rejected
    form = decorrelate(PUBLISHED)
    z = form.forth
    transformed = [[4.476, 0.334, 0.230], [0.334, 1.146, 0.082], [0.230, 0.082, 0.626]]
    np.testing.assert_allclose(z @ PUBLISHED @ z.T, transformed, atol=1e-12)


def test_a_change_of_variables_is_whole_and_loses_nothing():
    rng = np.random.default_rng(5)
    for n in (1, 2, 5, 12):
        q = correlated(rng, n)
        form = decorrelate(q)
        np.testing.assert_array_equal(form.back, np.round(form.back))
        np.testing.assert_array_equal(form.forth @ form.back, np.eye(n))
        again = form.lower.T @ np.diag(form.variance) @ form.lower
        np.testing.assert_allclose(again, form.forth @ q @ form.forth.T, atol=1e-9 * q.max())
        assert (np.abs(np.tril(form.lower, -1)) <= 0.5 + 1e-9).all()


def test_the_search_finds_what_brute_force_finds():
    rng = np.random.default_rng(6)
    for n in (1, 2, 3, 4):
        for _ in range(5):
            values, q = rng.uniform(-50, 50, n), correlated(rng, n, 0.1)
            found = integer_least_squares(values, q)
            all_of = by_brute_force(values, q, found.distances[1] * (1.0 + 1e-9))
            np.testing.assert_allclose(found.distances, all_of, rtol=1e-7)


def test_whole_shifts_shift_the_answer_and_the_order_does_not_matter():
    rng = np.random.default_rng(7)
    values, q = rng.uniform(-5, 5, 8), correlated(rng, 8)
    found = integer_least_squares(values, q)
    shift = rng.integers(-(10**6), 10**6, 8)
    moved = integer_least_squares(values + shift, q)
    np.testing.assert_array_equal(moved.vectors, found.vectors + shift)
    order = rng.permutation(8)
    turned = integer_least_squares(values[order], q[np.ix_(order, order)])
    np.testing.assert_array_equal(turned.vectors[0], found.vectors[0][order])
    np.testing.assert_allclose(turned.distances, found.distances, rtol=1e-9)


def test_the_success_rate_is_kept_by_simulation():
    rng = np.random.default_rng(8)
    q = correlated(rng, 5, 0.02)
    success = decorrelate(q).success
    root = np.linalg.cholesky(q)
    right = np.mean(
        [
            not integer_least_squares(root @ rng.standard_normal(5), q).vectors[0].any()
            for _ in range(600)
        ]
    )
    assert 0.3 < success < 1.0
    assert right >= success - 3.0 * np.sqrt(success * (1 - success) / 600)  # a lower bound


def test_the_critical_ratio_holds_its_failure_rate():
    rng = np.random.default_rng(10)
    q = correlated(rng, 4, 1.5)
    limit = critical_ratio(q, rng, failure_rate=0.01, samples=2000)
    assert limit > 1.0
    root = np.linalg.cholesky(q)
    bad = 0
    for _ in range(2000):
        found = integer_least_squares(root @ rng.standard_normal(4), q)
        bad += bool(found.vectors[0].any() and found.ratio >= limit)
    assert bad / 2000 < 0.02  # 0.01 and four of its own standard deviations
    assert critical_ratio(1e-4 * np.eye(3), rng) == 1.0  # certain anyway


def test_certainty_is_that_of_a_normal_error_under_half_a_cycle():
    np.testing.assert_allclose(certainties(np.array([0.25**2])), 0.954499736, atol=1e-9)


@pytest.mark.parametrize(
    ("covariance", "sentence"),
    [
        (np.ones((2, 2)), "not positive definite .* leave one out"),
        (np.array([[1.0, 0.5], [0.0, 1.0]]), "not symmetric and finite"),
        (np.ones((2, 3)), r"shape \(2, 3\); a square one"),
    ],
)
def test_a_wrong_covariance_is_a_sentence(covariance, sentence):
    with pytest.raises(SolutionError, match=sentence):
        integer_least_squares(np.zeros(2), covariance)


def test_values_and_samples_that_say_nothing_are_sentences():
    with pytest.raises(SolutionError, match="not finite; leave it out"):
        integer_least_squares([np.nan], np.eye(1))
    with pytest.raises(SolutionError, match=r"cannot show a failure rate of 0\.001; give at least"):
        critical_ratio(np.eye(2), np.random.default_rng(1), samples=100)
    with pytest.raises(SolutionError, match="at least one is needed"):
        integer_least_squares([0.1], np.eye(1), 0)
