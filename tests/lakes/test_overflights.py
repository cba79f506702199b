"""Which track passes which station: distance, number, repeat, and a station that moves on."""

import numpy as np
import pytest

from stakeline.constants import NS_PER_DAY
from stakeline.lakes.altimetry import SurfacePoints
from stakeline.lakes.overflights import overflights

REPEAT_D = 91.0


def points(lines):
    """Return points every 100 m along tracks x = offset, each pass a cycle later."""
    parts = []
    for track, (offset_m, first_d, passes) in enumerate(lines):
        for cycle in range(passes):
            y = np.arange(-3000.0, 3001.0, 100.0)
            day = first_d + REPEAT_D * cycle
            time_ns = np.full(len(y), round(day * NS_PER_DAY)) + np.arange(len(y)) * 14_000_000
            parts.append((time_ns, np.full(len(y), offset_m), y, np.full(len(y), track),
                          np.full(len(y), cycle + 1)))  # fmt: skip
    time_ns, x, y, track, cycle = map(np.concatenate, zip(*parts, strict=True))
    nothing = np.zeros(len(x))
    return SurfacePoints(time_ns, np.stack([x, y], axis=1), nothing, nothing, track, cycle, 3413)


def test_the_nearest_track_comes_first_with_its_repeat():
    seen = points([(900.0, 10.0, 1), (400.0, 3.0, 4), (1500.0, 1.0, 4)])
    near, once = overflights(seen, "HV02", lambda _: np.array([0.0, 30.0]))
    assert (near.station, near.track, once.track) == ("HV02", 1, 0)
    # the nearest point is 30 m further along than the station
    np.testing.assert_allclose(near.distance_m, np.hypot(400.0, 30.0))
    assert near.repeat_d == pytest.approx(REPEAT_D)
    assert near.next_ns / NS_PER_DAY == pytest.approx(3.0 + 4 * REPEAT_D, abs=1e-3)
    assert np.isnan(once.repeat_d)
    assert once.next_ns is None


def test_a_station_that_moves_comes_into_reach_and_one_that_is_not_there_does_not():
    seen = points([(1500.0, 0.0, 4)])

    def moving(time_ns):
        return np.array([2.0 * time_ns / NS_PER_DAY, 0.0])

    (found,) = overflights(seen, "HV02", moving, scale=1.0)
    np.testing.assert_allclose(found.distance_m, [1500.0 - 2 * d for d in (273.0,)], atol=0.1)
    (all_of_them,) = overflights(seen, "HV02", moving, near_m=2000.0)
    assert len(all_of_them.time_ns) == 4
    assert overflights(seen, "HV02", lambda _: None) == ()


def test_distances_are_true_metres():
    seen = points([(400.0, 0.0, 2)])
    (found,) = overflights(seen, "HV02", lambda _: np.zeros(2), scale=0.8)
    np.testing.assert_allclose(found.distance_m, 500.0)
