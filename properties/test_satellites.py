"""Laws of satellites: rotations keep lengths, windows hold their interval, turns add up."""

import numpy as np
from hypothesis import given, settings
from hypothesis import strategies as st
from hypothesis.extra import numpy as arrays

from stakeline.satellites.attitude import body_axes
from stakeline.satellites.clocks import clock_states
from stakeline.satellites.orbits import NODES, first_nodes, turn_about_z
from stakeline.satellites.relativity import shapiro_delay
from stakeline.satellites.windup import phase_windup
from stakeline.tables import Clocks, Products

coordinate = st.floats(-3e7, 3e7)
vector = arrays.arrays(np.float64, 3, elements=coordinate)
direction = vector.filter(lambda v: np.linalg.norm(v) > 1e6).map(lambda v: v / np.linalg.norm(v))


@given(xyz=vector, angle=st.floats(-10.0, 10.0))
def test_turning_about_z_keeps_length_and_is_undone_by_its_opposite(xyz, angle):
    turned = turn_about_z(xyz, angle)
    assert abs(np.linalg.norm(turned) - np.linalg.norm(xyz)) <= 1e-8
    np.testing.assert_allclose(turn_about_z(turned, -angle), xyz, atol=1e-7)


@given(
    present=arrays.arrays(bool, st.tuples(st.integers(2, 60), st.just(3))),
    late=st.integers(0, 60),
)
def test_windows_hold_their_interval_and_no_gap(present, late):
    nodes = len(present)
    step = np.ones(nodes - 1, np.int64)
    if late < nodes - 1:
        step[late] = 5
    time_ns = np.concatenate([[0], np.cumsum(step)]) * 900 * 10**9
    first = first_nodes(time_ns, present, np.zeros(present.shape, bool))
    for interval, satellite in zip(*np.nonzero(first >= 0), strict=True):
        start = first[interval, satellite]
        assert start <= interval
        assert start + NODES - 1 >= interval + 1
        assert present[start : start + NODES, satellite].all()
        assert np.ptp(np.diff(time_ns[start : start + NODES])) == 0


@given(
    bias=arrays.arrays(np.float64, 20, elements=st.floats(-1e-3, 1e-3) | st.just(np.nan)),
    second=st.floats(-5.0, 600.0),
)
def test_a_clock_lies_between_its_neighbours_or_is_missing(bias, second):
    time_ns = np.arange(20) * 30 * 10**9
    clocks = Clocks(time_ns, np.array([1]), bias[:, None], np.zeros((20, 1)))
    sent = np.array([[round(second * 1e9)]])
    clock, sigma = clock_states(Products(clocks=clocks), np.array([1]), sent)
    k = int(second // 30)
    near = min(abs(second - 30 * round(second / 30)), 30.0) <= 1.0
    if not near and 0 <= k < 19:
        pair = bias[k : k + 2]
        assert np.isnan(clock[0, 0]) == np.isnan(pair).any()
        if not np.isnan(pair).any():
            assert pair.min() - 1e-15 <= clock[0, 0] <= pair.max() + 1e-15
            assert sigma[0, 0] >= 0.0
    if second < -1.0 or second > 571.0:
        assert np.isnan(clock[0, 0])


@given(radial=direction, along=vector, sun=direction)
def test_body_axes_are_orthonormal_and_right_handed(radial, along, sun):
    speed = np.cross(radial, along)
    if np.linalg.norm(speed) < 1e5:
        return
    velocity = 3900.0 * speed / np.linalg.norm(speed)
    got = body_axes(
        2.66e7 * radial[None, None], velocity[None, None], 1.5e11 * sun[None], [1], [""]
    )
    axes = np.stack([axis[0, 0] for axis in got[:3]])
    np.testing.assert_allclose(axes @ axes.T, np.eye(3), atol=1e-9)
    assert abs(np.linalg.det(axes) - 1.0) < 1e-9


@settings(max_examples=50)
@given(turns=st.lists(st.floats(-0.4, 0.4), min_size=2, max_size=30), offset=st.floats(0.0, 6.0))
def test_windup_follows_the_receiver_and_forgets_its_start(turns, offset):
    angle = np.cumsum(turns) * 2 * np.pi + offset
    n = angle.size
    enu = np.tile(np.eye(3), (n, 1, 1))
    enu[:, 0] = np.stack([np.cos(angle), -np.sin(angle), 0 * angle], axis=1)
    enu[:, 1] = np.stack([np.sin(angle), np.cos(angle), 0 * angle], axis=1)
    position = np.tile([0.0, 0.0, 2e7], (n, 1, 1))
    ex, ey = np.tile([1.0, 0, 0], (n, 1, 1)), np.tile([0.0, -1, 0], (n, 1, 1))
    cycles = phase_windup(position, np.zeros((n, 3)), ex, ey, enu)[:, 0]
    np.testing.assert_allclose(np.abs(np.diff(cycles)), np.abs(turns[1:]), atol=1e-9)


@given(up=st.floats(0.0, 1.0), azimuth=st.floats(0.0, 6.28))
def test_shapiro_delay_is_twelve_to_nineteen_millimetres(up, azimuth):
    # IERS Conventions (2010), section 11.2 gives the formula; checks 4.1: 12.65 to 17.93 mm
    elevation = np.arcsin(up)
    distance = -6.371e6 * up + np.sqrt(2.656e7**2 - (6.371e6 * np.cos(elevation)) ** 2)
    toward = np.array(
        [np.cos(elevation) * np.cos(azimuth), np.cos(elevation) * np.sin(azimuth), up]
    )
    receiver = np.array([0.0, 0.0, 6.371e6])
    delay = shapiro_delay((receiver + distance * toward)[None, None], receiver)
    assert 12.6e-3 < delay[0, 0] < 19.0e-3
