"""Time scales against published calendars and leap seconds."""

import erfa
import numpy as np
import pytest

from stakeline import time
from stakeline.constants import NS_PER_DAY, NS_PER_S
from stakeline.errors import TimeError


def at(text):
    return int(np.datetime64(text, "ns").astype(np.int64))


@pytest.mark.parametrize(
    ("date", "week", "day", "mjd"),
    # Calendar arithmetic from 1980-01-06 (IS-GPS-200N, section 3.3.4)
    [
        ("1980-01-06", 0, 0, 44244),
        ("1999-08-22", 1024, 0, 51412),
        ("2017-01-01", 1930, 0, 57754),
        ("2019-04-07", 2048, 0, 58580),
        ("2024-01-01", 2295, 1, 60310),
        ("2026-01-01", 2399, 4, 61041),
    ],
)
def test_weeks_and_julian_dates(date, week, day, mjd):
    assert time.gps_week(at(date)) == (week, day * 86400.0)
    assert time.from_gps_week(week, day * 86400.0) == at(date)
    assert time.mjd(at(date)) == mjd
    assert time.from_mjd(mjd) == at(date)


@pytest.mark.parametrize(
    ("utc", "seconds"),
    # IERS Bulletin C and its list of leap seconds (from memory)
    [
        ("1980-01-06T00:00:00", 0),
        ("1981-06-30T23:59:59", 0),
        ("1981-07-01T00:00:00", 1),
        ("1998-12-31T23:59:59", 12),
        ("1999-01-01T00:00:00", 13),
        ("2006-01-01T00:00:00", 14),
        ("2009-01-01T00:00:00", 15),
        ("2012-07-01T00:00:00", 16),
        ("2015-07-01T00:00:00", 17),
        ("2016-12-31T23:59:59", 17),
        ("2017-01-01T00:00:00", 18),
        ("2025-01-01T00:00:00", 18),
    ],
)
def test_leap_seconds(utc, seconds):
    assert time.gps_minus_utc_s(at(utc)) == seconds
    assert time.gps_from_utc(at(utc)) - at(utc) == seconds * NS_PER_S
    assert time.utc_from_gps(at(utc) + seconds * NS_PER_S) == at(utc)


def test_a_leap_second_reads_as_the_second_after():
    # IERS Bulletin C 52: 2016-12-31T23:59:60 UTC, GPS - UTC 17 s before it and 18 s after;
    # POSIX.1-2017, section 4.16: the count of seconds of 23:59:60 is that of the next 00:00:00
    during = at("2017-01-01T00:00:17")
    assert time.utc_from_gps(during - NS_PER_S) == at("2016-12-31T23:59:59")
    assert time.utc_from_gps(during) == at("2017-01-01T00:00:00")
    assert time.utc_from_gps(during + NS_PER_S) == at("2017-01-01T00:00:00")


def test_gps_epoch_is_the_sixth_of_january_1980():
    # IS-GPS-200N, section 3.3.4
    assert time.iso(time.GPS_EPOCH_NS) == "1980-01-06T00:00:00"
    assert time.from_gps_week(0, 0.0) == time.GPS_EPOCH_NS


@pytest.mark.parametrize(
    ("system", "seconds"),
    # GPS minus the system; BeiDou ICD B1I 3.0, section 3.3; IERS Conventions (2010), section 10.1
    [
        ("GPS", 0.0),
        ("GAL", 0.0),
        ("QZS", 0.0),
        ("IRN", 0.0),
        ("BDT", 14.0),
        ("TAI", -19.0),
        ("TT", -51.184),
        ("UTC", 18.0),
        ("GLO", 18.0),
    ],
)
def test_systems_of_the_files(system, seconds):
    reading = at("2020-06-25T12:00:00")
    assert time.to_gps(reading, system) - reading == round(seconds * NS_PER_S)


def test_an_unknown_system_is_answered_with_those_there_are():
    expected = (
        r"^HV01\.rnx:9: time system 'XYZ' is not known; known are BDT, GAL, GLO, GPS, IRN, QZS, "
        r"TAI, TT, UTC$"
    )
    with pytest.raises(TimeError, match=expected):
        time.to_gps(0, "XYZ", "HV01.rnx", 9)
    with pytest.raises(TimeError, match=r"^time system '' is not known"):
        time.to_gps(0, "")


@pytest.mark.parametrize(
    "fields",
    [
        (2020, 13, 1),
        (2020, 0, 1),
        (2021, 2, 29),
        (2020, 4, 31),
        (2020, 1, 1, 25),
        (2020, 1, 1, 0, 60),
        (2020, 1, 1, 0, 0, 61.0),
        (2020, 1, 1, 0, 0, -0.1),
        (20, 1, 1),
    ],
)
def test_what_is_no_date_is_refused(fields):
    with pytest.raises(TimeError):
        time.from_calendar(*fields)


def test_calendar_keeps_the_decimals():
    exact = time.from_calendar(2020, 6, 25, 23, 59, 59.9999999)
    assert exact == at("2020-06-25T23:59:59.9999999")
    assert time.from_calendar(2020, 6, 25, 24) == at("2020-06-26")


def test_iso_texts():
    assert time.iso(at("2020-06-25T12:00:00")) == "2020-06-25T12:00:00"
    assert time.iso(at("2020-06-25T12:00:00.25")) == "2020-06-25T12:00:00.25"
    assert time.from_iso(" 2020-06-25T12:00:00Z ") == at("2020-06-25T12:00:00")
    with pytest.raises(TimeError, match="'noon' is no ISO 8601 time such as"):
        time.from_iso("noon")


def test_day_of_year():
    year, day = time.day_of_year([at("2020-06-25T12:00:00"), at("2020-12-31"), at("2021-12-31")])
    assert list(year) == [2020, 2020, 2021]
    assert list(day) == [177, 366, 365]


def test_decimal_years_count_the_leap_day():
    assert time.decimal_year(at("2020-07-02")) == pytest.approx(2020 + 183 / 366, abs=1e-12)
    assert time.decimal_year(at("2021-07-02")) == pytest.approx(2021 + 182 / 365, abs=1e-12)


def test_terrestrial_time_agrees_with_the_standards_of_fundamental_astronomy():
    # IAU SOFA's own path UTC -> TAI -> TT, as ERFA implements it
    moment = at("2020-06-25T06:07:08.5")
    utc = erfa.dtf2d("UTC", 2020, 6, 25, 6, 6, 50.5)  # GPS - UTC = 18 s
    expected = erfa.taitt(*erfa.utctai(*utc))
    day, fraction = time.julian_tt(moment)
    microsecond_d = 1e-6 / 86400.0
    assert (day - expected[0]) + (fraction - expected[1]) == pytest.approx(0, abs=microsecond_d)
    day, fraction = time.julian_utc(moment)
    assert (day - utc[0]) + (fraction - utc[1]) == pytest.approx(0, abs=microsecond_d)


def test_scalars_and_arrays_agree():
    moments = at("2016-12-31T23:59:40") + NS_PER_S * np.arange(40)
    for function in (time.utc_from_gps, time.gps_from_utc, time.mjd, time.decimal_year):
        assert list(function(moments)) == [function(moment) for moment in moments]


def test_no_digit_is_lost_inside_a_century():
    moment = at("2079-12-31T23:59:59.999999999")
    assert time.iso(moment) == "2079-12-31T23:59:59.999999999"
    assert moment % NS_PER_DAY == NS_PER_DAY - 1
