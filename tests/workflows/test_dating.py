"""A file's ranges fit the satellites of its own date and of no other."""

import numpy as np
import pytest

from stakeline.constants import (
    EARTH_ROTATION_RAD_S,
    GM_EARTH_M3_S2,
    NS_PER_DAY,
    NS_PER_S,
    SPEED_OF_LIGHT_M_S,
)
from stakeline.earth.ellipsoid import xyz_from_geodetic
from stakeline.tables import ObservationHeader, Observations, Orbits, Products
from stakeline.time import from_iso
from stakeline.workflows.dating import FITS_M, code_misfit_m, date_fits

DAY = from_iso("2031-05-01")
SITE = xyz_from_geodetic(np.radians(79.0412), np.radians(17.3580), 212.0)
RADIUS_M = 26.56e6
CLOCK_S = 1.0e-3


def satellites_at(time_ns):
    """Return Earth-fixed places of 24 satellites on six circular planes, (n, 24, 3). [m]

    An invented constellation of GPS size, written here apart from the package.
    """
    seconds = np.atleast_1d((np.asarray(time_ns) - DAY) / NS_PER_S)[:, None]
    number = np.arange(24)
    phase = 2 * np.pi * (number / 4 + number / 37) + np.sqrt(GM_EARTH_M3_S2 / RADIUS_M**3) * seconds
    node = np.pi / 3 * (number % 6) - EARTH_ROTATION_RAD_S * seconds
    x, y = np.cos(phase), np.sin(phase) * np.cos(np.radians(55.0))
    z = np.sin(phase) * np.sin(np.radians(55.0))
    turned = (x * np.cos(node) - y * np.sin(node), x * np.sin(node) + y * np.cos(node), z)
    return RADIUS_M * np.stack(turned, axis=-1)


def products(first_day, days):
    times = DAY + first_day * NS_PER_DAY + np.arange(-12, 96 * days + 13) * 900 * NS_PER_S
    shape = (len(times), 24)
    return Products(
        orbits=Orbits(
            time_ns=times.astype(np.int64),
            satellites=np.arange(1, 25),
            position_m=satellites_at(times),
            clock_s=np.zeros(shape),
            frame="IGS20",
        )
    )


@pytest.fixture(scope="module")
def ranges():
    """Observations of the first of May: light time solved here, 5 m of noise, clock 1 ms fast."""
    rng = np.random.default_rng(20310501)
    times = DAY + np.arange(0, 96) * 900 * NS_PER_S
    rows, satellite, start = [], [], [0]
    for time_ns in times:
        reception = int(time_ns) - round(CLOCK_S * 1e9)
        travel = np.full(24, 0.075)
        for _ in range(4):
            place = np.array([
                satellites_at(reception - t * 1e9)[0, i] for i, t in enumerate(travel)
            ])  # fmt: skip
            turn = EARTH_ROTATION_RAD_S * travel
            place = np.stack(
                [
                    place[:, 0] * np.cos(turn) + place[:, 1] * np.sin(turn),
                    place[:, 1] * np.cos(turn) - place[:, 0] * np.sin(turn),
                    place[:, 2],
                ],
                axis=1,
            )
            travel = np.linalg.norm(place - SITE, axis=1) / SPEED_OF_LIGHT_M_S
        up = (place - SITE) @ SITE / np.linalg.norm(SITE) / (travel * SPEED_OF_LIGHT_M_S)
        seen = np.flatnonzero(up > np.sin(np.radians(5.0)))
        code = (travel[seen] + CLOCK_S) * SPEED_OF_LIGHT_M_S + rng.normal(0, 5.0, len(seen))
        rows.append(code)
        satellite.append(seen + 1)
        start.append(start[-1] + len(seen))
    value = np.concatenate(rows)[:, None]
    return Observations(
        header=ObservationHeader(),
        time_ns=times.astype(np.int64),
        flag=np.zeros(96, np.uint8),
        clock_offset_s=np.full(96, np.nan),
        row_start=np.array(start),
        satellite=np.concatenate(satellite).astype(np.int16),
        value=value,
        lock=np.zeros(value.shape, np.uint8),
        strength=np.zeros(value.shape, np.uint8),
        codes={"G": ("C1C",)},
    )


def test_the_right_date_fits_to_the_noise(ranges):
    misfit = code_misfit_m(ranges, products(0, 1), 0)
    assert 1.0 < misfit < 15.0  # 5 m of noise; few spare observations at an epoch


@pytest.mark.parametrize("weeks", [1, -1])
def test_a_week_off_misses_by_far(ranges, weeks):
    misfit = code_misfit_m(ranges, products(7 * weeks, 1), 7 * weeks * NS_PER_DAY)
    assert misfit > 100 * FITS_M


def test_no_products_for_the_date_is_no_answer(ranges):
    assert code_misfit_m(ranges, products(0, 1), 30 * NS_PER_DAY) is None


def at_true_date(first_ns, last_ns):
    return products(0, 1) if first_ns >= DAY and last_ns < DAY + NS_PER_DAY else None


@pytest.mark.parametrize("weeks", [1, -1, 1024, -1024])
def test_a_shifted_file_is_proven_back(ranges, weeks):
    wrong = Observations(**{**vars(ranges), "time_ns": ranges.time_ns - weeks * 7 * NS_PER_DAY})
    fits = date_fits(wrong, at_true_date)
    assert [fit.shift_weeks for fit in fits if fit.fits] == [weeks]
    assert fits[0].misfit_m is None  # nothing is known of the date as written


def test_a_right_date_is_left_alone(ranges):
    (fit,) = date_fits(ranges, at_true_date)
    assert (fit.shift_weeks, fit.fits) == (0, True)
