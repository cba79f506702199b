"""Baselines, bytes and messages: geometry, counting by hand, published sizes."""

import math

import numpy as np
import pytest

from stakeline.errors import SettingsError
from stakeline.station import network

PLACES = {
    "HALB": (79.0, -22.0, 600.0),
    "HV01": (79.1, -22.0, 800.0),
    "HV02": (79.0, -21.0, 600.0),
    "HV03": (79.3, -22.0, 900.0),
}


def test_baselines_by_a_second_way():
    found = {one.station: one for one in network.baselines(PLACES, "HALB")}
    assert "HALB" not in found
    # 0.1 deg of meridian at 79 N: 111 653 m a degree (radius of curvature a(1-e2)/(1-e2 s2)^1.5)
    s2 = math.sin(math.radians(79.05)) ** 2
    meridian = 6378137.0 * (1 - 0.00669438) / (1 - 0.00669438 * s2) ** 1.5
    north = found["HV01"]
    assert north.level_m == pytest.approx(meridian * math.radians(0.1), rel=2e-4)
    assert north.length_m == pytest.approx(math.hypot(north.level_m, 200.0), rel=1e-4)
    assert north.azimuth_deg == pytest.approx(0.0, abs=1e-6)
    assert found["HV02"].azimuth_deg == pytest.approx(90.0, abs=0.6)
    assert found["HV03"].far
    assert not north.far


def test_shortest_first_and_the_same_from_either_end():
    found = network.baselines(PLACES, "HALB")
    lengths = [one.length_m for one in found]
    assert lengths == sorted(lengths)
    back = {one.station: one.length_m for one in network.baselines(PLACES, "HV01")}
    assert back["HALB"] == pytest.approx(found[0].length_m, rel=1e-12)


def test_satellites_in_view_by_throwing_them_on_their_sphere():
    rng = np.random.default_rng(9)
    points = rng.normal(size=(200_000, 3))
    radius = network.SYSTEMS["Galileo"][1]
    points *= radius / np.linalg.norm(points, axis=1)[:, None]
    ray = points - [0.0, 0.0, 6378136.6]
    elevation = np.degrees(np.arcsin(ray[:, 2] / np.linalg.norm(ray, axis=1)))
    expected = 27 * np.mean(elevation > 15.0)
    assert network.satellites_in_view(["Galileo"], 15.0) == pytest.approx(expected, rel=0.01)


def test_systems_add_up():
    one = network.satellites_in_view(["GPS"])
    two = network.satellites_in_view(["Galileo"])
    assert network.satellites_in_view(["GPS", "Galileo"]) == pytest.approx(one + two)


def test_twice_as_often_twice_the_bytes_and_half_the_card():
    slow, fast = (
        network.recording(seconds, ["GPS", "Galileo"], card_bytes=32e9) for seconds in (30.0, 15.0)
    )
    assert fast.bytes_a_day == pytest.approx(2.0 * slow.bytes_a_day)
    assert fast.card_days == pytest.approx(slow.card_days / 2.0)
    assert slow.card_days * slow.bytes_a_day == pytest.approx(0.9 * 32e9)
    assert math.isnan(network.recording(30.0, ["GPS"]).card_days)


def test_rinex_by_counting_characters():
    # RINEX 3.05: sixteen characters an observation, three of the satellite, the line end
    found = network.recording(30.0, ["GPS"], signals=2, form="RINEX", mask_deg=10.0)
    line = "G01" + 8 * "  20000000.12345" + "\n"
    expected = 2880 * (36 + found.satellites * len(line))
    assert found.bytes_a_day == pytest.approx(expected)
    assert found.satellites == pytest.approx(9.3, abs=0.05)
    smaller = network.recording(30.0, ["GPS"], form="compact RINEX")
    assert smaller.bytes_a_day < 0.5 * found.bytes_a_day


@pytest.mark.parametrize(
    ("size", "kind", "needed", "left"),
    [
        (0, "small", 0, 0),
        (340, "small", 1, 0),  # 340 bytes out: small modems, from memory
        (341, "small", 2, 339),
        (1960, "full", 1, 0),  # 1960 bytes out: a reseller's reference
        (24 * 60, "small", 5, 260),
    ],
)
def test_messages_a_day(size, kind, needed, left):
    found = network.messages_a_day(size, kind, attempts=1.5)
    assert (found.needed, found.room_left) == (needed, left)
    assert found.tried == 1.5 * needed


def test_reports_are_not_cut_in_two():
    assert network.reports_a_day(1, 100) == 3
    assert network.reports_a_day(4, 171) == 4
    assert network.reports_a_day(0, 100) == 0
    assert network.messages_a_day(network.reports_a_day(2, 85) * 85).needed == 2


def test_reports_that_are_not_cut_need_more_messages():
    # 5 reports of 200 bytes: 1000 bytes are 3 messages of 340, but only one report fits into each
    cut, whole = network.messages_a_day(1000.0), network.messages_a_day(1000.0, report_bytes=200.0)
    assert (cut.needed, whole.needed) == (3, 5)
    assert network.reports_a_day(whole.needed, 200.0) == 5
    full = network.messages_a_day(1000.0, "full", report_bytes=200.0)
    assert (full.needed, full.room_left) == (1, 960)
    for size in (20.0, 85.0, 150.0, 340.0):
        found = network.messages_a_day(3000.0, report_bytes=size)
        assert network.reports_a_day(found.needed, size) * size >= 3000.0
        assert network.reports_a_day(found.needed - 1, size) * size < 3000.0


@pytest.mark.parametrize(
    ("call", "sentence"),
    [
        (lambda: network.baselines(PLACES, "HALX"), "base HALX: no such place; there are HALB"),
        (lambda: network.satellites_in_view([]), "systems none"),
        (lambda: network.satellites_in_view(["Sputnik"]), "expected some of GPS"),
        (lambda: network.recording(0.0, ["GPS"]), "interval_s is 0.0"),
        (lambda: network.recording(1.0, ["GPS"], form="paper"), "'paper' is not known"),
        (lambda: network.messages_a_day(10, "huge"), "expected full or small"),
        (lambda: network.reports_a_day(1, 400), "a report of 400 bytes"),
    ],
)
def test_impossible_networks_are_refused(call, sentence):
    with pytest.raises(SettingsError, match=sentence):
        call()
