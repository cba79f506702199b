"""Figures of the motion through time: same input same bytes, gaps open, units on the axes."""

import numpy as np
import pytest

from stakeline.constants import NS_PER_DAY
from stakeline.report import motion_figures as figures
from stakeline.report.style import svg_bytes

HOURS = 600
TIME = 1_900_000_000 * 10**9 + np.arange(HOURS) * (NS_PER_DAY // 24)
GAP = slice(200, 320)


def wave(size, gap=True):
    values = size * np.sin(np.arange(HOURS) / 40.0)
    if gap:
        values[GAP] = np.nan
    return values


def marks():
    return figures.Marks(TIME[[50, 90, 130, 150]], ("step", "visit", "found", "slip"))


def displacement():
    columns = np.stack([wave(1.0), wave(0.1), wave(0.2)], axis=1)
    half = np.full((HOURS, 3), 0.02)
    steady = ("0.5 m/d", "0 m/d", "0.01 m/d")
    return figures.Displacement(
        "HV01", TIME, columns, TIME, columns, half, steady, 1.0, marks(), "note"
    )


def speed(missing=False):
    value = wave(0.1) + (np.nan if missing else 1.0)
    start = TIME[::24]
    return figures.Speed(
        "HV01", TIME, value, np.full(HOURS, 0.02), value, np.full(HOURS, 0.03), start,
        start + NS_PER_DAY, value[::24], np.full(start.size, 0.05), "windows of 1 d", 1.0, marks(),
    )  # fmt: skip


def budget():
    half = np.full(HOURS, 0.01)
    terms = (
        figures.HeightTerm("measured", wave(0.5), half, "1.0 cm/d"),
        figures.HeightTerm("surface slope", wave(0.4), half),
    )
    residual = figures.HeightTerm("residual", wave(0.1), half)
    return figures.HeightBudget("HV01", TIME, residual, terms, 1.0, marks())


def stack(count=3):
    stations = tuple(
        figures.StationAnomaly(f"HV0{k}", 30.0 - 10.0 * k, TIME, wave(4.0), np.full(HOURS, 1.0))
        for k in range(count)
    )
    return figures.Stack("Anomalies", stations, 1.0)


DRAWN = {
    "displacement": lambda: figures.draw_displacement(displacement()),
    "speed": lambda: figures.draw_speed(speed()),
    "budget": lambda: figures.draw_height_budget(budget()),
    "stack": lambda: figures.draw_stack(stack()),
}
LABELS = {
    "displacement": ("along flow (m)", "across flow (left) (m)", "up (m)", "less 0.5 m/d"),
    "speed": ("speed (m/d), looking both ways", "speed (m/a)", "windows of 1 d", "visit"),
    "budget": ("cm", "residual", "surface slope", "1.0 cm/d", "logged step, taken out"),
    "stack": ("5 %", "HV00", "30.0 km", "station, distance along the flow"),
}


@pytest.mark.parametrize("name", DRAWN)
def test_the_same_input_gives_the_same_bytes(name):
    assert svg_bytes(DRAWN[name]()) == svg_bytes(DRAWN[name]())


@pytest.mark.parametrize("name", DRAWN)
def test_labels_carry_their_units(name, words):
    found = words(DRAWN[name]())
    assert "GPS time" in found
    assert set(LABELS[name]) <= {part for word in found for part in (word, *word.split("\n"))}


def lines_through(figure):
    """Return how many drawn lines have a value within the gap, and how many have none."""
    begin, end = TIME[[200, 319]].astype("datetime64[ns]")
    crossing = open_ones = 0
    for axis in figure.axes:
        for line in axis.lines:
            x, y = np.asarray(line.get_xdata()), np.asarray(line.get_ydata(), float)
            if x.dtype.kind != "M" or len(x) < 50:
                continue
            inside = (x >= begin) & (x <= end)
            crossing += bool(np.isfinite(y[inside]).any())
            open_ones += bool(inside.any() and np.isnan(y[inside]).all())
    return crossing, open_ones


@pytest.mark.parametrize("name", DRAWN)
def test_gaps_stay_open(name):
    crossing, open_ones = lines_through(DRAWN[name]())
    assert crossing == 0
    assert open_ones >= 2


def test_rows_that_are_not_there_open_the_line_too():
    keep = np.delete(np.arange(HOURS), np.arange(200, 320))
    full = np.full((HOURS, 3), 0.5)
    record = displacement()
    record = figures.Displacement(
        "HV01", TIME[keep], full[keep], TIME[keep], full[keep], full[keep], record.steady, 1.0
    )
    crossing, open_ones = lines_through(figures.draw_displacement(record))
    assert (crossing, open_ones) == (0, 3)


def test_the_station_furthest_up_stands_on_top(words):
    figure = figures.draw_stack(stack())
    rows = [label.get_text() for label in figure.axes[0].get_yticklabels()]
    assert rows[0].startswith("HV02")
    assert figure.axes[0].get_yticks()[0] > figure.axes[0].get_yticks()[1]


def test_one_station_and_nothing_known():
    svg_bytes(figures.draw_stack(stack(1)))
    svg_bytes(figures.draw_speed(speed(missing=True)))


def test_a_long_record_makes_no_heavy_file():
    count = 100_000  # a year at 5 min
    time_ns = TIME[0] + np.arange(count) * (NS_PER_DAY // 288)
    value = np.random.default_rng(1).normal(1.0, 0.1, count)
    half = np.full(count, 0.1)
    nothing = np.array([])
    record = figures.Speed(
        "HV01", time_ns, value, half, value, half, nothing, nothing, nothing, nothing, "none", 1.0
    )
    assert len(svg_bytes(figures.draw_speed(record))) < 500_000  # B; our choice
