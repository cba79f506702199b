"""Altimeter passes over the invented lakes: where, when, how well, and what they show."""

import numpy as np
import pytest
from pyproj import Geod

from stakeline.earth.projection import ARCTIC
from stakeline.simulate.altimetry import passes
from stakeline.simulate.glacier import HALVARD
from stakeline.time import from_calendar

START_NS = from_calendar(2030, 5, 1)
DAY_NS = 86400 * 10**9
DROP_S = 250.0 * 86400.0


def dropping(flow_m, side_m, time_s):
    """Return a fall of 6 m over the lower lake on day 250, 0.2 m elsewhere."""
    lake = HALVARD.lakes[1]
    within = ((flow_m - lake.flow_m) / lake.half_length_m) ** 2
    within = within + ((side_m - lake.side_m) / lake.half_width_m) ** 2
    return np.where(time_s > DROP_S, -0.2 - 5.8 * (within < 1.0), 0.0)


def table(seed, change=dropping, days=504.0):
    """Return the passes of a seed."""
    return passes(np.random.default_rng(seed), HALVARD, START_NS, days, change)


@pytest.fixture(scope="module")
def seen():
    """Give one campaign's passes, with glacier coordinates and time."""
    rows = table(4)
    place = np.radians(rows["latitude_deg"]), np.radians(rows["longitude_deg"])
    flow, side = HALVARD.along(*ARCTIC.forward(*place))
    return rows, flow, side, (rows["time_ns"] - START_NS) / 1e9


def test_heights_are_surface_and_change_with_the_noise_they_state(seen):
    rows, flow, side, time_s = seen
    residual = rows["height_m"] - HALVARD.surface_m(flow, side) - dropping(flow, side, time_s)
    lake = HALVARD.lakes[1]
    within = np.hypot((flow - lake.flow_m) / lake.half_length_m,
                      (side - lake.side_m) / lake.half_width_m)  # fmt: skip
    residual = residual[np.abs(within - 1.0) > 0.01]  # 4 m of pointing at the edge of the fall
    sigma = rows["sigma_m"][np.abs(within - 1.0) > 0.01]
    # invented: 5-10 cm of noise, 2 cm by pass, 4 m of pointing times slopes of a few per cent
    assert np.median(np.abs(residual / sigma)) == pytest.approx(0.6745, rel=0.35)
    assert np.abs(residual).max() < 0.8
    assert rows["sigma_m"].min() >= 0.05
    assert rows["sigma_m"].max() <= 0.10


def test_the_fall_shows_in_the_heights(seen):
    rows, flow, side, time_s = seen
    lake = HALVARD.lakes[1]
    inside = np.hypot((flow - lake.flow_m) / lake.half_length_m,
                      (side - lake.side_m) / lake.half_width_m) < 0.9  # fmt: skip
    above = rows["height_m"] - HALVARD.surface_m(flow, side)
    assert np.sum(inside & (time_s < DROP_S)) > 50
    assert np.sum(inside & (time_s > DROP_S)) > 50
    assert np.median(above[inside & (time_s > DROP_S)]) == pytest.approx(-6.0, abs=0.1)
    assert np.median(above[inside & (time_s < DROP_S)]) == pytest.approx(0.0, abs=0.1)


def test_tracks_repeat_after_91_days_and_points_follow_closely(seen):
    rows = seen[0]
    geod = Geod(ellps="WGS84")
    first = {}
    for track in np.unique(rows["track"]):
        for cycle in np.unique(rows["cycle"][rows["track"] == track]):
            here = (rows["track"] == track) & (rows["cycle"] == cycle)
            time_ns = rows["time_ns"][here]
            day = (time_ns[0] - START_NS) / DAY_NS - 91.0 * (cycle - 1)
            # invented repeat of 91 days, within a quarter of an hour
            assert day == pytest.approx(first.setdefault(track, day), abs=0.02)
            place = rows["longitude_deg"][here], rows["latitude_deg"][here]
            steps = geod.inv(*(p[:-1] for p in place), *(p[1:] for p in place))[2]
            assert 60.0 < np.median(steps) < 100.0
            # a satellite passes 80 m in a hundredth of a second
            seconds = np.diff(time_ns).sum() / 1e9
            assert seconds == pytest.approx(steps.sum() / 6900.0, rel=0.02)


def test_every_lake_is_crossed_by_several_parallel_tracks(seen):
    rows, flow, side, _ = seen
    for lake in HALVARD.lakes:
        inside = np.hypot((flow - lake.flow_m) / lake.half_length_m,
                          (side - lake.side_m) / lake.half_width_m) < 1.0  # fmt: skip
        assert np.unique(rows["track"][inside]).size >= 6
    assert np.unique(rows["track"]).size == 16


def test_clouds_take_whole_passes_and_parts(seen):
    rows = seen[0]
    counts = np.array([np.sum((rows["track"] == t) & (rows["cycle"] == c))
                       for t in range(1, 17) for c in range(1, 6)])  # fmt: skip
    assert 0.02 < np.mean(counts == 0) < 0.5
    assert np.mean((counts > 0) & (counts < 150)) > 0.2
    assert counts.max() <= 175


def test_only_what_a_satellite_measures_in_order_of_time_within_the_campaign(seen):
    rows, _, _, time_s = seen
    assert list(rows) == [
        "time_ns", "latitude_deg", "longitude_deg", "height_m", "sigma_m", "track", "cycle",
    ]  # fmt: skip
    assert np.all(np.diff(time_s) >= 0.0)
    assert time_s[0] > 0.0
    assert time_s[-1] < 504.0 * 86400.0
    assert rows["time_ns"].dtype == np.int64
    assert len({v.size for v in rows.values()}) == 1


def test_one_seed_repeats_and_two_differ():
    one, again, other = table(7), table(7), table(8)
    assert all(one[name].tobytes() == again[name].tobytes() for name in one)
    assert one["height_m"].size != other["height_m"].size or np.any(
        one["height_m"] != other["height_m"]
    )


def test_what_happens_changes_heights_only():
    still = table(7, lambda flow, side, time_s: np.zeros_like(time_s))
    moved = table(7, lambda flow, side, time_s: np.full_like(time_s, 1.5))
    np.testing.assert_allclose(moved["height_m"] - still["height_m"], 1.5, atol=1e-9)
    for name in ("time_ns", "latitude_deg", "longitude_deg", "sigma_m", "track", "cycle"):
        assert np.array_equal(moved[name], still[name])


def test_a_very_short_campaign_may_see_nothing():
    rows = table(1, days=0.001)
    assert all(values.size == 0 for values in rows.values())
