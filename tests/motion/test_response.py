"""What estimators make of a step and of an impulse."""

import numpy as np
import pytest

from stakeline.errors import SettingsError, SolutionError
from stakeline.motion.response import response
from stakeline.motion.smoother import MotionModel

MODEL = MotionModel(1e-3, np.inf, (0.01,), (0.1,))
RUN = {"interval_d": 1 / 24, "sigma_m": 0.005}


@pytest.mark.parametrize("estimator", ["smooth", "filtered", "lagged"])
def test_a_step_becomes_a_step_and_an_impulse_keeps_its_area(estimator):
    # law: velocity in, velocity out, in the mean
    found = response(estimator, MODEL, **RUN, lag_d=0.5 if estimator == "lagged" else None)
    assert found.step[-1] == pytest.approx(1.0, abs=1e-6)
    assert found.step[0] == pytest.approx(0.0, abs=1e-6)
    # the last estimates of a fixed lag see less than their lag ahead: a few parts in 1e5
    assert found.impulse.sum() * RUN["interval_d"] == pytest.approx(1.0, abs=3e-5)
    # law: the impulse response adds up to the step response, within one of its terms
    added = np.cumsum(found.impulse) * RUN["interval_d"]
    assert abs(added - found.step).max() < 1.01 * found.impulse.max() * RUN["interval_d"]


def test_the_filter_begins_with_its_cause():
    found = response("filtered", MODEL, **RUN)
    assert (found.step[found.offset_d < 0.0] == 0.0).all()
    assert (found.impulse[found.offset_d < 0.0] == 0.0).all()
    assert found.lead_d == 0.0
    assert found.lag_d > 0.2


def test_the_smoother_is_even_and_leads():
    found = response("smooth", MODEL, **RUN)
    np.testing.assert_allclose(found.impulse, found.impulse[::-1], atol=1e-9)
    np.testing.assert_allclose(found.step + found.step[::-1], 1.0, atol=1e-9)
    assert abs(found.lag_d) < 1e-6
    assert found.lead_d > 0.3 * found.width_d


def test_more_future_means_less_lag():
    lags = [response("lagged", MODEL, **RUN, lag_d=d).lag_d for d in (0.0, 0.5, 1.5)]
    assert lags[0] == pytest.approx(response("filtered", MODEL, **RUN).lag_d, abs=1e-6)
    assert lags[0] > lags[1] > lags[2] > -1e-3


def test_width_goes_as_the_fourth_root():
    # law of dimensions: time is (noise density / q)^(1/4); 16 times less q, twice the width
    sharp, wide = (
        response("smooth", MotionModel(q), interval_d=1 / 96, sigma_m=0.01) for q in (1.6e-3, 1e-4)
    )
    assert wide.width_d / sharp.width_d == pytest.approx(2.0, rel=0.01)


def test_half_a_step_stands_where_lag_says():
    found = response("filtered", MODEL, **RUN)
    assert np.interp(found.lag_d, found.offset_d, found.step) == pytest.approx(0.5, abs=1e-9)


def test_what_cannot_be_answered_is_a_sentence():
    with pytest.raises(SettingsError, match=r"'best' is not known; known are \('smooth'"):
        response("best", MODEL, **RUN)
    with pytest.raises(SettingsError, match="needs lag_d"):
        response("lagged", MODEL, **RUN)
    with pytest.raises(SettingsError, match="more than 0"):
        response("smooth", MODEL, 0.0, 0.01)
    with pytest.raises(SolutionError, match="longer span_d"):
        response("smooth", MotionModel(1e-9), **RUN, span_d=2.0)
