"""Figures of the water's way: what is drawn where, and the same bytes."""

import numpy as np
import pytest
from matplotlib.collections import PathCollection, QuadMesh
from matplotlib.contour import QuadContourSet

from stakeline.report import route_maps as r
from stakeline.report.map_parts import Ground, name_sides
from stakeline.report.style import svg_bytes


def route_map(**more):
    x, y = np.linspace(0.0, 40.0, 60), np.linspace(0.0, 20.0, 30)
    east, north = np.meshgrid(x, y)
    head = 800.0 - 10.0 * east + (north - 10.0) ** 2
    odds = np.exp(-(((north - 10.0) / 2.0) ** 2)) * (east > 10.0)
    turn = np.linspace(0.0, 2.0 * np.pi, 20)
    ring = (8.0 + 3.0 * np.cos(turn), 10.0 + 2.0 * np.sin(turn))
    line = np.linspace(11.0, 36.0, 50)
    numbers = {
        "title": "Halvard: water", "chart": "EPSG:3413", "x_km": x, "y_km": y, "head_m": head,
        "probability": odds, "routes": (("Upper Halvard", line, np.full(50, 10.0)),),
        "names": ("HV01", "HV02"), "station_km": np.array([[20.0, 10.2], [20.0, 18.0]]),
        "odds": np.array([0.9, 0.1]), "predicted": (ring,),
        "ground": Ground((("Upper Halvard", *ring),), x, y, head + 100.0),
    }  # fmt: skip
    return r.RouteMap(**{**numbers, **more})


def profile(**more):
    x = np.linspace(0.0, 40.0, 80)
    numbers = {
        "title": "Upper Halvard: its water's way", "lake": "Upper Halvard", "distance_km": x,
        "head_m": 700.0 - 12.0 * x, "bed_m": 100.0 - 8.0 * x, "surface_m": 780.0 - 13.0 * x,
        "stations": (r.Passed("HV01", (7.0, 8.0, 11.0), 0.1, 0.9),
                     r.Passed("HV02", (9.0, 9.0, 9.0), 0.1, 0.2)),
        "lakes": (("Lower Halvard", 20.0, 25.0),), "speed_m_s": (0.1, 1.0),
    }  # fmt: skip
    return r.RouteProfile(**{**numbers, **more})


@pytest.mark.parametrize(("draw", "record"), [(r.draw_route_map, route_map),
                                              (r.draw_profile, profile)])  # fmt: skip
def test_the_same_input_gives_the_same_bytes(draw, record):
    assert svg_bytes(draw(record())) == svg_bytes(draw(record()))


def test_words_of_the_map(words):
    found = words(r.draw_route_map(route_map(note="A note.")))
    expected = {
        "Halvard: water",
        "HV01",
        "HV02",
        "probability 0.75 to 1",
        "drawn route",
        "sink of head",
    }
    assert expected | {"Upper Halvard", "A note.", "N"} <= set(found)
    assert "what if" not in found
    line = (("Upper Halvard", np.array([11.0, 30.0]), np.array([10.0, 2.0])),)
    assert "what if" in words(r.draw_route_map(route_map(changed=line)))


def test_shades_lie_where_the_odds_are():
    axis = r.draw_route_map(route_map()).axes[0]
    shades = [c for c in axis.collections if isinstance(c, QuadContourSet) and c.filled]
    assert len(shades) == 1
    last = shades[0].get_paths()[-1].vertices  # odds of 0.75 or more
    assert np.abs(last[:, 1] - 10.0).max() == pytest.approx(2.0 * np.sqrt(-np.log(0.75)), abs=0.15)
    nowhere = r.draw_route_map(route_map(probability=np.zeros((30, 60)))).axes[0]
    assert not [c for c in nowhere.collections if isinstance(c, QuadContourSet) and c.filled]
    assert not [c for c in axis.collections if isinstance(c, PathCollection | QuadMesh)]


def test_a_map_without_stations_is_drawn(words):
    record = route_map(names=(), station_km=np.zeros((0, 2)), odds=np.zeros(0))
    assert "drawn route" in words(r.draw_route_map(record))


def test_the_end_of_a_route_has_its_mark():
    axis = r.draw_route_map(route_map()).axes[0]
    ends = [a for a in axis.lines if a.get_marker() == "s"]
    assert [a.get_xydata().tolist() for a in ends] == [[[36.0, 10.0]]]


def test_words_of_the_profile(words):
    found = words(r.draw_profile(profile()))
    expected = {
        "surface",
        "bed",
        "head of water",
        "Lower Halvard",
        "0.1 m/s",
        "1 m/s",
        "height (m)",
    }
    assert expected <= set(found)
    assert any(word.startswith("HV01") for word in found)
    assert {"6 h", "1 d"} <= set(found)


def test_times_are_distance_over_speed():
    _, times = r.draw_profile(profile()).axes
    slow, fast = times.lines[:2]
    for line, speed in ((slow, 0.1), (fast, 1.0)):
        x, hours = line.get_xydata().T
        np.testing.assert_allclose(1e3 * x / (3600.0 * hours), speed)
    bar = times.lines[2].get_xydata()
    np.testing.assert_allclose(bar, [[8.0, 7.0 / 3.6], [8.0, 11.0 / 0.36]])


def test_stations_stand_on_the_surface():
    heights, _ = r.draw_profile(profile()).axes
    marks = [a.get_xydata()[0] for a in heights.lines if a.get_marker() == "o"]
    for x, height in marks:
        assert height == pytest.approx(780.0 - 13.0 * x, abs=0.01)


def test_names_of_close_places_stand_on_either_side():
    sides = name_sides([0.0, 0.1, 30.0], [0.0, 0.2, 0.0], 40.0, np.ones(3))
    assert sides.tolist() == [-1.0, 1.0, 1.0]
