"""Round trips and orders that hold at every time."""

import numpy as np
from hypothesis import given
from hypothesis import strategies as st

from stakeline import time
from stakeline.constants import NS_PER_DAY, NS_PER_S

FIRST_NS = time.GPS_EPOCH_NS
LAST_NS = int(np.datetime64("2100-01-01", "ns").astype(np.int64))

moments = st.integers(FIRST_NS, LAST_NS)


@given(moments)
def test_iso_text_and_back(moment):
    assert time.from_iso(time.iso(moment)) == moment


@given(moments)
def test_week_and_back(moment):
    week, seconds = time.gps_week(moment)
    assert 0.0 <= seconds < 7 * 86400.0
    assert abs(time.from_gps_week(week, seconds) - moment) <= 1


@given(moments)
def test_modified_julian_date_and_back(moment):
    microsecond_ns = 1000
    assert abs(int(time.from_mjd(time.mjd(moment))) - moment) <= 1000 * microsecond_ns


@given(moments)
def test_utc_and_back(moment):
    back = int(time.gps_from_utc(time.utc_from_gps(moment)))
    # equal, except in a leap second, which UTC as a count cannot hold
    assert back - moment in (0, NS_PER_S, -NS_PER_S)
    utc = int(time.utc_from_gps(moment))
    if back != moment:
        assert utc % NS_PER_DAY < NS_PER_S


@given(moments, st.integers(0, 10**12))
def test_utc_never_runs_backward_by_more_than_a_leap_second(moment, later):
    difference = int(time.utc_from_gps(moment + later)) - int(time.utc_from_gps(moment))
    assert later - NS_PER_S <= difference <= later


@given(moments)
def test_decimal_year_lies_in_its_year(moment):
    year, _ = time.day_of_year(moment)
    assert year <= time.decimal_year(moment) <= year + 1


@given(
    st.integers(1980, 2099),
    st.integers(1, 12),
    st.integers(1, 28),
    st.integers(0, 23),
    st.integers(0, 59),
    st.integers(0, 59_999_999_999),
)
def test_calendar_fields_are_those_of_the_text(year, month, day, hour, minute, nanoseconds):
    moment = time.from_calendar(year, month, day, hour, minute, nanoseconds / 1e9)
    whole, decimals = divmod(nanoseconds, NS_PER_S)
    text = f"{year}-{month:02d}-{day:02d}T{hour:02d}:{minute:02d}:{whole:02d}.{decimals:09d}"
    assert abs(moment - time.from_iso(text)) <= 1
