"""A rover on invented ice and its bases: near the truth, in words, and what is refused."""

from dataclasses import replace

import numpy as np
import pytest

from stakeline.errors import SolutionError
from stakeline.positioning.fixing import contradicted
from stakeline.positioning.network import adjust
from stakeline.positioning.relative import solve_network, solve_relative
from stakeline.simulate.baselines import make_baselines
from stakeline.tables import Positions

pytestmark = pytest.mark.compiled
mm = 1e-3


@pytest.fixture(scope="module")
def short():
    """Return a pair 1 km apart: four hours each minute."""
    return make_baselines(11, [1e3], hours=4.0, interval_s=60.0)


@pytest.fixture(scope="module")
def long():
    """Return a rover with bases at 30 and 50 km."""
    return make_baselines(12, [30e3, 50e3], hours=6.0, interval_s=60.0)


def errors_of(positions, world):
    at = np.searchsorted(world.truth.time_ns, positions.time_ns)
    return (positions.position_m - world.truth.position_m[at]) @ world.truth.axes.T


def rms(values):
    return np.sqrt(np.mean(values**2, axis=0))


def solved(world, bases=None, **settings):
    settings = replace(world.settings, **settings)
    return solve_relative(world.rover, bases or world.bases, world.products, settings)


def test_a_short_baseline_is_fixed_and_near_the_truth(short):
    found = solved(short)
    assert isinstance(found, Positions)
    error = errors_of(found, short)
    assert (rms(error) / mm < [5, 5, 12]).all()  # the bars of validation/relative_simulated.py
    assert (found.state == "integer-fixed").mean() > 0.95
    assert found.summary["combination"] == "each signal"
    sigma = np.sqrt(np.diagonal(found.covariance_m2, axis1=1, axis2=2))
    assert (np.abs(error) < 3.0 * sigma).mean() > 0.95


def test_two_bases_adjust_together_and_their_order_does_not_matter(long):
    found = solved(long)
    assert sorted(found.summary["bases"]) == ["HB01", "HB02"]
    assert found.summary["combination"] == "ionosphere-free"
    assert (rms(errors_of(found, long)) / mm < [10, 10, 25]).all()
    assert (found.state == "integer-fixed").mean() > 0.9
    other = solved(long, long.bases[::-1])
    np.testing.assert_allclose(other.position_m, found.position_m, rtol=0, atol=1e-9)
    distances = sorted(found.summary["distance m"].values())
    np.testing.assert_allclose(distances, [30e3, 50e3], rtol=0.02)


def test_a_base_that_moves_is_as_good_as_its_path_is_known(short):
    base = short.bases[0]
    time_ns = base.observations.time_ns
    flow = np.linspace(0.0, 0.4, len(time_ns))[:, None] * np.array([0.6, -0.8, 0.0])
    doubt = np.diag([1e-4, 4e-4, 9e-4])
    moved_place = base.position_m + flow
    path = replace(base, time_ns=time_ns, position_m=moved_place, covariance_m2=doubt)
    still, carried = solved(short), solved(short, [path])
    moved = carried.position_m - still.position_m
    expected = flow[np.searchsorted(time_ns, carried.time_ns)]
    # the rover is carried along with its base: what the base's path is wrong by, it is wrong by
    assert np.abs(moved - expected).max() < 25 * mm
    more = carried.covariance_m2 - still.covariance_m2
    np.testing.assert_allclose(more, np.broadcast_to(doubt, more.shape), rtol=0.2, atol=2e-5)


def test_broadcast_like_orbit_errors_cancel_over_a_short_baseline(short):
    orbits = short.products.orbits
    off = replace(orbits, position_m=orbits.position_m + np.array([1.0, -0.7, 0.5]))
    found = solve_relative(
        short.rover, short.bases, replace(short.products, orbits=off), short.settings
    )
    apart = found.position_m - solved(short).position_m
    assert np.abs(apart).max() < 1 * mm  # 1.3 m of orbit by 1 km of baseline by 20 000 km: 0.07 mm


def test_a_still_rover_gives_one_row(short):
    base = short.bases[0]
    height = base.antenna_height_m
    around = replace(
        base, observations=short.rover, position_m=short.truth.position_m,
        time_ns=short.truth.time_ns,
    )  # fmt: skip
    settings = replace(short.settings, mode="static", antenna_height_m=height)
    found = solve_relative(base.observations, [around], short.products, settings)
    assert found.position_m.shape == (1, 3)
    assert np.linalg.norm(found.position_m[0] - base.position_m[0]) < 8 * mm
    assert found.state[0] == "integer-fixed"


def test_an_arc_with_a_false_integer_is_let_go_and_the_right_ones_stay(short):
    solution = solve_network(short.rover, short.bases, short.products, short.settings)
    fixed, a = solution.fixed, solution.ambiguities
    arcs = np.flatnonzero(fixed.fixed)
    label = np.where(fixed.fixed, len(a) + a.family, np.arange(len(a)))
    assert not contradicted(fixed.network, a, fixed.adjusted, arcs)
    wrong = arcs[np.argmax(a.count[arcs])]
    phase = fixed.network.phase_m.copy()
    phase[fixed.network.arc == wrong] += a.wavelength_m[wrong]
    network = replace(fixed.network, phase_m=phase)
    again = adjust(network, label, start=fixed.adjusted, rounds=3, always=len(a))
    assert wrong in contradicted(network, a, again, arcs)


def test_what_was_asked_for_and_is_not_used_is_told(short):
    plain = solved(short)
    asked = solved(short, estimate_walk=True, learn_weights=True)
    np.testing.assert_array_equal(asked.position_m, plain.position_m)
    told = {"asked for, and not used by relative solutions: estimate_walk, learn_weights"}
    assert set(asked.summary["warnings"]) - set(plain.summary["warnings"]) == told
    assert told.isdisjoint(plain.summary["warnings"])


def test_a_base_too_far_away_is_a_sentence(short):
    far = replace(short.bases[0], name="FARB", position_m=short.bases[0].position_m + 4e5)
    with pytest.raises(SolutionError, match=r"no base shares .* base FARB left out: 69\d km away"):
        solved(short, [far])


def test_a_base_without_a_path_to_these_epochs_is_a_sentence(short):
    base = short.bases[0]
    late = base.time_ns[0] + np.array([10, 20]) * 86400 * 10**9
    late = replace(base, time_ns=late, position_m=np.tile(base.position_m, (2, 1)))
    with pytest.raises(SolutionError, match="HB01 left out: its path does not reach"):
        solved(short, [late])
