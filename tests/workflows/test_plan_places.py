"""Places, sky and network of described stations: round trips, symmetry, what is not known."""

import json
from types import SimpleNamespace

import numpy as np
import pytest

from stakeline.constants import DAYS_PER_YEAR
from stakeline.formats.waypoints import read_waypoints
from stakeline.station.field_coordinates import distance, read_line
from stakeline.workflows import plan_places
from stakeline.workflows.plan_network import kept_of, network_of, smallest_table
from stakeline.workflows.plan_places import (
    day_ns,
    features,
    leg_table,
    moving_site,
    place_of,
    place_table,
    places_of,
    round_of,
    way_points,
)
from stakeline.workflows.plan_sky import nominal_day, sky_of
from stakeline.workflows.plan_together import recording_table

from .plan_examples import described, station_text

AZIMUTH = np.radians(150.0)


def moved(description, speed_m_d=1.2):
    """Return (result, positions) of a station that moved until the day of building."""
    site = description.design.site
    built = day_ns(description.settings.aim.built)
    positions = {
        "time_gps": np.array([built], "datetime64[ns]"),
        "latitude_deg": np.array([site.latitude_deg]),
        "longitude_deg": np.array([site.longitude_deg]),
        "height_m": np.array([site.elevation_m]),
    }
    result = SimpleNamespace(
        station=description.name, moves=True, mean_speed_m_d=(speed_m_d, 0.001), told=None,
        columns={"azimuth_deg": np.full(3, np.degrees(AZIMUTH))},
    )  # fmt: skip
    return result, positions


@pytest.fixture
def three(tmp_path):
    stations = [described(tmp_path)]
    for name, latitude, surface in (("HV02", 79.0912, "snow"), ("HVB0", 79.0612, "rock")):
        text = station_text(name=f'"{name}"', latitude_deg=latitude, surface=f'"{surface}"')
        if surface == "rock":
            text = text.replace('kind = "buried plate"', 'kind = "rock bolt"')
        stations.append(described(tmp_path, name, text))
    return stations


def test_a_place_goes_where_its_ice_carries_it(tmp_path):
    description = described(tmp_path)
    result, positions = moved(description)
    place = place_of(description, result, positions)
    days = (day_ns(description.settings.aim.visit) - positions["time_gps"].astype(int)[0]) / 864e11
    gone = distance((place.latitude_deg, place.longitude_deg),
                    (positions["latitude_deg"][0], positions["longitude_deg"][0]))  # fmt: skip
    assert gone == pytest.approx(1.2 * days, rel=1e-3)
    assert place.latitude_deg < positions["latitude_deg"][0]  # 150 deg: southward, and east
    assert place.longitude_deg > positions["longitude_deg"][0]
    assert place.visit.semi_major_m > 2.0 * place.visit.semi_minor_m
    assert place.visit.azimuth_deg == pytest.approx(150.0, abs=0.5)


def test_the_ellipse_holds_what_it_says(tmp_path):
    description = described(tmp_path)
    result, positions = moved(description)
    site = moving_site(result, positions)
    place = place_of(description, result, positions)
    rng = np.random.default_rng(3)
    years = (place.visit_ns - site.time_ns) / (864e11 * DAYS_PER_YEAR)
    drawn = rng.multivariate_normal([0, 0], site.position_covariance_m2, 20_000)
    drawn += years * rng.multivariate_normal([0, 0], site.velocity_covariance_m2_a2, 20_000)
    inverse = np.linalg.inv(place.visit.covariance_m2)
    inside = np.einsum("ij,jk,ik->i", drawn, inverse, drawn) <= -2.0 * np.log(0.05)
    assert inside.mean() == pytest.approx(0.95, abs=0.005)


def test_stations_without_a_file_are_visited_too(tmp_path, monkeypatch):
    description = described(tmp_path)
    result, positions = moved(description)
    other, base = (SimpleNamespace(**{**vars(result), "station": name, "moves": moves})
                   for name, moves in (("HV09", True), ("HB01", False)))  # fmt: skip
    monkeypatch.setattr(plan_places, "station_positions", lambda *_: positions)
    planned, rock, moving = places_of(None, [description], [result, other, base])
    assert (planned.name, rock.name, moving.name) == ("HV01", "HB01", "HV09")
    assert moving.latitude_deg == planned.latitude_deg
    assert rock.on_rock
    assert rock.visit is None
    assert rock.latitude_deg == positions["latitude_deg"][0]


def test_what_is_not_known_is_said(three):
    snow, _, rock = (place_of(one) for one in three)
    assert snow.visit is None
    assert "its motion is not known yet" in snow.source
    assert "stands on rock" in rock.source
    assert snow.cautions


def test_all_notations_mean_the_same_place(three):
    for one in (place_of(d) for d in three):
        side = one.side_by_side
        for text in (side.degrees, side.minutes, side.seconds):
            read = read_line(text)
            assert distance((read.latitude_deg, read.longitude_deg),
                            (one.latitude_deg, one.longitude_deg)) < 0.5  # fmt: skip
            assert not read.doubts


def test_seconds_read_as_decimals_are_as_far_as_the_reader_says(three):
    place = place_of(three[0])
    bare = place.side_by_side.seconds.replace("°", "").replace("'", "").replace('"', "")
    north = bare.split(" N")[0].split()
    east = bare.split(" N")[1].replace("E", "").split()
    whole = [" ".join((*part[:2], f"{float(part[2]):.0f}")) for part in (north, east)]
    cut = f"{whole[0]} N, {whole[1]} E"
    doubts = [one for one in read_line(cut).doubts if "degrees and minutes" in one.what]
    assert max(one.distance_m for one in doubts) == pytest.approx(place.misread_m, abs=30.0)
    assert place.misread_m > 100.0


def test_whole_minutes_cannot_be_misread(tmp_path):
    text = station_text(latitude_deg=-84.3, longitude_deg=17.5)
    assert place_of(described(tmp_path, text=text)).misread_m == pytest.approx(0.0, abs=1e-3)


def test_way_points_and_features_hold_the_same_places(tmp_path):
    description = described(tmp_path)
    place = place_of(description, *moved(description))
    points, tracks = read_waypoints(way_points([place]))
    assert points[0].latitude_deg == pytest.approx(place.latitude_deg, abs=1e-6)
    assert len(tracks) == 1
    found = json.loads(features([place]))["features"]
    assert found[0]["geometry"]["coordinates"] == pytest.approx(
        [place.longitude_deg, place.latitude_deg], abs=1e-5
    )
    assert found[1]["geometry"]["type"] == "Polygon"
    assert place_table([place]).count(b"\n") == 2


def test_the_round_begins_and_ends_at_the_base_on_rock(three):
    legs, exact = round_of([place_of(one) for one in three])
    assert exact
    assert legs[0].start == legs[-1].end == "HVB0"
    assert {one.end for one in legs} == {"HV01", "HV02", "HVB0"}
    there = next(one for one in legs if one.start == "HVB0")
    assert there.azimuth_deg == pytest.approx(0.0 if there.end == "HV02" else 180.0, abs=0.5)
    assert leg_table(legs).startswith(b"from,to,length_km,azimuth_deg")
    assert round_of([place_of(three[0])]) == ((), True)


def test_a_sky_with_a_wall_to_the_south_is_worse(tmp_path):
    free = sky_of(described(tmp_path, text=station_text(horizon_deg="[[0, 0]]")))
    wall = "[[0, 0], [100, 0], [110, 50], [250, 50], [260, 0]]"
    behind = sky_of(described(tmp_path, text=station_text(horizon_deg=wall)))
    assert behind.view.count.mean() < 0.8 * free.view.count.mean()
    assert behind.share_above(1.2) > free.share_above(1.2)
    assert free.source == "nominal constellations"


def test_orbits_given_are_used_for_the_systems_wanted(tmp_path):
    description = described(tmp_path)
    only = sky_of(description, nominal_day(["GPS"]))
    assert set(only.view.satellites // 100) == {0}
    assert only.view.count.mean() < sky_of(description).view.count.mean()


def test_half_the_duty_records_half(tmp_path):
    whole = kept_of(described(tmp_path), 365.0)
    text = station_text().replace('kind = "receiver"\n', 'kind = "receiver"\nduty = 0.5\n')
    half = kept_of(described(tmp_path, text=text), 365.0)
    assert half.bytes_d == pytest.approx(0.5 * whole.bytes_d)
    assert half.card_d == pytest.approx(2.0 * whole.card_d)
    assert kept_of(described(tmp_path), 1e6).lines[0].state == "bad"


def test_messages_are_those_of_the_modem(tmp_path):
    sends = station_text().replace("[[cargo]]", "[recording]\nsent_bytes_d = 1000\n\n[[cargo]]", 1)
    small = kept_of(described(tmp_path, text=sends), 365.0)
    assert (small.messages.needed, small.message_bytes, small.reports_d) == (3, 340, None)
    text = sends.replace('kind = "telemetry"', 'kind = "telemetry"\nreport_bytes = 200')
    whole = kept_of(described(tmp_path, text=text), 365.0)
    assert (whole.messages.needed, whole.reports_d) == (5, 5)
    text = text.replace("report_bytes", 'message = "full"\nreport_bytes')
    full = kept_of(described(tmp_path, text=text), 365.0)
    assert (full.messages.needed, full.message_bytes, full.reports_d) == (1, 1960, 9)
    assert full.sent_words == (
        "1 short burst of up to 1960 bytes a day (1.3 tried), 9 whole reports"
    )
    assert kept_of(described(tmp_path), 365.0).sent_words == ""
    table = recording_table([small, full])
    sent = [row.split(b",")[3:] for row in table.splitlines()[1:]]
    assert sent == [[b"3", b"3.9", b"340", b""], [b"1", b"1.3", b"1960", b"9"]]


def test_the_network_has_baselines_and_sees_less_in_less(three):
    places = [place_of(one) for one in three]
    found = network_of(three, places, ())
    assert found.base == "HVB0"
    assert [one.station for one in found.baselines] == ["HV01", "HV02"]
    rows = {row[:3]: row[3] for row in found.smallest}
    assert rows[(15.0, 10, 1)] == pytest.approx(rows[(15.0, 1, 1)] / np.sqrt(10.0))
    assert rows[(15.0, 1, 2)] < rows[(15.0, 1, 1)]
    assert rows[(45.0, 1, 1)] < rows[(5.0, 1, 1)]
    assert np.isnan(found.speed_m_d)
    assert "no station has a record yet" in found.noise
    assert smallest_table(found).startswith(b"length_d,drainages,stations")
