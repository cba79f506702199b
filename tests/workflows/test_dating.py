"""A file's ranges fit the satellites of its own date and of no other."""

import pytest

from stakeline.constants import NS_PER_DAY
from stakeline.tables import Observations, Products
from stakeline.workflows.dating import FITS_M, code_misfit_m, date_fits


@pytest.fixture(scope="module")
def ranges(sky):
    """A day of the first of May, every quarter hour."""
    return sky.observations(sky.times(0, 86400, 900))


@pytest.fixture
def products(sky):
    def covering(first_day, days):
        return Products(orbits=sky.orbits(first_day, days))

    return covering


@pytest.fixture
def at_true_date(sky, products):
    """Answer with products of the first of May only."""

    def answer(first_ns, last_ns):
        inside = first_ns >= sky.day and last_ns < sky.day + NS_PER_DAY
        return products(-1, 3) if inside else None

    return answer


def test_the_right_date_fits_to_the_noise(ranges, products):
    misfit = code_misfit_m(ranges, products(-1, 3), 0)
    assert 0.1 < misfit < 2.0  # 0.5 m of noise; few spare observations at an epoch


@pytest.mark.parametrize("weeks", [1, -1])
def test_a_week_off_misses_by_far(ranges, products, weeks):
    misfit = code_misfit_m(ranges, products(7 * weeks - 1, 3), 7 * weeks * NS_PER_DAY)
    assert misfit > 100 * FITS_M


def test_no_products_for_the_date_is_no_answer(ranges, products):
    assert code_misfit_m(ranges, products(0, 1), 30 * NS_PER_DAY) is None


@pytest.mark.parametrize("weeks", [1, -1, 1024, -1024])
def test_a_shifted_file_is_proven_back(ranges, at_true_date, weeks):
    wrong = Observations(**{**vars(ranges), "time_ns": ranges.time_ns - weeks * 7 * NS_PER_DAY})
    fits = date_fits(wrong, at_true_date)
    assert [fit.shift_weeks for fit in fits if fit.fits] == [weeks]
    assert fits[0].misfit_m is None  # nothing is known of the date as written


def test_a_right_date_is_left_alone(ranges, at_true_date):
    (fit,) = date_fits(ranges, at_true_date)
    assert (fit.shift_weeks, fit.fits) == (0, True)
