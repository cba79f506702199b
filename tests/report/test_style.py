"""The look of figures: colours apart in grey, gaps open, numbers that a reader sees untouched."""

import matplotlib as mpl
import numpy as np
from hypothesis import given, settings
from hypothesis import strategies as st
from matplotlib.colors import to_rgb
from matplotlib.figure import Figure

from stakeline.constants import NS_PER_DAY
from stakeline.report import style


def lightness(color):
    """CIE 1976 L* of an sRGB colour: IEC 61966-2-1 and ISO/CIE 11664-4, from memory."""
    value = np.array(to_rgb(color))
    linear = np.where(value <= 0.04045, value / 12.92, ((value + 0.055) / 1.055) ** 2.4)
    y = linear @ (0.2126, 0.7152, 0.0722)
    return 116.0 * np.cbrt(y) - 16.0


def test_colours_are_apart_in_grey():
    # 10 steps of L* between what may lie side by side: common practice, no source
    steps = sorted(map(lightness, (style.DEEP, style.RUST, style.PALE, style.WARM, style.BAND)))
    assert np.diff(steps).min() > 9.0


def test_numbers_that_a_reader_sees_keep_their_digits():
    figure = Figure()
    figure.text(0.123456, 0.5, "0.37712 and 1.23456 ")
    text = style.svg_bytes(figure).decode()
    assert "0.37712 and 1.23456" in text


def test_the_style_leaves_no_trace():
    before = mpl.rcParams["font.size"]
    assert style.styled(lambda: mpl.rcParams["font.size"])() == style.STYLE["font.size"]
    assert mpl.rcParams["font.size"] == before


def test_a_gap_is_opened_and_a_short_one_is_not():
    days = np.array([0.0, 1.0, 2.0, 12.0, 13.0])
    time, value, other = style.opened(days * NS_PER_DAY, 2.0, days, 2.0 * days)
    np.testing.assert_array_equal(value, [0.0, 1.0, 2.0, np.nan, 12.0, 13.0])
    np.testing.assert_array_equal(other, 2.0 * value)
    assert (time[3] - time[0]) / np.timedelta64(1, "D") == 7.0  # the middle of the gap


def test_a_value_alone_between_gaps_is_drawn():
    axis = Figure().subplots()
    style.line(axis, np.arange(5.0), np.array([1.0, np.nan, 2.0, np.nan, 3.0]))
    dots = axis.lines[1]
    np.testing.assert_array_equal(dots.get_xdata(), [0.0, 2.0, 4.0])


def test_dots_are_all_drawn():
    axis = Figure().subplots()
    style.dots(axis, np.arange(500.0), np.where(np.arange(500) % 5, 1.0, np.nan))
    assert len(axis.patches[0].get_path().vertices) == 2 * 400
    assert not axis.patches[0].get_path().should_simplify


@settings(max_examples=50, deadline=None)
@given(
    st.lists(st.floats(-1e3, 1e3) | st.just(np.nan), min_size=2, max_size=400), st.integers(3, 9)
)
def test_thinning_keeps_extremes_gaps_and_order(values, bins):
    """Lowest and highest value, both ends and every run of NaN longer than a bin stay."""
    values = np.array(values)
    time_ns = np.arange(len(values)) * NS_PER_DAY
    time, thin = style.opened(time_ns, 2.0, values, bins=bins)
    assert np.all(np.diff(time) > np.timedelta64(0))
    assert len(thin) <= max(3 * bins + 2, 2 * bins)
    assert np.isnan(thin).any() == np.isnan(values).any()
    if np.isfinite(values).any():
        assert np.nanmin(thin) == np.nanmin(values)
        assert np.nanmax(thin) == np.nanmax(values)


def test_limits_of_nothing_and_of_one_value():
    assert style.limits(np.array([np.nan])) is None
    low, high = style.limits(np.array([2.0, 2.0]))
    assert low < 2.0 < high
