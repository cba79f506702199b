"""Every constant has its unit and its source on its line, and agrees with published values."""

import ast
import io
import re
import tokenize
from pathlib import Path

import numpy as np
import pytest

from stakeline import constants
from stakeline.constants import FREQUENCY_HZ, SPEED_OF_LIGHT_M_S

FILE = Path(constants.__file__)
UNIT_AND_SOURCE = re.compile(r"#\s*\S[^;]*;\s*\S.{2,}")


def unsourced(text):
    """Return 'line: name' of the constants of a module's text that lack ``# unit; source``."""
    comments = {
        token.start[0]: token.string
        for token in tokenize.generate_tokens(io.StringIO(text).readline)
        if token.type == tokenize.COMMENT
    }
    wrong = []

    def check(name, node):
        if isinstance(node, ast.Dict) and node.values:
            for key, value in zip(node.keys, node.values, strict=True):
                check(f"{name}[{ast.unparse(key)}]" if key else name, value)
        elif not UNIT_AND_SOURCE.fullmatch(comments.get(node.end_lineno, "")):
            wrong.append(f"{node.end_lineno}: {name}")

    for node in ast.parse(text).body:
        if isinstance(node, ast.Assign):
            check(ast.unparse(node.targets[0]), node.value)
        elif isinstance(node, ast.AnnAssign) and node.value:
            check(ast.unparse(node.target), node.value)
    return wrong


def test_every_constant_has_unit_and_source():
    wrong = unsourced(FILE.read_text(encoding="utf-8"))
    assert not wrong, "write '# unit; source' behind: " + ", ".join(wrong)


@pytest.mark.parametrize(
    ("text", "wrong"),
    [
        ("A = 1.0  # m; Author (2000), table 1", []),
        ("A = 1.0", ["1: A"]),
        ("A = 1.0  # m", ["1: A"]),
        ("A = 1.0  # m; ", ["1: A"]),
        ("A = {\n 'x': 1,  # m; Author (2000)\n 'y': 2,\n}", ["3: A['y']"]),
        ("A = {'x': {\n 'y': 2,\n}}  # m; Author (2000)", ["2: A['x']['y']"]),
    ],
)
def test_a_missing_source_is_seen(text, wrong):
    assert unsourced(text) == wrong


def test_names_are_capitals():
    names = [name for name in vars(constants) if not name.startswith("__")]
    assert [name for name in names if name != name.upper()] == []


@pytest.mark.parametrize(
    ("a_m", "inverse_flattening", "b_m", "eccentricity_squared"),
    [
        # NGA.STND.0036 (2014), tables 3.1 and 3.5 (from memory, arithmetic re-done)
        (constants.WGS84_A_M, constants.WGS84_INVERSE_FLATTENING, 6356752.3142, 0.006694379990141),
        # Moritz (2000), J. Geod. 74, 128 (from memory, arithmetic re-done)
        (constants.GRS80_A_M, constants.GRS80_INVERSE_FLATTENING, 6356752.3141, 0.006694380022901),
    ],
)
def test_ellipsoids(a_m, inverse_flattening, b_m, eccentricity_squared):
    flattening = 1.0 / inverse_flattening
    tenth_of_a_millimetre = 1e-4
    assert a_m * (1.0 - flattening) == pytest.approx(b_m, abs=0.6 * tenth_of_a_millimetre)
    assert flattening * (2.0 - flattening) == pytest.approx(eccentricity_squared, abs=1e-15)


@pytest.mark.parametrize(
    ("band", "wavelength_m"),
    # c / f; arithmetic, printed so in many texts
    [("G1", 0.190293673), ("G2", 0.244210213), ("G5", 0.254828049)],
)
def test_wavelengths(band, wavelength_m):
    assert SPEED_OF_LIGHT_M_S / FREQUENCY_HZ[band] == pytest.approx(wavelength_m, abs=6e-10)


@pytest.mark.parametrize(
    ("band", "frequency_MHz"),
    # Interface documents of the systems (from memory)
    [
        ("E5", 1176.45),
        ("E7", 1207.14),
        ("E8", 1191.795),
        ("E6", 1278.75),
        ("C2", 1561.098),
        ("C6", 1268.52),
        ("R1", 1602.0),
        ("R2", 1246.0),
    ],
)
def test_frequencies(band, frequency_MHz):
    assert FREQUENCY_HZ[band] == pytest.approx(frequency_MHz * 1e6, abs=1e-3)


def test_carriers_are_multiples_of_the_fundamental_frequency():
    fundamental_Hz = 10.23e6  # IS-GPS-200N, section 3.3.1.1; Galileo OS SIS ICD 2.1, table 2
    factors = {"G1": 154, "G2": 120, "G5": 115, "E7": 118, "E8": 116.5, "E6": 125, "C6": 124}
    for band, factor in factors.items():
        assert FREQUENCY_HZ[band] == pytest.approx(factor * fundamental_Hz, abs=1e-3)


def test_glonass_bands_keep_the_ratio_nine_to_seven():
    # GLONASS ICD 5.1, section 3.3.1.1: L1 / L2 = 9 / 7 on every channel
    for channel in range(-7, 7):
        first = FREQUENCY_HZ["R1"] + channel * constants.GLONASS_STEP_HZ["R1"]
        second = FREQUENCY_HZ["R2"] + channel * constants.GLONASS_STEP_HZ["R2"]
        assert 7 * first == pytest.approx(9 * second, abs=1e-3)


def test_combinations_of_the_first_two_gps_carriers():
    # Coefficients, noise factor, lanes and gamma: arithmetic from the two frequencies of
    # IS-GPS-200N; printed so in textbooks
    first, second = FREQUENCY_HZ["G1"], FREQUENCY_HZ["G2"]
    gamma = (first / second) ** 2
    alpha = gamma / (gamma - 1.0)
    assert gamma == pytest.approx(1.646944, abs=6e-7)
    assert alpha == pytest.approx(2.545727780, abs=6e-10)
    assert 1.0 - alpha == pytest.approx(-1.545727780, abs=6e-10)
    assert np.hypot(alpha, 1.0 - alpha) == pytest.approx(2.978255, abs=6e-7)
    assert SPEED_OF_LIGHT_M_S / (first - second) == pytest.approx(0.861918, abs=6e-7)
    assert SPEED_OF_LIGHT_M_S / (first + second) == pytest.approx(0.106953, abs=6e-7)


def test_sagnac_of_a_satellite_on_the_horizon_of_the_equator():
    # Ashby (2003), Living Rev. Relativity 6: 133 ns for a receiver on the equator (from memory)
    semi_major_axis_m = 26561.75e3  # nominal GPS orbit
    horizon_m = np.sqrt(semi_major_axis_m**2 - constants.EARTH_RADIUS_M**2)
    delay_m = (
        constants.EARTH_ROTATION_RAD_S * constants.EARTH_RADIUS_M * horizon_m / SPEED_OF_LIGHT_M_S
    )
    assert delay_m == pytest.approx(40.0, abs=0.05)
    assert delay_m / SPEED_OF_LIGHT_M_S == pytest.approx(133e-9, abs=0.6e-9)


def test_orbit_of_twelve_sidereal_hours():
    # Two turns in a sidereal day of 86164.0905 s; semi-major axis of GPS 26561.75 km (Kepler)
    period_s = 86164.0905 / 2.0
    axis_m = (constants.GM_EARTH_M3_S2 * (period_s / (2.0 * np.pi)) ** 2) ** (1.0 / 3.0)
    assert axis_m == pytest.approx(26561.75e3, abs=20.0)


def test_masses_in_proportion():
    # IERS Conventions (2010), table 1.1: Moon / Earth 0.0123000371, Sun / Earth 332946.0487 (ratio
    # of the table's own GM values)
    moon = constants.GM_MOON_M3_S2 / constants.GM_EARTH_M3_S2
    assert moon == pytest.approx(0.0123000371, rel=1e-6)
    sun = constants.GM_SUN_M3_S2 / constants.GM_EARTH_M3_S2
    assert sun == pytest.approx(332946.0487, rel=1e-9)
