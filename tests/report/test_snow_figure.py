"""The figure of snow below an antenna: words, intervals, same input same bytes."""

from dataclasses import replace

import numpy as np
import pytest

from stakeline.constants import NS_PER_DAY
from stakeline.report.snow_figure import SnowHeights, draw_snow
from stakeline.report.style import svg_bytes

TIME = 1_900_000_000 * 10**9 + np.arange(40) * NS_PER_DAY


@pytest.fixture
def record():
    height = 2.4 - 0.02 * np.arange(40)
    height[10:14] = np.nan
    return SnowHeights(
        "HV01: height of the antenna above the snow", TIME, height, np.full(40, 0.02),
        np.full(40, 2.5), TIME[[0, 20]], 0.5, TIME[[12, 39]], height[[9, 39]], "a note",
    )  # fmt: skip


def test_same_input_same_bytes(record):
    assert svg_bytes(draw_snow(record)) == svg_bytes(draw_snow(record))


def test_words_and_units(record, words):
    said = words(draw_snow(record))
    for text in ("height of the antenna (m)", "above the snow, by reflections (95 %)", "visit",
                 "above the marker, by the log", "line through the last weeks", "a note"):  # fmt: skip  # noqa: E501
        assert said.count(text) == 1


def test_without_line_and_visits(record, words):
    none = np.array([], np.int64)
    bare = replace(record, line_ns=none, line_m=np.array([]), visits_ns=none)
    assert not {"visit", "line through the last weeks"} & set(words(draw_snow(bare)))


def test_all_intervals_are_inside(record):
    low, high = draw_snow(record).axes[0].get_ylim()
    assert low < 0.0
    assert high > 2.5
