"""Maps: arrows to scale, a bar of true kilometres, crosses with their signs."""

import numpy as np
import pytest
from matplotlib.patches import FancyArrowPatch

from stakeline.report import motion_maps as maps
from stakeline.report.style import svg_bytes


def flow_map(count=4, flow=None, ground=None):
    x, y = 10.0 * np.arange(count), np.tile([0.0, 6.0], count)[:count]
    flow = np.stack([1.0 + np.arange(count), np.zeros(count)], axis=1) if flow is None else flow
    names = tuple(f"HV{k + 1:02d}" for k in range(count))
    return maps.FlowMap(
        "Halvard", "EPSG:3413", names, x, y, flow, np.full(count, 0.004), np.zeros(count, bool),
        0.975, 0.4, ground or maps.Ground(),
    )  # fmt: skip


def ground():
    turn = np.linspace(0.0, 2.0 * np.pi, 20)
    x, y = np.linspace(-10.0, 45.0, 30), np.linspace(-10.0, 15.0, 20)
    lake = ("Upper lake", 10.0 + 3.0 * np.cos(turn), 6.0 + 2.0 * np.sin(turn))
    return maps.Ground((lake,), x, y, 1000.0 - 10.0 * x + 0.0 * y[:, None])


def crosses():
    rate = np.array([[2e-3, -1e-3], [1e-3, np.nan]])
    return maps.Crosses(
        np.array([10.0, 20.0]), np.array([2.0, 4.0]), rate, np.full((2, 2), 1.2e-3),
        np.array([0.0, 0.5]), np.array([False, True]), ((0, 1, 2), (1, 2, 3)),
    )  # fmt: skip


def arrows(figure):
    """Return the vectors (k, 2) of the arrows of a map, in map kilometres."""
    found = [p for p in figure.axes[0].patches if isinstance(p, FancyArrowPatch)]
    return np.array([np.subtract(*p._posA_posB[::-1]) for p in found])


def test_the_same_input_gives_the_same_bytes():
    first, second = (svg_bytes(maps.draw_flow_map(flow_map(ground=ground()))) for _ in range(2))
    assert first == second
    first, second = (svg_bytes(maps.draw_strain_map(flow_map(), crosses())) for _ in range(2))
    assert first == second


def test_words_of_the_map(words):
    found = words(maps.draw_flow_map(flow_map(ground=ground())))
    assert {"easting, EPSG:3413 (km)", "northing, EPSG:3413 (km)", "N", "Upper lake"} <= set(found)
    assert "2 m/d; numbers: m/d" in found  # the largest round number below 4 m/d
    assert any(word.endswith("km") and word[0].isdigit() for word in found)
    assert any("1.000 \N{PLUS-MINUS SIGN} 0.004" in word for word in found)
    assert any(word.endswith(" m") for word in found)  # heights of contours


def test_arrows_are_to_the_scale_of_the_key_arrow():
    vectors = arrows(maps.draw_flow_map(flow_map()))
    north, stations, key = vectors[0], vectors[1:-1], vectors[-1]
    np.testing.assert_allclose(stations[:, 0] / key[0], [0.5, 1.0, 1.5, 2.0])
    np.testing.assert_allclose(np.arctan2(*north), 0.4)


def test_the_scale_bar_is_of_true_kilometres(words):
    figure = maps.draw_flow_map(flow_map())
    text = next(w for w in words(figure) if w.endswith(" km"))
    bars = [line for line in figure.axes[0].lines if line.get_linewidth() == 4.5]
    length = max(b.get_xdata()[1] for b in bars) - min(b.get_xdata()[0] for b in bars)
    assert length == pytest.approx(0.975 * float(text.split()[0]))


def test_arrows_end_inside_the_map():
    axis = maps.draw_flow_map(flow_map()).axes[0]
    ends = np.array([30.0, 6.0]) + arrows(axis.figure)[4]
    assert axis.get_xlim()[0] < ends[0] < axis.get_xlim()[1]


def test_extension_points_outward_and_compression_inward():
    figure = maps.draw_strain_map(flow_map(), crosses())
    found = [p for p in figure.axes[0].patches if isinstance(p, FancyArrowPatch)][1:5]
    centre = np.array([10.0, 2.0])
    begins_at_centre = [np.allclose(p._posA_posB[0], centre) for p in found]
    assert begins_at_centre == [True, True, False, False]


def test_what_is_not_above_its_uncertainty_is_grey():
    figure = maps.draw_strain_map(flow_map(), crosses())
    found = [p for p in figure.axes[0].patches if isinstance(p, FancyArrowPatch)][1:7]
    pale = [p.get_edgecolor()[:3] == pytest.approx((0x8A / 255,) * 3) for p in found]
    assert pale == [False, False, True, True, True, True]  # 2 > 1.2; 1 < 1.2


def test_one_station_or_none_that_moves():
    svg_bytes(maps.draw_flow_map(flow_map(1)))
    svg_bytes(maps.draw_flow_map(flow_map(2, np.full((2, 2), np.nan))))
    svg_bytes(maps.draw_flow_map(flow_map(2, np.zeros((2, 2)))))
