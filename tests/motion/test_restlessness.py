"""Calm and restless parts of a record: found, not invented, and worth it."""

import numpy as np
import pytest

from stakeline.constants import NS_PER_DAY
from stakeline.motion.restlessness import (
    PIECE_D,
    in_parts,
    likeliest_path,
    restless_part,
    through_gaps,
    usual_part,
)
from stakeline.motion.smoother import MotionModel, smooth

NOISE_M, WIDE = 0.005, 1.96
CALM, ROUGH = 1e-6, 1e-3
FLOOD_D = (40.0, 60.0)


def record(rng, calm=CALM, rough=ROUGH, days=120, every_h=3):
    """Return times, positions, true velocities: a walk, restless for twenty days."""
    count = days * 24 // every_h
    day = np.arange(count) * every_h / 24.0
    q = np.where((day >= FLOOD_D[0]) & (day < FLOOD_D[1]), rough, calm)
    step_d = every_h / 24.0
    velocity = 0.5 + np.cumsum(np.sqrt(q * step_d) * rng.standard_normal(count))
    way = np.concatenate([[0.0], np.cumsum(0.5 * (velocity[1:] + velocity[:-1]) * step_d)])
    time_ns = np.round(day * NS_PER_DAY).astype(np.int64)
    return time_ns, way + rng.normal(0.0, NOISE_M, count), velocity


def solved(time_ns, position, model):
    sigma, nothing = np.full(len(time_ns), NOISE_M), np.zeros((len(time_ns), 0))
    return in_parts(time_ns, position, sigma, model, nothing)


def test_the_restless_part_is_found():
    rng = np.random.default_rng(1)
    for _ in range(5):
        time_ns, position, _ = record(rng)
        found = solved(time_ns, position, MotionModel(1e-4))
        edges = np.array(found.change_ns) / NS_PER_DAY
        assert np.abs(edges[:, None] - FLOOD_D).min(axis=0).max() <= 2.5 * PIECE_D
        usual, rough = usual_part(found, time_ns[0], time_ns[-1]), restless_part(found)
        assert usual.acceleration_m2_d3 == pytest.approx(CALM, rel=10.0)  # within a power or two
        assert usual.acceleration_m2_d3 < 2e-5
        assert 1e-4 < rough.acceleration_m2_d3 < 1e-2
        assert usual.change_ns == rough.change_ns == ()


def test_intervals_hold_in_calm_and_flood_and_one_intensity_holds_in_neither():
    rng = np.random.default_rng(2)
    inside = {"parts": [], "one": []}
    widths = {"parts": [], "one": []}
    for _ in range(8):
        time_ns, position, truth = record(rng)
        day = time_ns / NS_PER_DAY
        flood = (day > FLOOD_D[0]) & (day < FLOOD_D[1])
        parts = solved(time_ns, position, MotionModel(1e-4))
        for name, model in (("parts", parts), ("one", MotionModel(3e-5))):
            found = smooth(time_ns, position, np.full(len(day), NOISE_M), model)
            good = np.abs(found.velocity_m_d - truth) < WIDE * found.velocity_sigma_m_d
            inside[name].append((good[flood].mean(), good[~flood].mean()))
            widths[name].append(np.median(found.velocity_sigma_m_d[~flood]))
    (flood, calm), (flood_of_one, _) = (np.mean(inside[name], axis=0) for name in inside)
    assert flood > 0.90
    assert calm > 0.90
    assert flood_of_one < 0.80
    assert np.mean(widths["parts"]) < 0.6 * np.mean(widths["one"])


def test_an_even_record_stays_one():
    rng = np.random.default_rng(3)
    changes = [
        len(solved(*record(rng, 1e-4, 1e-4)[:2], MotionModel(1e-4)).change_ns) for _ in range(20)
    ]
    assert sum(count > 0 for count in changes) <= 4


def test_the_scale_of_the_model_is_kept():
    # law: intensities are the model's own times powers of 4
    time_ns, position, _ = record(np.random.default_rng(4))
    found = solved(time_ns, position, MotionModel(7e-3, np.inf, (0.001,), (0.5,), 1.1))
    power = np.log(found.acceleration_m2_d3 * np.array([1.0, *found.change_factor]) / 7e-3)
    np.testing.assert_allclose(power / np.log(4.0), np.round(power / np.log(4.0)), atol=1e-9)
    assert (found.coloured_sigma_m, found.white_scale) == ((0.001,), 1.1)


def test_short_records_are_one_part():
    time_ns, position, _ = record(np.random.default_rng(5), days=10)
    model = MotionModel(1e-4, change_ns=(1,), change_factor=(2.0,))
    assert solved(time_ns, position, model) == model.even


def test_the_path_changes_where_it_pays():
    rows = np.zeros((9, 3))
    rows[:, 1:] = -2.0
    rows[3:6, 2] = 1.0
    assert likeliest_path(rows).tolist() == [0] * 9  # 3 in all: less than two changes cost
    rows[3:6, 2] = 4.0
    assert likeliest_path(rows).tolist() == [0, 0, 0, 2, 2, 2, 0, 0, 0]
    assert likeliest_path(rows, change=1e-6).tolist() == [0] * 9


def test_a_gap_is_as_restless_as_what_it_led_to():
    assert through_gaps(np.array([3, 3, 3, 3, 9, 3]), [5, 5, 0, 0, 2, 5]).tolist() == [
        3, 3, 9, 9, 9, 3,
    ]  # fmt: skip
    # a station that went on faster through a gap of 80 days, then as before; law, no source
    rng = np.random.default_rng(8)
    day = np.concatenate([np.arange(0.0, 30.0, 0.125), np.arange(110.0, 140.0, 0.125)])
    time_ns = np.round(day * NS_PER_DAY).astype(np.int64)
    position = 0.5 * day + 20.0 * (day > 100.0) + rng.normal(0.0, NOISE_M, len(day))
    found = solved(time_ns, position, MotionModel(1e-4))
    result = smooth(time_ns, position, np.full(len(day), NOISE_M), found)
    off = np.abs(result.velocity_m_d - 0.5) / result.velocity_sigma_m_d
    assert off.max() < 5.0
