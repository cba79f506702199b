"""Figures of a lake's level and of what the satellite alone sees: what must stand in them."""

import numpy as np

from stakeline.report.lake_altimetry_figures import LevelLines, SeenRow, draw_levels, draw_seen
from stakeline.report.style import svg_bytes

DAY_NS = 86400 * 10**9
START_NS = 1_900_000_000 * 10**9


def lines():
    time_ns = START_NS + DAY_NS * np.arange(100)
    level = np.linspace(0.0, 1.0, 100)
    passes = time_ns[[10, 50, 90]]
    return LevelLines("Lower Halvard", time_ns, level, np.full(100, 0.02), level, np.full(100, 0.3),
                      passes, level[[10, 50, 90]] + 7.0, np.full(3, 0.05),
                      (("drain", int(time_ns[20]), int(time_ns[25])),))  # fmt: skip


def test_passes_are_drawn_at_the_zero_of_each_curve():
    figure = draw_levels(lines(), "HV07: 3 passes")
    for axis in figure.axes:
        low, high = axis.get_ylim()
        (errors,) = axis.containers
        drawn = errors[0].get_ydata()
        assert low < drawn.min() < drawn.max() < high
        np.testing.assert_allclose(drawn, lines().level_m[[10, 50, 90]], atol=1e-9)
    assert "HV07: 3 passes" in svg_bytes(figure).decode()


def test_each_event_has_its_line_and_words():
    onset = START_NS + 20 * DAY_NS
    later = onset + 40 * DAY_NS
    rows = [
        SeenRow("drain", onset, onset + 5 * DAY_NS, START_NS, onset + 30 * DAY_NS, "-1.0 m"),
        SeenRow("fill", later, later + 4 * DAY_NS, None, None, "not seen"),
    ]
    figure = draw_seen("Lower Halvard", rows, START_NS + DAY_NS * np.array([0, 50]), "note")
    (axis,) = figure.axes
    assert [label.get_text() for label in axis.get_yticklabels()] == [
        "drains 2030-04-06",
        "fills 2030-05-16",
    ]
    text = svg_bytes(figure).decode()
    assert all(word in text for word in ("-1.0 m", "not seen", "onset by passes alone", "note"))
