"""A file's ranges fit the satellites of its own date and of no other."""

import pytest

from stakeline.constants import NS_PER_DAY
from stakeline.formats.rinex_nav import read_navigation
from stakeline.formats.rinex_obs import read_observations
from stakeline.formats.sp3 import read_sp3
from stakeline.tables import Observations, Products
from stakeline.time import from_iso
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


@pytest.mark.real
@pytest.mark.compiled
def test_real_ranges_fit_precise_orbits_of_their_day_and_no_other(reference_data):
    data = reference_data / "gnss"
    observations = read_observations(
        next((data / "esbc_2020_177").glob("ESBC*_MO.crx.gz")),
    )
    right = Products(orbits=read_sp3(next((data / "esbc_2020_177").glob("GRG*177*ORB*"))))
    wrong = Products(orbits=read_sp3(next((data / "rosalia_2025_001").glob("COD*ORB*"))))
    # single-frequency codes at 55 N in a quiet year: ionosphere of some metres (common practice)
    assert code_misfit_m(observations, right, 0) < 10.0
    days = (from_iso("2025-01-01") - from_iso("2020-06-25")) // NS_PER_DAY
    assert code_misfit_m(observations, wrong, days * NS_PER_DAY) > 100 * FITS_M


@pytest.mark.real
@pytest.mark.compiled
def test_real_ranges_fit_broadcast_messages(reference_data):
    data = reference_data / "gnss" / "nyalesund_2024_124"
    observations = read_observations(next(data.glob("*_MO.crx.gz")))
    products = Products(broadcast=read_navigation(next(data.glob("*_GN.rnx.gz"))))
    assert code_misfit_m(observations, products, 0) < 30.0
    assert code_misfit_m(observations, products, 7 * NS_PER_DAY) is None
