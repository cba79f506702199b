"""Figures of lakes: what is drawn for what, the same bytes each time."""

from dataclasses import replace

import numpy as np

from stakeline.constants import NS_PER_DAY
from stakeline.report.lake_figures import (
    EventMark,
    LakeLevel,
    LakeMap,
    LakeWater,
    StationHeight,
    draw_lake_events,
    draw_lake_level,
    draw_lake_map,
    draw_lake_water,
)
from stakeline.report.style import svg_bytes

START = 1_900_000_000_000_000_000
DAY = np.arange(0.0, 40.0, 0.25)
TIME = START + (DAY * NS_PER_DAY).astype(np.int64)
LEVEL = np.stack([0.01 * DAY - 0.1, 0.01 * DAY, 0.01 * DAY + 0.1])


def event(kind="drain", day=20.0, **more):
    rng = np.random.default_rng(1)
    onset = START + np.round((day + rng.normal(0.0, 0.3, 100)) * NS_PER_DAY).astype(np.int64)
    return EventMark(f"Upper Halvard {kind}", kind, onset, onset + 4 * NS_PER_DAY, **more)


def level(*events):
    stations = tuple(
        StationHeight(name, role, TIME, LEVEL[1])
        for name, role in (("HV02", "over"), ("HV04", "control"))
    )
    return LakeLevel("Upper Halvard", TIME, LEVEL[1], LEVEL, events, stations, 1.0)


def test_stations_over_and_beside_stand_below_the_level():
    figure = draw_lake_level(level(event()))
    labels = [axis.get_ylabel() for axis in figure.axes]
    assert labels == ["level of the surface (m)", "HV02\nover (m)", "HV04\nbeside (m)"]


def test_the_axis_holds_the_record_though_an_event_reaches_beyond():
    figure = draw_lake_level(level(event(day=39.0)))
    low, high = figure.axes[0].get_xlim()
    assert high - low < 1.05 * 40.0
    assert len(draw_lake_level(level()).axes) == 3


def test_each_event_gets_a_panel_with_both_distributions():
    assert draw_lake_events(level()) is None
    figure = draw_lake_events(level(event(), event("fill", 8.0), event(day=30.0), event(day=35.0)))
    shown = [axis for axis in figure.axes if axis.get_visible()]
    titles = [axis.get_title(loc="left") for axis in shown]
    assert titles.count("Upper Halvard drain") == 3
    strips = [child for axis in shown for child in axis.child_axes]
    assert len(strips) == 4
    assert all(len(strip.collections) == 2 for strip in strips)


def test_a_rejected_event_is_pale():
    clear, faint = (draw_lake_level(level(event(faint=f))) for f in (False, True))
    colors = [figure.axes[0].patches[-1].get_facecolor() for figure in (clear, faint)]
    assert colors[0] != colors[1]
    assert np.ptp(colors[1][:3]) < 0.01  # grey


def test_a_gap_in_the_water_is_not_bridged():
    time_ns = np.where(DAY > 10.0, TIME + 5 * NS_PER_DAY, TIME)
    record = LakeWater("Upper Halvard", time_ns, 1e6 * LEVEL, LEVEL, (event(),), 1.0)
    drawn = draw_lake_water(record).axes[0].lines[0].get_ydata()
    assert np.isnan(drawn).sum() == 1
    assert np.nanmax(drawn) < 1.0  # in millions


def test_a_map_without_shares_has_no_key_and_bytes_repeat():
    ring = np.array([[0.0, 0.0], [4.0, 0.0], [4.0, 3.0], [0.0, 3.0]])
    axis = np.linspace(-3.0, 7.0, 30)
    share = np.exp(-((axis[:, None] - 1.5) ** 2 + (axis - 2.0) ** 2) / 4.0)
    stations = (("HV02", "over", 2.0, 1.5), ("HV04", "control", 6.0, 1.0))
    corners = (np.array([-3.0, -3.0]), np.array([7.0, 6.0]))
    record = LakeMap("Upper Halvard", "EPSG:3413", (ring,), axis, axis, share, stations, corners)
    bare = replace(record, share=np.zeros((0, 0)))
    key = [one.get_xlabel() for one in draw_lake_map(record).axes[0].child_axes]
    assert key == ["", "surface over mean of the roof"]  # the ground of the key, and its scale
    assert draw_lake_map(bare).axes[0].child_axes == []
    assert svg_bytes(draw_lake_map(record)) == svg_bytes(draw_lake_map(record))
