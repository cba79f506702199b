"""The tide's course apart from the walk, by law; the walk itself is tested beside the estimator."""

import numpy as np

from stakeline.positioning.motion_noise import TIDES_H, tide_in

SECONDS = np.arange(0.0, 86400.0, 120.0)


def test_tides_are_found_beside_a_straight_way():
    turns = 2.0 * np.pi * SECONDS / 3600.0
    tide = 0.6 * np.cos(turns / TIDES_H[0] + 0.3) + 0.2 * np.cos(turns / TIDES_H[1])
    way = 2.0 + 1.2 * SECONDS / 86400.0
    found = tide_in(SECONDS, np.stack([way, tide, way + tide], axis=1))
    assert np.abs(found[:, 0]).max() < 1e-6
    assert np.allclose(found[:, 1], found[:, 2], atol=1e-6)
    rest = np.polynomial.Polynomial.fit(SECONDS, found[:, 1] - tide, 1)
    assert np.abs(found[:, 1] - tide - rest(SECONDS)).max() < 2e-3  # the prior's share of 0.6 m
