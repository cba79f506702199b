"""Figures of a plan: what is given is drawn, same input same bytes."""

from dataclasses import replace

import numpy as np
import pytest

from stakeline.constants import NS_PER_DAY
from stakeline.report.plan_figures import (
    MassChance,
    SkyTracks,
    StormLoads,
    YearBands,
    draw_charge,
    draw_mass,
    draw_sky,
    draw_storm,
    draw_year,
)
from stakeline.report.style import svg_bytes

DAYS = 365
START = np.datetime64("2031-07-01", "ns").astype(np.int64)
SEASON = np.cos(2.0 * np.pi * np.arange(DAYS) / DAYS)


def bands():
    spread = np.array([-2.0, -1.0, 0.0, 1.0, 2.0])[:, None]
    ends = START + NS_PER_DAY * np.linspace(0, DAYS, 13).astype(np.int64)
    return YearBands(
        "HV01", START + NS_PER_DAY * np.arange(DAYS), 0.6 + 0.3 * SEASON + 0.03 * spread,
        -15.0 + 10.0 * SEASON + spread, -20.0 + 12.0 * SEASON + spread,
        8.0 - 3.0 * SEASON + spread, SEASON < -0.6, 0.4, 38.6, -45.0, np.linspace(1.0, 0.9, 12),
        ends, "A note.",
    )  # fmt: skip


def lines(figure, label):
    return [one for axis in figure.axes for one in axis.lines if one.get_label() == label]


def test_the_year_shows_the_medians_the_night_and_the_limits():
    record = bands()
    figure = draw_year(record)
    (charge,) = lines(figure, "charge of the bank")
    np.testing.assert_allclose(charge.get_ydata(), 100.0 * record.charge[2])
    (box,) = lines(figure, "box")
    np.testing.assert_allclose(box.get_ydata(), record.box_degC[2])
    text = svg_bytes(figure).decode()
    for word in ("no Sun", "cut off", "designed for", "A note.", "years that have lived so far"):
        assert word in text


def test_the_same_record_gives_the_same_bytes():
    assert svg_bytes(draw_charge(bands())) == svg_bytes(draw_charge(bands()))


def test_a_year_without_night_has_none():
    record = replace(bands(), dark=np.zeros(DAYS, bool))
    assert "no Sun" not in svg_bytes(draw_year(record)).decode()


def test_the_storm_is_ordered_by_force():
    record = StormLoads("storm", ("mast", "panel", "box"), np.array([30.0, 90.0, 60.0]),
                        np.array([40.0, 100.0, 20.0]))  # fmt: skip
    axis = draw_storm(record).axes[0]
    assert [one.get_text() for one in axis.get_yticklabels()] == ["mast", "box", "panel"]
    assert [bar.get_width() for bar in axis.patches] == [30.0, 60.0, 90.0]


def test_the_sky_counts_what_is_seen():
    time = np.linspace(0.0, 24.0, 25)
    azimuth = np.tile(np.linspace(0.0, 12.0, 25)[:, None] % (2 * np.pi), (1, 3))
    elevation = np.tile(np.array([0.2, 0.9, -0.3]), (25, 1))
    elevation[5:8, 1] = np.nan
    record = SkyTracks("sky", time, np.array(["G", "G", "E"]), azimuth, elevation,
                       np.nan_to_num(elevation, nan=-1.0) > 0.1, np.full(25, 1.5),
                       np.array([[0.0, 2 * np.pi], [0.1, 0.1]]),
                       {"G": "GPS", "E": "Galileo"})  # fmt: skip
    figure = draw_sky(record)
    (gps,) = lines(figure, "GPS")
    np.testing.assert_array_equal(gps.get_ydata(), np.where(np.isnan(elevation[:, 1]), 1, 2))
    (galileo,) = lines(figure, "Galileo")
    assert not galileo.get_ydata().any()


@pytest.mark.parametrize("count", [1, 6])
def test_designs_and_their_front(count):
    mass = np.linspace(100.0, 300.0, count)
    front = np.arange(count) % 2 == 0
    record = MassChance("mass", mass, mass / 400.0, front, (200.0, 0.5), 0.95)
    figure = draw_mass(record)
    (drawn,) = lines(figure, "lightest for their chance")
    np.testing.assert_allclose(drawn.get_xdata(), mass[front])
    assert "as described" in svg_bytes(figure).decode()
