"""Three ways to an antenna's height: geometry, agreement, and the slips of a tape."""

import numpy as np
import pytest

from stakeline.errors import SettingsError
from stakeline.station.antenna_height import Rim, height_of, reduce_slope

RIM = Rim(0.170, 0.035, 0.030)
HEIGHT_M = 1.532


def slopes(height_m, rim, turns=3):
    """Return slope readings from coordinates: mark on the pole's side, places round the rim."""
    turn = 2.0 * np.pi * np.arange(turns) / turns
    place = np.column_stack(
        [rim.from_axis_m * np.cos(turn), rim.from_axis_m * np.sin(turn),
         np.full(turns, height_m + rim.above_reference_m)]
    )  # fmt: skip
    return np.linalg.norm(place - [rim.mark_off_axis_m, 0.0, 0.0], axis=1)


@pytest.mark.parametrize("turns", [1, 2, 3, 4])
@pytest.mark.parametrize("height_m", [0.4, 1.532, 4.0])
def test_reduction_undoes_geometry(turns, height_m):
    assert reduce_slope(slopes(height_m, RIM, turns), RIM) == pytest.approx(height_m, abs=1e-12)


def test_worked_by_hand():
    # 3-4-5: a slope of 2.5 m that ends 1.5 m from the axis stands for 2.0 m
    assert reduce_slope([2.5], Rim(1.5)) == pytest.approx(2.0, abs=1e-15)


def test_vertical_where_the_rim_is_the_axis():
    assert reduce_slope([1.7], Rim(0.0, 0.1)) == pytest.approx(1.6)


def test_three_ways_that_agree():
    said = height_of(1.5315, slopes(HEIGHT_M, RIM), 1.5330, RIM)
    assert said.agree
    assert said.height_m == pytest.approx(HEIGHT_M, abs=0.001)
    assert 0.0005 < said.sigma_m < 0.002
    assert "3 ways within 1.5 mm" in said.sentence


@pytest.mark.parametrize(
    ("tape", "sentence"),
    [
        (slopes(HEIGHT_M, RIM).mean(), "is the slope reading, not reduced"),
        (HEIGHT_M + 0.035, "ended at the rim"),
        (HEIGHT_M / 0.0254, "inches typed as metres"),
        (HEIGHT_M / 0.3048, "feet typed as metres"),
        (HEIGHT_M * 100.0, "centimetres typed as metres"),
        (HEIGHT_M * 1000.0, "millimetres typed as metres"),
        (HEIGHT_M / 10.0, "decimal point misplaced"),
        (HEIGHT_M + 0.120, "read all three again"),
    ],
)
def test_a_slip_is_named(tape, sentence):
    said = height_of(tape, slopes(HEIGHT_M, RIM), HEIGHT_M, RIM)
    assert not said.agree
    assert sentence in said.sentence


def test_one_way_or_none_is_not_enough():
    alone = height_of(HEIGHT_M, [], np.nan, RIM)
    assert not alone.agree
    assert "a second way" in alone.sentence
    assert np.isnan(height_of(np.nan, [], np.nan, RIM).height_m)


def test_impossible_slopes_are_refused():
    with pytest.raises(SettingsError, match="shorter than its distance"):
        reduce_slope([0.1], Rim(0.17))
    with pytest.raises(SettingsError, match="expected 0 or more"):
        Rim(-0.1)
