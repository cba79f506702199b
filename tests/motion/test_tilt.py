"""The geometry of a leaning pole, and that ice which moves is not taken for one."""

import numpy as np
import pytest

from stakeline.errors import SettingsError, SolutionError
from stakeline.motion.tilt import height_loss_m, tilt_signature

LENGTH_M = 3.0


def test_loss_is_that_of_a_circle():
    angle = np.radians([0.0, 1.0, 10.0, 60.0, 90.0])
    loss = height_loss_m(LENGTH_M * np.sin(angle), LENGTH_M)
    np.testing.assert_allclose(loss, LENGTH_M * (1 - np.cos(angle)), atol=1e-12)  # geometry
    # d^2 / 2L for a small lean: 10 cm on 3 m lose 1.67 mm.
    assert height_loss_m(0.1, LENGTH_M) == pytest.approx(0.1**2 / 6.0, rel=1e-3)


def leaning(seed, lost):
    rng = np.random.default_rng(seed)
    wander = np.linspace(0.0, 0.6, 400)[:, None] * [[0.6, 0.8]]
    up = -lost * height_loss_m(np.hypot(*wander.T), LENGTH_M) + rng.normal(0, 0.008, 400)
    return wander, up


def test_a_leaning_pole_is_seen():
    found = [tilt_signature(*leaning(s, 1.0), LENGTH_M) for s in range(20)]
    z = np.array([(f.coefficient - 1.0) / f.sigma for f in found])
    assert np.abs(z).max() < 4.0
    assert sum(f.leans for f in found) >= 16
    assert not any(f.excluded and f.leans for f in found)
    assert found[0].largest_loss_m == pytest.approx(height_loss_m(0.6, LENGTH_M))


def test_a_change_of_flow_without_loss_is_no_tilt():
    found = [tilt_signature(*leaning(s, 0.0), LENGTH_M) for s in range(20)]
    assert all(f.excluded and not f.leans for f in found)


def test_impossible_input_is_refused():
    with pytest.raises(SettingsError, match="no more than the pole"):
        height_loss_m(3.1, LENGTH_M)
    with pytest.raises(SolutionError, match="5"):
        tilt_signature(np.zeros((10, 2)), np.zeros(10), LENGTH_M)
