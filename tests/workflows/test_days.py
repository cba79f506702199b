"""Days: counted, cut, blended; by laws and small numbers."""

from dataclasses import replace

import numpy as np
import pytest

from stakeline.constants import NS_PER_DAY, NS_PER_S
from stakeline.tables import Event, ObservationHeader, Observations, Positions
from stakeline.time import from_iso
from stakeline.workflows.blending import blended, own_weight
from stakeline.workflows.completeness import epochs_of, runs_of, station_days
from stakeline.workflows.observation_cut import cut, shifted

DAY = from_iso("2031-05-01")
STEP = 30 * NS_PER_S


def grid(first_s, last_s, step_s=30):
    return DAY + np.arange(first_s, last_s, step_s, dtype=np.int64) * NS_PER_S


@pytest.mark.parametrize("count", [0, 1, 2, 3, 50])
def test_runs_hold_every_epoch(count):
    times = np.cumsum(np.random.default_rng(count).integers(1, 4, count)).astype(np.int64)
    np.testing.assert_array_equal(epochs_of(runs_of(times)), times)


def test_a_whole_day_is_one_run():
    assert runs_of(grid(0, 86400)) == [[DAY, STEP, 2880]]


def test_a_whole_day_is_complete():
    (day,) = station_days("HV01", [grid(0, 86400)])
    assert (day.day, day.epochs, day.expected, day.gaps) == ("2031-05-01", 2880, 2880, 0)
    assert (day.percent, day.longest_gap_s) == (100.0, 0.0)


def test_an_unsteered_clock_makes_no_gap():
    (day,) = station_days("HV01", [grid(0, 86400) + 188_000_000])
    assert (day.epochs, day.gaps) == (2880, 0)


def test_gaps_are_counted_with_their_length():
    (day,) = station_days("HV01", [grid(0, 3600), grid(7200, 86400)])
    assert (day.gaps, day.longest_gap_s, day.epochs, day.files) == (1, 3600.0, 2760, 2)


def test_overlapping_files_count_once():
    (day,) = station_days("HV01", [grid(0, 50000), grid(40000 // 30 * 30, 86400)])
    assert day.epochs == 2880


def test_a_day_without_files_is_said():
    days = station_days("HV01", [grid(0, 86400), grid(2 * 86400, 3 * 86400)])
    assert [(d.day, d.epochs, d.gaps) for d in days][1] == ("2031-05-02", 0, 1)
    assert days[1].longest_gap_s == 86400.0


def observations(times):
    rows = 2 * len(times)
    return Observations(
        header=ObservationHeader(),
        time_ns=times,
        flag=np.zeros(len(times), np.uint8),
        clock_offset_s=np.full(len(times), np.nan),
        row_start=np.arange(0, rows + 1, 2),
        satellite=np.tile(np.array([5, 7], np.int16), len(times)),
        value=np.arange(rows, dtype=float)[:, None],
        lock=np.zeros((rows, 1), np.uint8),
        strength=np.zeros((rows, 1), np.uint8),
        codes={"G": ("C1C",)},
        events=(Event(int(times[0]), 4, 0), Event(int(times[3]), 4, 3)),
    )


def test_cutting_keeps_rows_with_their_epochs():
    whole = observations(grid(0, 300))
    part = cut(whole, DAY + 60 * NS_PER_S, DAY + 150 * NS_PER_S)
    np.testing.assert_array_equal(part.time_ns, grid(60, 150))
    np.testing.assert_array_equal(part.value[:, 0], np.arange(4, 10))
    np.testing.assert_array_equal(part.row_start, [0, 2, 4, 6])
    assert [(e.time_ns, e.epoch_index) for e in part.events] == [(DAY + 90 * NS_PER_S, 1)]


def test_cuts_put_together_are_the_whole():
    whole = observations(grid(0, 300))
    middle = DAY + 100 * NS_PER_S
    parts = [cut(whole, DAY, middle), cut(whole, middle, DAY + 300 * NS_PER_S)]
    np.testing.assert_array_equal(np.concatenate([p.value for p in parts]), whole.value)


def test_shifting_moves_epochs_and_events_alike():
    whole = observations(grid(0, 300))
    moved = shifted(whole, 7 * NS_PER_DAY)
    assert int(moved.time_ns[0]) == DAY + 7 * NS_PER_DAY
    assert moved.events[1].time_ns == whole.events[1].time_ns + 7 * NS_PER_DAY
    assert shifted(whole, 0) is whole


PLACE = np.array([1_160_000.0, 362_000.0, 6_238_000.0])


def arc(first_s, last_s, offset_m):
    times = grid(first_s, last_s, 1800)
    n = len(times)
    return Positions(
        station="HV01",
        frame="IGS20",
        time_ns=times,
        position_m=PLACE + np.outer(np.full(n, offset_m), [0.0, 0.0, 1.0]),
        covariance_m2=np.tile(np.eye(3) * 1e-4, (n, 1, 1)),
        satellites=np.full(n, 12),
        state=np.full(n, "float"),
    )


RAMP = 3 * 3600 * NS_PER_S


def two_days():
    """Return the blended days of two arcs that differ by 2 cm."""
    first, second = arc(-21600, 86400 + 21600, 0.0), arc(86400 - 21600, 2 * 86400 + 21600, 0.02)
    one = blended(first, (DAY, None, second), RAMP)
    two = blended(second, (DAY + NS_PER_DAY, first, None), RAMP)
    return one, two


def test_days_are_cut_to_the_day():
    one, two = two_days()
    np.testing.assert_array_equal(one.time_ns, grid(0, 86400, 1800))
    np.testing.assert_array_equal(two.time_ns, grid(86400, 2 * 86400, 1800))


def test_no_jump_at_midnight():
    one, two = two_days()
    series = np.concatenate([one.position_m, two.position_m])[:, 2] - PLACE[2]
    # 2 cm spread over 6 h in half-hour steps: 12 steps of 1.667 mm
    assert np.abs(np.diff(series)).max() == pytest.approx(0.02 / 12, rel=1e-6)
    assert series[0] == pytest.approx(0.0, abs=1e-9)
    assert series[-1] == pytest.approx(0.02, abs=1e-9)


def test_where_arcs_disagree_the_covariance_says_so():
    one, _ = two_days()
    up = one.covariance_m2[:, 2, 2]
    assert up[0] == pytest.approx(1e-4)
    assert up[-1] > 1e-4 + 0.9 * 0.25 * 0.02**2 * 0.9  # w(1-w)d^2 close to midnight; up is near z
    assert np.linalg.eigvalsh(one.covariance_m2).min() > 0.0


def test_equal_arcs_blend_to_themselves():
    first = arc(-21600, 86400 + 21600, 0.01)
    same = blended(first, (DAY, first, first), RAMP)
    expected = np.tile(PLACE + np.array([0.0, 0.0, 0.01]), (48, 1))
    np.testing.assert_allclose(same.position_m, expected, rtol=0, atol=1e-9)
    np.testing.assert_allclose(same.covariance_m2[0], np.eye(3) * 1e-4, atol=1e-12)


def test_an_arc_of_another_frame_is_not_mixed_in():
    first, second = arc(-21600, 86400 + 21600, 0.0), arc(86400 - 21600, 2 * 86400 + 21600, 0.02)
    broadcast = replace(second, frame="WGS84")
    found = blended(first, (DAY, None, broadcast), RAMP)
    alone = blended(first, (DAY, None, None), RAMP)
    np.testing.assert_array_equal(found.position_m, alone.position_m)
    np.testing.assert_array_equal(found.covariance_m2, alone.covariance_m2)


def test_epochs_the_neighbour_lacks_stay():
    first, second = arc(-21600, 86400 + 21600, 0.0), arc(86400 - 21600, 86400, 0.02)
    missing = replace(second, position_m=np.full_like(second.position_m, np.nan))
    one = blended(first, (DAY, None, missing), RAMP)
    np.testing.assert_array_equal(one.position_m, np.tile(PLACE, (48, 1)))


def test_weights_of_the_two_sides_add_to_one():
    times = grid(86400 - 10800, 86400 + 10800, 60)
    mine = own_weight(times, DAY, RAMP, False, True)
    theirs = own_weight(times, DAY + NS_PER_DAY, RAMP, True, False)
    # before midnight the earlier day owns the row, after it the later: own weight 0.5 to 1
    before = times < DAY + NS_PER_DAY
    assert mine[before].min() > 0.5
    assert theirs[~before].min() == 0.5
    np.testing.assert_allclose(mine + theirs, 1.0, atol=1e-12)
