"""Coordinates in four forms: round trips, carries, and the traps that must be flagged."""

import numpy as np
import pytest

from stakeline.errors import SettingsError
from stakeline.station import field_coordinates as places


def test_ten_thousand_places_come_back_from_every_form():
    rng = np.random.default_rng(23)
    worst = dict.fromkeys(places.FORMS, 0.0)
    latitudes = rng.uniform(-90.0, 90.0, 10_000)
    longitudes = rng.uniform(-180.0, 180.0, 10_000)
    for axis, values in (("latitude", latitudes), ("longitude", longitudes)):
        for value in values:
            for form in places.FORMS:
                read = places.read_angle(places.written(value, axis, form), axis)
                assert read.form == form
                assert not read.others
                worst[form] = max(worst[form], abs(read.value_deg - value))
    # half of the last decimal
    assert worst[places.DEGREES] <= 0.5e-6 + 1e-12
    assert worst[places.MINUTES] <= 0.5e-4 / 60.0 + 1e-12
    assert worst[places.SECONDS] <= 0.5e-2 / 3600.0 + 1e-12


@pytest.mark.parametrize("epsg", [3413, 3031])
def test_grid_there_and_back(epsg):
    side = 1.0 if epsg == 3413 else -1.0
    shown = places.side_by_side(side * 79.3, 21.5, epsg)
    back = places.from_grid(shown.easting_m, shown.northing_m, epsg)
    assert back == pytest.approx((side * 79.3, 21.5), abs=1e-9)
    assert places.side_by_side(side * 79.3, 21.5).epsg == epsg
    # EPSG:3031 at 80 S: 0.9802
    assert places.side_by_side(-80.0, 0.0).scale == pytest.approx(0.9802, abs=1e-4)


def test_all_forms_of_one_place_read_as_one_place():
    shown = places.side_by_side(79.123456, -21.5)
    for text in (shown.degrees, shown.minutes, shown.seconds):
        read = places.read_line(text)
        assert not read.doubts
        assert places.distance((read.latitude_deg, read.longitude_deg), (79.123456, -21.5)) < 0.3


@pytest.mark.parametrize(
    ("value", "form", "text"),
    [
        (79.9999999, places.MINUTES, "80° 00.0000' N"),  # never 60 minutes
        (-79.9999999, places.SECONDS, "80° 00' 00.00\" S"),
        (-7.5, places.MINUTES, "07° 30.0000' S"),
        (79.0 + 7.0 / 60.0 + 24.4 / 3600.0, places.SECONDS, "79° 07' 24.40\" N"),
    ],
)
def test_written_with_its_carry(value, form, text):
    assert places.written(value, "latitude", form) == text


def test_seconds_taken_for_decimals_of_a_minute_are_flagged():
    read = places.read_place("79 07 59 S", "160 30 00 E")
    (wrong,) = [one for one in read.doubts if one.what == "latitude as degrees and minutes"]
    # 59 s against 0.59 min is 23.6 s; a field report tells of some 700 m
    assert wrong.distance_m == pytest.approx(23.6 / 3600.0 * 111_650.0, rel=2e-3)
    assert 650.0 < wrong.distance_m < 750.0
    assert str(wrong) == f"latitude as degrees and minutes: {wrong.distance_m:.0f} m away"


@pytest.mark.parametrize(
    ("text", "value", "others"),
    [
        ("79 07.24 S", -(79 + 7.24 / 60), [-(79 + 7 / 60 + 24 / 3600)]),
        ("79.07.24 S", -(79 + 7 / 60 + 24 / 3600), [-(79 + 7.24 / 60)]),
        ("-79.0724", -79.0724, [-(79 + 7 / 60 + 24 / 3600), -(79 + 7.24 / 60)]),
        ("79.30N", 79.3, [79.5]),
        ("S7907.24", -(79 + 7.24 / 60), []),
        ("790724 S", -(79 + 7 / 60 + 24 / 3600), []),
        ("79 07.244 S", -(79 + 7.244 / 60), []),
        ("79° 07.24' S", -(79 + 7.24 / 60), []),
        ("79°07'24″S", -(79 + 7 / 60 + 24 / 3600), []),
        ("-79.07245", -79.07245, []),
        ("79.9999 S", -79.9999, []),  # 99 minutes are none
    ],
)
def test_what_a_text_can_mean(text, value, others):
    read = places.read_angle(text, "latitude")
    assert read.value_deg == pytest.approx(value, abs=1e-12)
    assert [v for v, _ in read.others] == pytest.approx(others, abs=1e-12)


def test_five_digits_of_a_longitude_are_minutes_or_seconds():
    read = places.read_angle("16030 E", "longitude")
    assert read.value_deg == pytest.approx(160.5)
    assert not read.others  # 1 deg 60 min is none
    both = places.read_angle("12345 E", "longitude")
    assert both.value_deg == pytest.approx(123.75)
    assert [v for v, _ in both.others] == pytest.approx([1 + 23 / 60 + 45 / 3600])


def test_no_hemisphere_and_no_sign_is_a_doubt():
    read = places.read_place("79.12345", "21.50012 W")
    assert [one.what for one in read.doubts] == ["latitude as degrees, the other side of zero"]
    assert read.doubts[0].latitude_deg == -79.12345


def test_a_pair_without_letters_may_be_the_other_way_round():
    read = places.read_line("-79.123456, -21.543216")
    assert [one.what for one in read.doubts] == ["longitude first"]
    assert not places.read_line("-79.123456, -160.543216").doubts


@pytest.mark.parametrize(
    "text",
    [
        "79 07.244 S 160 30.455 E",
        "S 79 07.244, E 160 30.455",
        "160 30.455 E; 79 07.244 S",
        "E160 30.455 S79 07.244",
    ],
)
def test_letters_settle_the_order(text):
    read = places.read_line(text)
    assert (read.latitude_deg, read.longitude_deg) == pytest.approx(
        (-(79 + 7.244 / 60), 160 + 30.455 / 60)
    )
    assert not read.doubts


def test_doubts_of_both_come_together():
    read = places.read_line("79 07.24 S 160 30.45 E")
    together = next(one for one in read.doubts if one.what.startswith("both as"))
    assert together.latitude_deg == pytest.approx(-(79 + 7 / 60 + 24 / 3600))
    assert together.longitude_deg == pytest.approx(160 + 30 / 60 + 45 / 3600)
    assert read.doubts == tuple(sorted(read.doubts, key=lambda one: one.distance_m))


@pytest.mark.parametrize(
    ("call", "sentence"),
    [
        (lambda: places.read_angle("79 61.2 S", "latitude"), "minutes and seconds below 60"),
        (lambda: places.read_angle("79 07 244 S", "latitude"), "minutes and seconds below 60"),
        (lambda: places.read_angle("91 S", "latitude"), "expected up to 90 degrees"),
        (lambda: places.read_angle("-79 S", "latitude"), "a letter or a sign, not both"),
        (lambda: places.read_angle("79,5 S", "latitude"), "decimals with a point"),
        (lambda: places.read_angle("twelve", "latitude"), "is no angle"),
        (lambda: places.read_angle("", "latitude"), "is no angle"),
        (lambda: places.read_angle(".5 S", "latitude"), "is no angle"),
        (lambda: places.read_angle("79.5 30 S", "latitude"), "is no angle"),
        (lambda: places.read_angle("79. 5 S", "latitude"), "is no angle"),
        (lambda: places.read_angle("79.07.24.5.6 S", "latitude"), "is no angle"),
        (lambda: places.read_line("79 160 12"), "parted by one comma"),
        (lambda: places.written(91.0, "latitude", places.DEGREES), "expected -90 to 90"),
        (lambda: places.written(1.0, "height", places.DEGREES), "expected latitude or longitude"),
        (lambda: places.from_grid(0.0, 0.0, 4326), "EPSG:4326 is not known"),
    ],
)
def test_what_is_no_place_is_refused(call, sentence):
    with pytest.raises(SettingsError, match=sentence):
        call()
