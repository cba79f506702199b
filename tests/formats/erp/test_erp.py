"""Earth orientation: an invented line in each layout, damage, and the real files."""

import numpy as np
import pytest

from stakeline.errors import FormatError
from stakeline.formats.erp import parse_orientation, read_orientation
from stakeline.time import from_calendar

ARCSECOND = np.pi / 648000
HEAD_OLD = "      Date      MJD      x          y        UT1-UTC       LOD         dX      dY\n"
OLD = HEAD_OLD + (
    "2024   7   1  60492   0.118700   0.263209  -0.0190307   0.0012643   0.000168  -0.000086\n"
    "2024   7   2  60493   0.119700   0.264209  -0.0202950   0.0012643   0.000168  -0.000086\n"
)
NEW = (
    '# YR  MM  DD  HH       MJD        x(")        y(")  UT1-UTC(s)       dX(")      dY(")\n'
    "2024   7   1   0  60492.00    0.118700    0.263209  -0.0190307    0.000168   -0.000086"
    "   -0.002333   -0.000179   0.0012643    0.000069    0.000053   0.0000306\n"
)
IGS = (
    "version 2\nInvented\n  MJD      Xpole   Ypole  UT1-UTC    LOD  Xsig  Ysig   UTsig  LODsig\n"
    "60492.50  118700  263209  -190307  12643    10    10      10      10\n"
)
BULLETIN = (
    "                              BULLETIN B 999\n"
    " 1 - DAILY FINAL VALUES OF x, y, UT1-UTC, dX, dY\n"
    "2024   7   1   60492  118.700  263.209  -19.0307    0.168 -0.086    0.042    0.038\n"
    " 2 - DAILY FINAL VALUES\n2024   7   9   60500  999.0  999.0  9.0 9.0 9.0\n"
)


def finals(mjd=60492, bulletin_b=True):
    text = f"24 7 1 {mjd:8.2f} I  0.118000 0.000025  0.263000 0.000023  I-0.0190000 0.0000051"
    text += "  1.2643 0.0043  I     0.100    0.119    -0.050    0.117"
    if bulletin_b:
        text += "  0.118700  0.263209 -0.0190307     0.168    -0.086  "
    return text + "\n"


def check(table, day_ns, *, length=True, offsets=True):
    assert table.time_utc_ns[0] == day_ns
    got = [table.pole_x_rad[0], table.pole_y_rad[0], table.ut1_minus_utc_s[0]]
    expected = [0.1187 * ARCSECOND, 0.263209 * ARCSECOND, -0.0190307]
    np.testing.assert_allclose(got, expected, rtol=1e-13)
    found = np.array([table.day_length_excess_s[0], table.dx_rad[0], table.dy_rad[0]])
    wanted = np.array([0.0012643, 0.168e-3 * ARCSECOND, -0.086e-3 * ARCSECOND])
    wanted[~np.array([length, offsets, offsets])] = np.nan
    np.testing.assert_allclose(found, wanted, rtol=1e-12)


@pytest.mark.parametrize(
    ("text", "hour", "length", "offsets"),
    [
        (OLD, 0, True, True),
        (NEW, 0, True, True),
        (IGS, 12, True, False),
        (BULLETIN, 0, False, True),
        (finals(), 0, True, True),
    ],
)
def test_every_layout_gives_the_same_day(text, hour, length, offsets):
    table = parse_orientation(text.encode(), "halvard.eop")
    check(table, from_calendar(2024, 7, 1, hour), length=length, offsets=offsets)


def test_finals_without_bulletin_b_take_bulletin_a():
    table = parse_orientation(finals(bulletin_b=False).encode())
    assert table.ut1_minus_utc_s[0] == -0.019
    assert table.dx_rad[0] == pytest.approx(0.1e-3 * ARCSECOND)


def test_days_without_values_are_noted():
    blank = "24 7 260493.00" + " " * 171 + "\n"
    blank = "24 7 2 60493.00" + " " * 170 + "\n"
    table = parse_orientation((finals() + blank).encode(), "halvard.eop")
    assert len(table.time_utc_ns) == 1
    assert [str(n) for n in table.passed_over] == ["halvard.eop:2: day without values"]


def test_damage_is_located_and_the_rest_kept():
    table = parse_orientation(OLD.replace("0.264209", "0.26x209").encode(), "halvard.eop")
    assert len(table.time_utc_ns) == 1
    assert [str(n) for n in table.passed_over] == ["halvard.eop:3: damaged line"]


def test_impossible_numbers_are_left_out():
    # UT1 stays within 0.9 s of UTC: ITU-R TF.460-6, annex 1; UT1 - TAI would be -37 s.
    table = parse_orientation(OLD.replace("-0.0202950", "-37.020295").encode())
    assert len(table.time_utc_ns) == 1
    assert "impossible" in table.passed_over[0].reason


@pytest.mark.parametrize("text", ["", "nonsense", "version 2\n", OLD.replace("   0.", "   x.")])
def test_what_is_no_orientation_is_refused(text):
    with pytest.raises(FormatError, match=r"halvard\.eop.*expected Earth orientation"):
        parse_orientation(text.encode(), "halvard.eop")


@pytest.mark.real
def test_real_files(reference_data):
    folder = reference_data / "gnss" / "auxiliary" / "eop"
    # First lines of the files, read with head.
    expected = {
        "eopc04.12": (2012, 1, 1, 0, 0.118700, 0.263209, -0.4190307, 366),
        "eopc04.15": (2015, 1, 1, 12, 0.030148, 0.281014, -0.4604082, 365),
        "eopc04.1962-now.sample": (2016, 12, 28, 0, 0.086832, 0.264609, -0.4052860, 35),
        "finals2000A.daily": (2011, 4, 9, 0, -0.043369, 0.293414, -0.2207232, 181),
        "bulletinb-338.txt": (2016, 2, 2, 0, -0.004751, 0.301342, 0.0249958, 60),
    }
    for name, (year, month, day, hour, x, y, ut1, days) in expected.items():
        table = read_orientation(folder / name)
        assert table.time_utc_ns[0] == from_calendar(year, month, day, hour), name
        assert table.pole_x_rad[0] == pytest.approx(x * ARCSECOND, rel=1e-12), name
        assert table.pole_y_rad[0] == pytest.approx(y * ARCSECOND, rel=1e-12), name
        assert table.ut1_minus_utc_s[0] == pytest.approx(ut1, rel=1e-12), name
        assert len(table.time_utc_ns) == days, name
    with pytest.raises(FormatError, match=r"tai-utc\.dat"):
        read_orientation(folder / "tai-utc.dat")
