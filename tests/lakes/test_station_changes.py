"""What a draining does at one station: until the last row, though it is fitted to fewer."""

import numpy as np
import pytest

from stakeline.lakes.combined import StationUp, combined_series
from stakeline.lakes.curve import ramp, relaxed
from stakeline.lakes.fit import Fit
from stakeline.lakes.station_changes import station_changes
from stakeline.lakes.whitening import START

START_NS = 1_900_000_000_000_000_000
HOUR_NS = 3_600_000_000_000
ONSET_D, LENGTH_D, RISE, FALL, SIZE_M = 20.0, 7.0, 3.0, 3.5, -2.5
AT_ONCE, MEMORY_D = 0.5, 10.0


def heights(at_once):
    """Return days of 80 days hourly and the course of a surface that answers late. [d], [m]"""
    day = np.arange(0.0, 80.0, 1.0 / 24.0)
    roof = SIZE_M * ramp((day - ONSET_D) / LENGTH_D, RISE, FALL)
    return day, at_once * roof + (1.0 - at_once) * relaxed(roof, 1.0 / 24.0, MEMORY_D)


def known(series, first_d, last_d, samples=80):
    """Return the Fit that knows the course, from rows between two days."""
    first, last = np.searchsorted(series.day, [first_d, last_d])
    each = (ONSET_D - 0.104, LENGTH_D, RISE, FALL, SIZE_M)  # means of 6 h stand 2.5 h later
    ice = (AT_ONCE, MEMORY_D)
    return Fit(*(np.full((samples, 1), v) for v in each), *(np.full(samples, v) for v in ice),
               1.0, 0.3, int(first), int(last))  # fmt: skip


@pytest.mark.compiled
@pytest.mark.parametrize("last_d", [79.9, 45.0, 35.0])
def test_change_is_that_of_the_last_row_where_fewer_are_fitted(last_d):
    stations, truth = [], {}
    for name, at_once in (("HV02", AT_ONCE - 0.1), ("HV03", AT_ONCE + 0.1)):
        day, course = heights(at_once)
        time_ns = START_NS + np.round(day * 24.0).astype(np.int64) * HOUR_NS
        stations.append(StationUp(name, time_ns, course, np.full(len(day), 0.004)))
        truth[name] = course[-1]
    series = combined_series(stations, 6.0, ())
    found, sure = station_changes(
        series, START, known(series, 5.0, last_d), 0, np.random.default_rng(1)
    )
    for name, value in found.items():
        # no noise: at 35 d the surface has 25 cm to go; 3 mm for means of 6 h
        assert np.median(value) == pytest.approx(truth[name], abs=0.003)
        assert sure[name] > 50.0
