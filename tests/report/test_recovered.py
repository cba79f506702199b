"""The figure of found and true motion: the same data give the same picture."""

import xml.etree.ElementTree as ElementTree

import numpy as np
import pytest

from stakeline.report.recovered import Recovered, draw
from stakeline.report.style import svg_bytes


@pytest.fixture
def station():
    hours = np.arange(0.0, 24.0, 0.5)
    error = 5e-3 * np.sin(hours[:, None] + np.arange(3))
    found = np.stack([hours / 24.0, hours / 24.0 + error[:, 0]], axis=1)
    return Recovered("HV01: 1.0 m/d", hours, found, 0.1 * found, error, np.full((48, 3), 0.01))


def test_the_same_bytes_and_no_date(station):
    first, second = (svg_bytes(draw([station, station], "Found", "noon")) for _ in range(2))
    assert first == second
    assert b"dc:date" not in first
    assert len(first) < 100_000


def test_axes_have_names_and_units(station):
    root = ElementTree.fromstring(svg_bytes(draw([station], "Found and true", "noon")))
    words = {"".join(e.itertext()).strip() for e in root.iter() if e.tag.endswith("}text")}
    wanted = {"Found and true", "HV01: 1.0 m/d", "hours since noon", "true", "found"}
    wanted |= {"along flow (m)", "height (m)", "east (mm)", "north (mm)", "up (mm)"}
    assert wanted <= words


def test_panels_of_a_row_share_their_range(station):
    wide = Recovered(
        "HV02",
        station.hours,
        station.along_m,
        station.height_m,
        4.0 * station.error_m,
        0.04 + 0.0 * station.error_m,
    )
    figure = draw([station, wide], "Found", "noon")
    limits = np.array([axis.get_ylim() for axis in figure.axes]).reshape(5, 2, 2)
    np.testing.assert_array_equal(limits[:, 0], limits[:, 1])
    np.testing.assert_array_equal(limits[2], limits[3])  # east and north
