"""Steps against dense least squares; found, sized and told from lakes and slips; false alarms."""

import collections

import numpy as np
import pytest
from scipy.signal import lfilter

from stakeline.constants import NS_PER_DAY, NS_PER_S
from stakeline.errors import SettingsError, SolutionError
from stakeline.motion.shocks import rough_model, whiten
from stakeline.motion.smoother import MotionModel
from stakeline.motion.steps import (
    find_steps,
    moved_by_hand,
    remove_steps,
    rotated,
    step_design,
)
from stakeline.simulate.slips import make_slips

START_NS = 1_700_000_000 * NS_PER_S
SIGMA_M = np.array([0.003, 0.003, 0.006])
INTERVAL_S = 900
STEPS = (
    (5.3, (0.02, -0.03, -0.05)),
    (9.1, (0.0, 0.0, 0.1)),
    (13.77, (0.3, 0.2, -1.0)),
    (16.2, (0.01, 0.06, 0.0)),
)


def coloured(rng, n, white_m, slow_m):
    """White noise, fractional flicker (Hosking 1981) and two memories, none of them the model's."""
    i = np.arange(1, n)
    weights = np.concatenate([[1.0], np.cumprod((i - 0.5) / i)])
    noise = rng.normal(0, white_m, n) + np.convolve(rng.normal(0, slow_m, n), weights)[:n]
    for memory_s in (2600.0, 26000.0):
        p = np.exp(-INTERVAL_S / memory_s)
        noise += lfilter([1.0], [1.0, -p], rng.normal(0, slow_m * np.sqrt(1 - p * p), n))
    return noise


def station(seed, days=20, slips=False, lake=False, steps=()):
    """Return times [ns], days and positions (n, 3) of an invented station at 15 min."""
    rng = np.random.default_rng(seed)
    n = int(days * 86400 / INTERVAL_S)
    time_d = np.arange(n) * INTERVAL_S / 86400
    wander = np.cumsum(rng.normal(0.0, 0.02 * np.sqrt(INTERVAL_S / 86400), n))
    speed = 1.0 + 0.05 * np.sin(2.0 * np.pi * time_d) + wander
    along = np.cumsum(speed) * INTERVAL_S / 86400 + coloured(rng, n, 0.003, 0.002)
    up = -0.02 * time_d + coloured(rng, n, 0.006, 0.004)
    position = np.stack([along, coloured(rng, n, 0.003, 0.002), up], axis=1)
    if slips:
        position[:, 0] += make_slips(rng, 1.0, days).moved_m(time_d * 86400)
    if lake:  # fills in 2 d by 5 cm, drains in 6 h by 10 cm
        position[:, 2] += 0.05 * np.clip((time_d - 0.3 * days) / 2.0, 0.0, 1.0)
        position[:, 2] -= 0.10 * np.clip((time_d - 0.6 * days) / 0.25, 0.0, 1.0)
    for day, size in steps:
        position[time_d >= day] += size
    return START_NS + np.arange(n, dtype=np.int64) * INTERVAL_S * NS_PER_S, time_d, position


def found_in(time_ns, position, **options):
    return find_steps(time_ns, position, np.broadcast_to(SIGMA_M, position.shape), **options)


def days_of(steps):
    return (steps.after_ns - START_NS) / NS_PER_DAY


def test_a_step_at_every_row_is_that_of_dense_least_squares():
    rng = np.random.default_rng(0)
    n, q, slow_m, memory_d = 60, 0.01, 0.01, 0.1
    time_ns = START_NS + np.cumsum(rng.integers(300, 3000, n)) * NS_PER_S
    t = (time_ns - time_ns[0]) / NS_PER_DAY
    early, late = np.minimum.outer(t, t), np.maximum.outer(t, t)
    covariance = np.diag(np.full(n, 0.005**2))
    covariance += slow_m**2 * np.exp(-np.abs(late - early) / memory_d)
    covariance += q * early**2 * (3.0 * late - early) / 6.0  # integrated random walk, from memory
    inverse = np.linalg.inv(covariance)
    position = t + rng.normal(0.0, 0.01, n)
    design = np.sin(t[:, None])
    model = MotionModel(q, coloured_sigma_m=(slow_m,), coloured_memory_d=(memory_d,))
    size, sigma = whiten(time_ns, position, 0.005, model, design).steps()
    assert np.isnan(size[0])
    for row in (1, 5, 30, 55, n - 1):
        columns = np.column_stack([np.ones(n), t, design, np.arange(n) >= row])
        normal = np.linalg.inv(columns.T @ inverse @ columns)
        assert size[row] == pytest.approx((normal @ columns.T @ inverse @ position)[-1], abs=1e-9)
        assert sigma[row] == pytest.approx(np.sqrt(normal[-1, -1]), rel=1e-8)


@pytest.mark.compiled
def test_steps_are_found_sized_and_told_from_lake_and_slips():
    misfit, outcome, wrong = [], collections.Counter(), 0
    for seed in range(8):
        time_ns, _, position = station(100 + seed, slips=True, lake=True, steps=STEPS)
        steps = found_in(time_ns, position)
        for day, size in STEPS:
            near = np.flatnonzero(np.abs(days_of(steps) - day) < 0.011)
            outcome[steps.kind[near[0]] if len(near) else "missed"] += 1
            if len(near):
                misfit.append((steps.size_m[near[0]] - size) / steps.sigma_m[near[0]])
        own = days_of(steps.only("equipment"))
        wrong += sum(min(abs(d - day) for day, _ in STEPS) > 0.011 for d in own)
    assert outcome["equipment"] >= 31  # of 32
    assert wrong <= 1
    misfit = np.array(misfit)
    # Across and up; along a slip may fall on the same row as a step.
    assert 0.6 < np.sqrt((misfit[:, 1:] ** 2).mean()) < 1.4


@pytest.mark.compiled
def test_false_alarms_a_station_year():
    # Flicker noise that the model does not hold, a lake that fills and drains; 1.1 station-years.
    # (Of 9.9 station-years without slips and 4.9 with them, made once, none was called equipment.)
    kinds = collections.Counter()
    for seed in range(20):
        time_ns, _, position = station(seed, lake=True)
        kinds.update(found_in(time_ns, position).kind)
    assert kinds["equipment"] == 0
    # The fast drainage is seen, and called motion.
    assert kinds["motion"] >= 15


@pytest.mark.compiled
def test_slips_are_no_equipment():
    kinds = collections.Counter()
    for seed in range(10):
        time_ns, _, position = station(seed, slips=True)
        kinds.update(found_in(time_ns, position).kind)
    assert kinds["slip"] + kinds["motion"] > 30
    assert kinds["equipment"] <= 1


def test_a_lake_is_motion_and_the_reason_says_its_duration():
    time_ns, time_d, position = station(3)
    position[:, 2] += 0.3 * np.clip((time_d - 10.0) / 0.1667, 0.0, 1.0)
    steps = found_in(time_ns, position)
    assert set(steps.kind) == {"motion"}
    assert "fits better than a jump" in steps.reason[0]
    assert 0.08 < steps.duration_d[np.argmax(steps.chi_square)] < 0.4
    assert (steps.log_odds < -4.6).all()


@pytest.mark.compiled
def test_a_lift_of_two_days_is_no_equipment_however_quiet_the_station():
    # simulation: 5 cm, hourly positions; a model stiffer than the lift must not make it a jump
    stiff = [MotionModel(1e-8, coloured_sigma_m=(s,), coloured_memory_d=(0.08,))
             for s in (0.005, 0.005, 0.009)]  # fmt: skip
    for seed in range(6):
        rng = np.random.default_rng(60 + seed)
        time_d = np.arange(0.0, 40.0, 1.0 / 24.0)
        share = np.clip((time_d - 22.0) / 2.0, 0.0, 1.0)
        noise = [
            lfilter([1.0], [1.0, -0.6], rng.normal(0, 0.8 * s, len(time_d)))
            for s in (0.005, 0.005, 0.009)
        ]
        position = np.stack(noise, axis=1)
        position[:, 0] += 1.1 * time_d
        position[:, 2] += 0.05 * share**2 * (3.0 - 2.0 * share)
        time_ns = START_NS + np.round(time_d * 86400).astype(np.int64) * NS_PER_S
        for models in (None, stiff):
            assert "equipment" not in find_steps(time_ns, position, 0.001, models).kind


def test_a_jump_that_comes_back_is_a_spell():
    time_ns, time_d, position = station(4)
    position[(time_d >= 8.0) & (time_d < 8.3), 2] += 0.2
    steps = found_in(time_ns, position)
    assert steps.kind == ("spell", "spell")
    np.testing.assert_array_equal(remove_steps(time_ns, position, steps)[0], position)


@pytest.mark.compiled
def test_a_lone_row_that_stands_off_is_a_spell_even_beside_a_small_change():
    # 15 mm are left after it: significant, but what satellites leave jumps by so much
    time_ns, time_d, position = station(4)
    row = int(np.searchsorted(time_d, 8.0))
    position[row, 2] += 0.3
    position[row + 1 :, :] += 0.015
    steps = found_in(time_ns, position)
    assert set(steps.kind) == {"spell"}


@pytest.mark.compiled
def test_inside_a_gap_only_the_sum_is_known():
    time_ns, time_d, position = station(5, steps=((10.5, (0.0, 0.0, 2.0)),))
    sigmas = []
    for gap_d in (0.02, 1.0, 4.0):
        keep = np.abs(time_d - 10.5) > 0.5 * gap_d
        steps = found_in(time_ns[keep], position[keep])
        largest = int(np.argmax(steps.chi_square))
        assert steps.kind[largest] == ("equipment" if gap_d < 0.1 else "undecided")
        assert steps.before_ns[largest] < START_NS + 10.5 * NS_PER_DAY <= steps.after_ns[largest]
        assert steps.gap_d[largest] == pytest.approx(gap_d, abs=0.03)
        sigmas.append(steps.sigma_m[largest])
        # Logged, it is the equipment's.
        logged = found_in(
            time_ns[keep], position[keep], logged_ns=[START_NS + int(10.5 * NS_PER_DAY)]
        ).only("equipment")
        assert logged.logged.all()
        assert abs(logged.size_m[0, 2] - 2.0) < 4.0 * logged.sigma_m[0, 2]
    assert (np.diff(sigmas, axis=0) > 0.0).all()


def test_a_logged_day_is_placed_at_its_row():
    time_ns, _, position = station(6, steps=STEPS[:2])
    day = [(START_NS + int(d * NS_PER_DAY), START_NS + int((d + 1) * NS_PER_DAY)) for d in (5, 9)]
    steps = found_in(time_ns, position, logged_ns=day, search_unlogged=False)
    assert steps.kind == ("equipment", "equipment")
    np.testing.assert_allclose(days_of(steps), [5.3, 9.1], atol=0.011)
    assert np.isnan(steps.log_odds).all()
    # Outside the record: in the table, without a size, and without a column.
    late = int(time_ns[-1]) + NS_PER_DAY
    steps = found_in(time_ns, position, logged_ns=[late, *day], search_unlogged=False)
    assert steps.kind[-1] == "not seen"
    assert np.isnan(steps.size_m[-1]).all()
    assert step_design(time_ns, steps).shape == (len(time_ns), 2)


@pytest.mark.compiled
def test_removed_with_their_uncertainty():
    time_ns, time_d, position = station(7, steps=STEPS[1:3])
    clean = position - sum(np.outer(time_d >= d, s) for d, s in STEPS[1:3])
    steps = found_in(time_ns, position)
    left, added = remove_steps(time_ns, position, steps)
    assert (added[time_d < 9.0] == 0.0).all()
    assert (np.abs(left - clean) <= 4.0 * added + 1e-12).all()
    covariance = steps.only("equipment").covariance_m2[2::3, 2::3]
    assert added[-1, 2] == pytest.approx(np.sqrt(covariance.sum()))
    design = step_design(time_ns, steps.only("equipment"))
    np.testing.assert_allclose(left, position - design @ steps.only("equipment").size_m)


def test_rotation_keeps_length_and_odds():
    time_ns, _, position = station(8, steps=STEPS[2:3])
    steps = found_in(time_ns, position).only("equipment")
    turned = rotated(steps, np.radians(90.0))  # flow to the east: left of it is north
    np.testing.assert_allclose(turned.size_m, steps.size_m, atol=1e-12)
    turned = rotated(steps, 0.0)  # flow to the north: left of it is west
    np.testing.assert_allclose(turned.size_m[0, :2], [-steps.size_m[0, 1], steps.size_m[0, 0]])
    turned = rotated(steps, 2.1)
    for each in (steps, turned):
        odds = each.size_m[0] @ np.linalg.solve(each.covariance_m2, each.size_m[0])
        assert odds == pytest.approx(steps.chi_square[0], rel=1e-6)


def test_moved_by_hand():
    time_ns = START_NS + np.arange(10, dtype=np.int64) * NS_PER_S
    mask = moved_by_hand(time_ns, [(int(time_ns[3]), int(time_ns[5])), int(time_ns[8])])
    assert np.flatnonzero(mask).tolist() == [3, 4, 5, 8]


def test_rough_model_is_blind_to_steps():
    time_ns, _, position = station(9)
    _, _, stepped = station(9, steps=STEPS)
    plain = rough_model(time_ns, position[:, 2], np.full(len(time_ns), 0.006))
    other = rough_model(time_ns, stepped[:, 2], np.full(len(time_ns), 0.006))
    total = [
        m.white_scale**2 * 0.006**2 + sum(np.square(m.coloured_sigma_m)) for m in (plain, other)
    ]
    assert total[1] == pytest.approx(total[0], rel=0.3)


def test_impossible_input_is_refused():
    time_ns, _, position = station(1, days=2)
    with pytest.raises(SettingsError, match="three columns: along, across, up"):
        find_steps(time_ns, position[:, :2], SIGMA_M[:2])
    with pytest.raises(SolutionError, match="at least 8"):
        found_in(time_ns[:5], position[:5])
    with pytest.raises(SolutionError, match="rough noise model needs 40"):
        found_in(time_ns[:20], position[:20])
    with pytest.raises(SettingsError, match="before it begins"):
        found_in(time_ns, position, logged_ns=[(10, 5)])
    with pytest.raises(SolutionError, match="at least 8"):
        found_in(time_ns, np.full_like(position, np.nan))


@pytest.mark.real
@pytest.mark.compiled
def test_real_resets_are_found(reference_data):
    # Stake re-installations of 2015-07-08 and 2015-07-17: README of the data.
    path = reference_data / "ice" / "motion" / "bowdoin_ice_2015.csv.gz"
    table = np.genfromtxt(path, delimiter=",", names=True, dtype=None, encoding="utf-8")
    time_ns = table["time_gps"].astype("datetime64[ns]").astype(np.int64)
    latitude, longitude = np.radians(table["latitude_deg"]), np.radians(table["longitude_deg"])
    east = (longitude - longitude[0]) * 6.394e6 * np.cos(latitude[0])  # m, about this latitude
    north = (latitude - latitude[0]) * 6.397e6
    azimuth = np.arctan2(east[2000] - east[0], north[2000] - north[0])
    s, c = np.sin(azimuth), np.cos(azimuth)
    position = np.stack([east * s + north * c, north * s - east * c, table["height_m"]], axis=1)
    steps = find_steps(time_ns, position, 0.005).only("equipment")
    large = steps.take(np.flatnonzero(np.abs(steps.size_m).max(axis=1) > 0.1))
    days = large.after_ns.astype("datetime64[ns]").astype("datetime64[D]")
    assert [str(day) for day in days] == ["2015-07-08", "2015-07-17"]
    np.testing.assert_allclose(large.size_m[:, 2], [-2.02, -0.29], atol=0.03)  # by eye
    assert len(steps) <= 3
    left, _ = remove_steps(time_ns, position, steps)
    assert np.abs(np.diff(left[:, 2])).max() < 0.15
