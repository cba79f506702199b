"""Scales of contrasts: what they leave as it is, and what they find in made-up restlessness."""

import numpy as np
import pytest

from stakeline.inference.permutation import Windows, contrasts
from stakeline.inference.unrest import contrast_scales

WINDOWS = Windows(6, 6, (0, 3))


def test_a_flat_index_scales_nothing():
    found = contrasts(np.random.default_rng(1).standard_normal((2, 100)), WINDOWS)
    scales = contrast_scales(found, np.full(100, 2.0), WINDOWS)
    np.testing.assert_allclose(scales, 1.0, rtol=1e-6)


def test_a_series_that_is_not_restless_keeps_one_scale():
    # a factor below 0 is not taken: loud where the index is 0, quiet where it is 1
    index = np.repeat([0.0, 1.0], 200)
    values = np.random.default_rng(2).standard_normal((1, 400)) * np.where(index > 0.0, 1.0, 5.0)
    scales = contrast_scales(contrasts(values, WINDOWS), index, WINDOWS)
    np.testing.assert_allclose(scales, 1.0, rtol=1e-6)


def test_restless_months_get_their_scale_and_the_unit_of_the_series_does_not_matter():
    index = np.repeat([0.0, 8.0], 2000)
    values = np.random.default_rng(3).standard_normal((1, 4000)) * np.sqrt(1.0 + index)
    scales = contrast_scales(contrasts(values, WINDOWS), index, WINDOWS)
    calm, restless = scales[100:1900, 0, 0], scales[2100:3900, 0, 0]
    assert np.ptp(calm) == np.ptp(restless) == pytest.approx(0.0, abs=1e-12)
    assert restless[0] / calm[0] == pytest.approx(3.0, rel=0.15)  # sqrt(9); the rest is chance
    other = contrast_scales(contrasts(1000.0 * values, WINDOWS), index, WINDOWS)
    np.testing.assert_allclose(other, scales, rtol=1e-6)


def test_what_is_not_known_of_the_index_is_left_out_of_its_means():
    index = np.where(np.arange(200) % 5 == 0, np.nan, 4.0)
    found = contrasts(np.random.default_rng(4).standard_normal((1, 200)), WINDOWS)
    np.testing.assert_allclose(contrast_scales(found, index, WINDOWS), 1.0, rtol=1e-6)
