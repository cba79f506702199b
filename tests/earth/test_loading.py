"""Ocean loading against the print-outs that go with IERS Conventions (2010), section 7.1.2."""

import re
from pathlib import Path

import numpy as np
import pytest

from stakeline.constants import NS_PER_S
from stakeline.earth._tidal_lines import LINES
from stakeline.earth.loading import (
    MAIN_TIDES,
    admitted_waves,
    doodson_arguments,
    main_tide_arguments,
    ocean_loading,
)
from stakeline.errors import ProductError
from stakeline.tables import OceanLoading
from stakeline.time import from_calendar, gps_from_utc

millimetre = 1e-3
PRINTED = Path(__file__).parents[2] / "authorities" / "ocean_loading.txt"


def printed(site):
    """Return the coefficients and the values (24, 3) up, south, west of a site in the print-out."""
    block = PRINTED.read_text(encoding="ascii").split(f"[{site}]")[1].split("[")[0]
    rows = [[float(x) for x in line.split()] for line in block.split("\n") if line.strip()]
    coefficients, values = np.array(rows[:6]), np.array(rows[6:])
    return OceanLoading(site, 0.0, 0.0, coefficients[:3], coefficients[3:]), values


def printed_times():
    start = from_calendar(2009, 6, 25, 1, 10, 45)
    return gps_from_utc(start + np.arange(24) * 3600 * NS_PER_S)


@pytest.mark.parametrize("site", ["Onsala", "Reykjavik"])
def test_printed_series(site):
    loading, expected = printed(site)
    east, north, up = ocean_loading(loading, printed_times()).T
    found = np.stack([up, -north, -east], axis=-1)
    # 0.1 % of the load: another spectrum, derived anew, and other fundamental arguments
    np.testing.assert_allclose(found, expected, rtol=0, atol=0.025 * millimetre)


def test_eleven_tides_alone_would_not_do():
    # the print-outs differ from the bare sum by millimetres: admittance is worth its lines
    loading, expected = printed("Reykjavik")
    angle = main_tide_arguments(printed_times())[:, None, :] - np.radians(loading.phase_deg)
    up, west, south = (loading.amplitude_m * np.cos(angle)).sum(axis=-1).T
    assert np.abs(np.stack([up, south, west], axis=-1) - expected).max() > 1.0 * millimetre


def test_arguments_of_the_main_tides():
    # printed result of the routine ARG2 of the Conventions for day 311.5 of 2008; its polynomials
    # are in UT and older, so the arguments agree to 0.01 deg
    when = gps_from_utc(np.array([from_calendar(2008, 11, 6, 12)]))
    expected = [2.849663065753787805, 6.28318080000000023, 4.926040134021299366]
    expected += [1.608450491115348768, 2.375021572352622456, 0.4746414933980958040]
    expected += [3.908159227647345801, 2.551018561669245344, 5.041990012540757959]
    expected += [4.206816878908014701, 1.608463638294885811]
    difference = main_tide_arguments(when)[0] - expected
    assert np.abs(np.angle(np.exp(1j * difference))).max() < np.radians(0.01)


def test_fundamental_arguments():
    # printed result of the routine FUNDARG of the Conventions, T = 0.07995893223819302
    moon, sun, f, d, node = 2.291187512612069, 6.212931111003726, 3.658025792050573, 4.5541395624, 0
    node = -0.5167379217231804
    centuries_ns = round(0.07995893223819302 * 36525 * 86400e9)
    when = from_calendar(2000, 1, 1, 12) + centuries_ns - round((32.184 + 19.0) * 1e9)
    _, s, h, p, n, ps = doodson_arguments(np.array([when]))[0]
    np.testing.assert_allclose(
        np.exp(1j * np.array([s, h, p, n, ps])),
        np.exp(1j * np.array([f + node, f + node - d, f + node - moon, -node, f + node - d - sun])),
        atol=1e-8,
    )


@pytest.mark.parametrize(
    ("doodson", "ratio"),
    [  # Cartwright & Edden (1973), amplitudes to five digits over M2 0.63221, K1 0.36865 (from
        # memory), and Mf 0.06661
        ((2, 2, -2, 0, 0, 0), 0.29411 / 0.63221),
        ((2, -1, 0, 1, 0, 0), 0.12105 / 0.63221),
        ((2, 2, 0, 0, 0, 0), 0.07992 / 0.63221),
        ((2, 0, 0, 0, -1, 0), -0.02359 / 0.63221),
        ((2, 2, -3, 0, 0, 1), 0.01719 / 0.63221),
        ((1, -1, 0, 0, 0, 0), -0.26223 / 0.36865),
        ((1, 1, -2, 0, 0, 0), -0.12200 / 0.36865),
        ((1, 1, 0, 0, 1, 0), 0.05003 / 0.36865),
        ((1, 1, -1, 0, 0, 1), 0.00288 / 0.36865),
        ((0, 1, 0, -1, 0, 0), 0.03518 / 0.06661),
        ((0, 0, 0, 0, 1, 0), -0.02793 / 0.06661),
    ],
)
def test_spectrum_agrees_with_the_classical_one(doodson, ratio):
    line = LINES[np.all(LINES[:, :6] == doodson, axis=1)]
    assert len(line) == 1
    assert abs(line[0, 6] - ratio) < 4e-4


def test_spectrum_is_large_enough_and_without_repeats():
    assert len(LINES) == 342
    assert len({tuple(row) for row in LINES[:, :6]}) == 342


def test_main_tides_keep_their_own_amplitude():
    loading, _ = printed("Onsala")
    waves = admitted_waves(loading)
    m2 = np.flatnonzero(np.all(LINES[:, :6] == (2, 0, 0, 0, 0, 0), axis=1))[0]
    np.testing.assert_allclose(np.abs(waves[m2]), loading.amplitude_m[:, 0], rtol=1e-12)
    assert MAIN_TIDES[0] == "M2"


def test_dense_series_equals_single_epochs():
    loading, _ = printed("Reykjavik")
    when = from_calendar(2024, 5, 3) + np.arange(0, 86400, 30) * NS_PER_S
    dense = ocean_loading(loading, when)
    single = np.concatenate([ocean_loading(loading, when[k : k + 1]) for k in (7, 800, 2871)])
    np.testing.assert_allclose(dense[[7, 800, 2871]], single, rtol=0, atol=1e-3 * millimetre)


def test_missing_coefficients():
    broken = OceanLoading("HV01", 0.0, 79.0, np.full((3, 11), np.nan), np.zeros((3, 11)))
    with pytest.raises(ProductError, match="HV01"):
        ocean_loading(broken, printed_times())


def test_print_out_holds_what_it_says():
    assert len(re.findall(r"^\[", PRINTED.read_text(encoding="ascii"), re.MULTILINE)) == 2
