"""Where to put a station on a lake: symmetry, chords, a second formula of what it can see."""

import numpy as np
import pytest
from scipy.optimize import least_squares

from stakeline.errors import SettingsError
from stakeline.lakes import placement as p
from stakeline.lakes.outline import Outline, drawn_outlines, ellipse_outline
from stakeline.lakes.response import FLOWS, PLATES, Ice, lake_share
from stakeline.motion.smoother import MotionModel

ICE = Ice(700.0)
WHITE = MotionModel(0.0, np.inf, (), (), 1.0)
COLOURED = MotionModel(1e-8, np.inf, (0.006,), (2.0,), 1.0)


def lake(half_axes_m=(3000.0, 3000.0), turn_rad=0.0, centre_m=(0.0, 0.0)):
    return ellipse_outline("Lower Halvard", centre_m, half_axes_m, turn_rad)


def sample(outlines=None, methods=FLOWS, **more):
    return p.share_sample(outlines or (lake(),), ICE, methods, **more)


@pytest.mark.parametrize("methods", [FLOWS, PLATES, FLOWS[:1], PLATES[1:]])
def test_on_a_circle_the_middle_is_best(methods):
    drawn = sample(methods=methods)
    best = p.best_place(drawn)
    cell = np.diff(drawn.axis_m)[0]
    assert np.hypot(*best.true_m) < 1.5 * cell
    assert best.margin_m[1] == pytest.approx(3000.0, abs=1.6 * cell)


def test_the_share_in_the_middle_is_that_of_a_circular_lake():
    best = p.best_place(sample(methods=FLOWS[:1]))
    assert best.share == pytest.approx(lake_share(3000.0, ICE, FLOWS[0]), abs=0.02)


def test_a_turned_lake_has_its_place_turned():
    long = p.best_place(sample((lake((4000.0, 900.0)),)), p.Drift((1.0, 0.0)), 365.0)
    up = p.best_place(sample((lake((4000.0, 900.0), 0.5 * np.pi),)), p.Drift((0.0, 1.0)), 365.0)
    assert up.true_m == pytest.approx([-long.true_m[1], long.true_m[0]], abs=1.0)
    assert up.dwell_d == pytest.approx(long.dwell_d, rel=1e-6)


def test_a_station_that_is_carried_begins_upstream_by_half_its_way():
    narrow = sample((lake((1000.0, 1000.0)),))
    best = p.best_place(narrow, p.Drift((2.0, 0.0)), 400.0)
    assert best.true_m == pytest.approx([-400.0, 0.0], abs=1.5 * np.diff(narrow.axis_m)[0])
    middle = p.judged_place(narrow, (0.0, 0.0), p.Drift((2.0, 0.0)), 400.0)
    assert best.stay_share[1] > middle.stay_share[1] + 0.05


def test_dwell_is_chord_over_speed():
    outline = lake()
    for x, y in ((0.0, 0.0), (-1000.0, 500.0), (2000.0, -2000.0)):
        chord = np.sqrt(3000.0**2 - y**2) - x
        assert p.dwell_d(outline, (x, y), (1.5, 0.0)) == pytest.approx(chord / 1.5, rel=2e-3)
    assert p.dwell_d(outline, (3100.0, 0.0), (1.5, 0.0)) == 0.0
    assert p.dwell_d(outline, (0.0, 0.0), (0.0, 0.0)) == np.inf


def test_dwell_takes_true_metres_on_a_map():
    on_map = ellipse_outline("a", (0.0, -1.4e6), (3000.0, 3000.0), epsg=3413)
    assert on_map.scale != pytest.approx(1.0, abs=1e-3)
    assert p.dwell_d(on_map, (0.0, -1.4e6), (0.0, 2.0)) == pytest.approx(1500.0, rel=2e-3)


def test_dwell_ends_at_an_island():
    island = 300.0 * np.array([[1.0, 1.0], [1.0, -1.0], [-1.0, -1.0], [-1.0, 1.0]]) + [1500.0, 0.0]
    outline = Outline("a", lake().ring_m, (island,))
    assert p.dwell_d(outline, (0.0, 0.0), (1.0, 0.0)) == pytest.approx(1200.0)


def test_margins_and_dwell_have_the_spread_of_the_outline():
    rng = np.random.default_rng(2)
    outlines = (lake(), *drawn_outlines([lake()], None, 200.0, rng, 120))
    drawn = p.ShareSample(lake(), outlines, np.array([-1.0, 0.0, 1.0]), np.zeros((121, 3, 3)))
    place = p.judged_place(drawn, (0.0, 0.0), p.Drift((2.0, 0.0)))
    wide = 2.0 * 1.645 * 200.0  # between the quantiles 0.05 and 0.95 of a normal value
    assert place.margin_m[2] - place.margin_m[0] == pytest.approx(wide, rel=0.25)
    assert place.dwell_d[2] - place.dwell_d[0] == pytest.approx(wide / 2.0, rel=0.25)


def test_dwell_has_the_spread_of_the_speed():
    drawn = p.ShareSample(lake(), (lake(),) * 300, np.array([-1.0, 0.0, 1.0]), np.zeros((1, 3, 3)))
    drift = p.Drift((2.0, 0.0), (0.1, 0.0))
    dwell = p.judged_place(drawn, (0.0, 0.0), drift, rng=np.random.default_rng(3)).dwell_d
    expected = 3000.0 / (2.0 + 0.1 * np.array([1.645, 0.0, -1.645]))
    assert dwell == pytest.approx(expected, rel=0.02)


def dense_sigma_m(model, white_m, duration_d, before_d, after_d, step_d):
    """Generalised least squares with the full covariance of the noise."""
    day = np.arange(-before_d, duration_d + after_d + 0.5 * step_d, step_d)
    since = day - day[0]
    first, last = np.minimum.outer(since, since), np.maximum.outer(since, since)
    apart = last - first
    covariance = model.acceleration_m2_d3 * first**2 * (last / 2.0 - first / 6.0)
    covariance += (model.white_scale * white_m) ** 2 * np.eye(day.size)
    for sigma, memory in zip(model.coloured_sigma_m, model.coloured_memory_d, strict=True):
        covariance += sigma**2 * np.exp(-apart / memory)
    design = np.column_stack([np.ones(day.size), day, np.clip(day / duration_d, 0.0, 1.0)])
    normal = design.T @ np.linalg.solve(covariance, design)
    return np.sqrt(np.linalg.inv(normal)[2, 2])


@pytest.mark.parametrize("model", [WHITE, COLOURED])
@pytest.mark.parametrize("duration_d", [0.5, 8.0, 50.0])
def test_sigma_of_a_change_is_that_of_dense_least_squares(model, duration_d):
    """Covariance of an integrated random walk: Solin & Sarkka 2019, section 12.3 (from memory)."""
    numbers = (0.004, duration_d, 30.0, 40.0, 0.5)
    found = p.change_sigma_m(model, *numbers)
    assert found == pytest.approx(dense_sigma_m(model, *numbers), rel=1e-6)


def test_sigma_of_the_onset_is_that_of_fits_to_simulated_heights():
    rng = np.random.default_rng(4)
    day = np.arange(-20.0, 26.0 + 0.125, 0.25)

    def course(x):
        onset, end, size, offset, line = x
        return offset + line * day + size * np.clip((day - onset) / (end - onset), 0.0, 1.0)

    truth, found = np.array([0.0, 6.0, 2.0, 0.1, 0.01]), []
    for _ in range(150):
        height = course(truth) + 0.01 * rng.standard_normal(day.size)
        fit = least_squares(lambda x, h: course(x) - h, truth + 0.05, args=(height,))
        found.append(fit.x[0])
    expected = p.onset_sigma_d(WHITE, 0.01, 6.0, 20.0, 20.0) / 2.0  # of 1 m; here 2 m
    assert np.std(found) == pytest.approx(expected, rel=3.0 / np.sqrt(300))


def test_what_is_seen_scales_with_the_noise_and_falls_with_the_share():
    louder = MotionModel(4e-8, np.inf, (0.012,), (2.0,), 1.0)
    one = p.change_sigma_m(COLOURED, 0.004, 5.0, 30.0, 30.0)
    assert p.change_sigma_m(louder, 0.008, 5.0, 30.0, 30.0) == pytest.approx(2.0 * one, rel=1e-9)
    seen = p.seen_amplitude_m(np.array([1.0, 0.5, 0.0, -0.1]), one)
    assert seen[1] == pytest.approx(2.0 * seen[0])
    assert np.isinf(seen[2:]).all()


def test_a_change_of_the_least_size_is_seen_as_often_as_promised():
    rng, sigma = np.random.default_rng(5), 0.01
    least = p.seen_amplitude_m(1.0, sigma, 0.05, 0.8)
    tried = least + sigma * rng.standard_normal(20_000)
    assert np.mean(np.abs(tried) > 1.959964 * sigma) == pytest.approx(0.8, abs=0.01)


def test_a_control_sees_nothing_all_through_its_stay_and_stands_near():
    drawn, drift = sample(), p.Drift((2.0, 0.0))
    control = p.control_place(drawn, (0.0, 0.0), drift, 365.0)
    way = control.true_m + np.outer(np.linspace(0.0, 730.0, 9), [1.0, 0.0])
    assert np.abs(drawn.at(way)).max() <= 1.5 * p.LEAST_OUTSIDE
    assert control.margin_m[2] < 0.0
    assert np.hypot(*control.true_m) < 3.0 * 3000.0
    assert (control.dwell_d == 0.0).all()


def test_a_control_keeps_to_the_speed_of_the_station_and_to_where_it_may_stand():
    drawn = sample()
    across = p.control_place(drawn, (0.0, 0.0), speed_m_d=lambda at: 2.0 - 4e-4 * np.abs(at[:, 1]))
    assert abs(across.true_m[1]) < 0.2 * abs(across.true_m[0])  # along the flow the speed stays
    above = p.control_place(drawn, (0.0, 0.0), allowed=lambda at: at[:, 1] > 500.0)
    assert above.true_m[1] > 500.0
    with pytest.raises(SettingsError, match="no control can be placed"):
        p.control_place(drawn, (0.0, 0.0), allowed=lambda at: np.zeros(len(at), bool))


@pytest.mark.parametrize(
    ("call", "words"),
    [
        (lambda: p.share_sample((), ICE, FLOWS), "0 outlines and 2 methods"),
        (lambda: p.best_place(sample(cells=32), stay_d=-1.0), "a stay of -1.0 days"),
        (lambda: p.Drift((np.nan, 0.0)), "two finite velocities"),
        (lambda: p.change_sigma_m(WHITE, 0.004, 0.0, 10.0, 10.0), "expected positive numbers"),
        (lambda: p.seen_amplitude_m(1.0, 0.01, 0.0), "expected shares between 0 and 1"),
    ],
)
def test_what_cannot_be_is_said(call, words):
    with pytest.raises(SettingsError, match=words):
        call()
