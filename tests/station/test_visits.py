"""The shortest way round: every order tried for a few, a circle for many, no luck needed."""

import itertools

import numpy as np
import pytest

from stakeline.errors import SettingsError
from stakeline.station.visits import shortest_round


def between(points):
    points = np.asarray(points, float)
    return np.linalg.norm(points[:, None] - points[None], axis=2)


@pytest.mark.parametrize("seed", range(4))
def test_no_order_of_few_is_shorter(seed):
    distance = between(np.random.default_rng(seed).uniform(0.0, 1.0, (7, 2)))
    found = shortest_round(distance, 2)
    others = [0, 1, 3, 4, 5, 6]
    best = min(
        sum(distance[a, b] for a, b in itertools.pairwise((2, *order, 2)))
        for order in itertools.permutations(others)
    )
    assert found.exact
    assert found.length_m == pytest.approx(best)
    assert sorted(found.order[1:]) == list(range(7))


def test_many_on_a_circle_are_visited_along_it():
    angle = np.random.default_rng(1).permutation(np.arange(18)) * 2.0 * np.pi / 18
    found = shortest_round(between(np.column_stack([np.cos(angle), np.sin(angle)])))
    assert not found.exact
    assert found.length_m == pytest.approx(18 * 2.0 * np.sin(np.pi / 18))


def test_one_place_needs_no_way():
    alone = shortest_round(np.zeros((1, 1)))
    assert alone.order == (0, 0)
    assert alone.length_m == 0.0


@pytest.mark.parametrize(
    ("distance", "sentence"),
    [
        (np.zeros((2, 3)), r"shape \(2, 3\)"),
        ([[0.0, 1.0], [2.0, 0.0]], "the same in both directions"),
        ([[1.0, 1.0], [1.0, 0.0]], "none to itself"),
    ],
)
def test_what_is_no_table_of_distances_is_refused(distance, sentence):
    with pytest.raises(SettingsError, match=sentence):
        shortest_round(distance)
