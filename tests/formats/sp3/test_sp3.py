"""SP3: invented small files, damage, joining, writing, and the real files."""

import numpy as np
import pytest

from stakeline.errors import FormatError, ProductError
from stakeline.formats.sp3 import join, parse_sp3, read_sp3, write_sp3
from stakeline.tables import satellite_id
from stakeline.time import from_calendar

NAMED = "+    3   G05E11R07  0  0  0  0  0  0  0  0  0  0  0  0  0  0"
HEADER = f"""\
#cP2024  7  1  0  0  0.00000000       2 ORBIT IGS20 FIT  HLV
## 2321  86400.00000000   900.00000000 60492 0.0000000000000
{NAMED}
++         5  6  0  0  0  0  0  0  0  0  0  0  0  0  0  0  0
%c M  cc GPS ccc cccc cccc cccc cccc ccccc ccccc ccccc ccccc
%c cc cc ccc ccc cccc cccc cccc cccc ccccc ccccc ccccc ccccc
%f  1.2500000  1.025000000  0.00000000000  0.000000000000000
%f  0.0000000  0.000000000  0.00000000000  0.000000000000000
%i    0    0    0    0      0      0      0      0         0
%i    0    0    0    0      0      0      0      0         0
/* Invented orbits over Halvard Glacier
"""
NOTHING = "PE11      0.000000      0.000000      0.000000 999999.999999"
BODY = f"""\
*  2024  7  1  0  0  0.00000000
PG05  15000.000001 -20000.000002  10000.000003    123.456789 10 11 12 100 EP  MP
{NOTHING}
PR07  -1000.500000   2000.250000  25000.125000     -0.000001
*  2024  7  1  0 15  0.00000000
PG05  15100.000001 -20100.000002  10100.000003 999999.999999
PE11  -9000.000000   8000.000000  27000.000000     50.000000
PR07  -1100.500000   2100.250000  25000.125000     -0.000002
EOF
"""
VELOCITY = """\
EP  55   55   55     222  1234567 -1234567  5999999      -30       21 -1230000
VG05  10000.000000 -20000.000000  30000.000000      1.000000
"""


def sample(text=HEADER + BODY):
    return parse_sp3(text.encode(), "halvard.sp3")


def test_positions_are_metres_clocks_seconds_and_satellites_sorted():
    orbits = sample()
    assert [satellite_id(n) for n in ("G05", "R07", "E11")] == orbits.satellites.tolist()
    # Exact by the decimal shift: the file's 15000.000001 km is 15000000.001 m.
    expected = [15000000.001, -20000000.002, 10000000.003]
    np.testing.assert_array_equal(orbits.position_m[0, 0], expected)
    assert orbits.clock_s[0, 0] == 123.456789e-6
    assert orbits.time_ns[0] == from_calendar(2024, 7, 1)
    assert np.diff(orbits.time_ns).tolist() == [900 * 10**9]


def test_markers_of_missing_values_become_nan():
    orbits = sample()
    assert np.isnan(orbits.position_m[0, 2]).all()
    assert np.isnan(orbits.clock_s[0, 2])
    assert np.isnan(orbits.clock_s[1, 0])
    assert not np.isnan(orbits.position_m[1, 0]).any()


def test_flags_and_standard_deviations():
    orbits = sample()
    flags = orbits.clock_event, orbits.clock_predicted, orbits.manoeuvre, orbits.orbit_predicted
    assert [bool(f[0, 0]) for f in flags] == [True] * 4
    assert not any(f[1].any() for f in flags)
    # SP3-d, "The position and clock record": base^n in mm and ps.
    sigma_m = 1e-3 * 1.25 ** np.array([10, 11, 12])
    np.testing.assert_allclose(orbits.position_sigma_m[0, 0], sigma_m, rtol=1e-14)
    assert orbits.clock_sigma_s[0, 0] == pytest.approx(1e-12 * 1.025**100, rel=1e-14)
    # SP3-d, header lines with ++: 2^n mm, 0 unknown.
    np.testing.assert_array_equal(orbits.accuracy_m, [0.032, np.nan, 0.064])


def test_header_words():
    orbits = sample()
    assert (orbits.frame, orbits.agency, orbits.orbit_type) == ("IGS20", "HLV", "FIT")
    assert orbits.data_used == "ORBIT"
    assert orbits.comments == ("Invented orbits over Halvard Glacier",)
    assert orbits.passed_over == ()


@pytest.mark.parametrize(
    ("system", "shift_s"),
    # TAI - GPS 19 s: IS-GPS-200N, 3.3.4; GPS - UTC 18 s since 2017: IERS Bulletin C 52;
    # GPS - BDT 14 s: BeiDou ICD B1I 3.0, 3.3
    [("GPS", 0), ("TAI", -19), ("UTC", 18), ("GAL", 0), ("BDT", 14)],
)
def test_time_systems_become_gps_time(system, shift_s):
    orbits = sample((HEADER + BODY).replace("cc GPS", f"cc {system}"))
    assert orbits.time_ns[0] == from_calendar(2024, 7, 1) + shift_s * 10**9


def test_an_unknown_time_system_is_refused_and_the_known_ones_named():
    with pytest.raises(FormatError, match=r"halvard\.sp3: found time system 'XYZ'.*BDT, GAL"):
        sample((HEADER + BODY).replace("cc GPS", "cc XYZ"))


def test_sp3_a_without_letters_is_gps():
    text = HEADER.replace("#c", "#a").replace("G05E11R07", "  5 11 27").replace("GPS", "ccc")
    body = BODY.replace("PG05", "P  5").replace("PE11", "P 11").replace("PR07", "P 27")
    orbits = sample(text + body)
    assert orbits.satellites.tolist() == [5, 11, 27]
    assert orbits.manoeuvre is None


def test_velocities_and_correlation_lines():
    orbits = sample(HEADER.replace("#cP", "#cV") + BODY.replace(NOTHING, VELOCITY + NOTHING))
    # dm/s and 1e-4 us/s: SP3-d, "The velocity and clock rate-of-change record"
    np.testing.assert_array_equal(orbits.velocity_m_s[0, 0], [1000.0, -2000.0, 3000.0])
    assert orbits.clock_rate[0, 0] == 1e-10
    assert np.isnan(orbits.velocity_m_s[1]).all()
    again = parse_sp3(write_sp3(orbits), "again")
    np.testing.assert_array_equal(again.velocity_m_s, orbits.velocity_m_s)
    np.testing.assert_array_equal(again.clock_rate, orbits.clock_rate)


def test_more_than_85_satellites():
    names = [f"{s}{k:02d}" for s in "GREC" for k in range(1, 31)]
    records = [
        f"P{n}{1000.0 + k:14.6f}{2000.0:14.6f}{20000.0:14.6f}{k:14.6f}" for k, n in enumerate(names)
    ]
    groups = [names[k : k + 17] for k in range(0, len(names), 17)]
    lines = [f"+  {120 if k == 0 else '':>3}   {''.join(g)}" for k, g in enumerate(groups)]
    text = HEADER.replace(NAMED, "\n".join(lines)).replace("      2 ORBIT", "      1 ORBIT")
    orbits = sample("\n".join([text + "*  2024  7  1  0  0  0.00000000", *records, "EOF\n"]))
    assert len(orbits.satellites) == 120
    assert orbits.passed_over == ()
    again = parse_sp3(write_sp3(orbits), "again")
    np.testing.assert_array_equal(again.satellites, orbits.satellites)
    assert again.passed_over == ()


def test_damage_is_located_and_the_rest_kept():
    body = BODY.replace("-9000.000000", "-9000.0x0000").replace("EOF\n", "")
    orbits = sample(HEADER.replace("       2 ORBIT", "      96 ORBIT") + body)
    notes = [str(n) for n in orbits.passed_over]
    assert "halvard.sp3:18: damaged position record" in notes
    assert "halvard.sp3:1: 96 epochs announced, 2 found" in notes
    assert any("no EOF line" in n for n in notes)
    assert np.isnan(orbits.position_m[1, 2]).all()
    assert not np.isnan(orbits.position_m[1, :2]).any()


def test_a_damaged_epoch_takes_its_records_along():
    orbits = sample((HEADER + BODY).replace("*  2024  7  1  0 15", "*  2024 13  1  0 15"))
    assert len(orbits.time_ns) == 1
    assert "damaged epoch" in str(orbits.passed_over[0])


def test_of_repeated_records_the_first_is_kept():
    body = BODY.replace(
        "EOF\n", "PG05      1.000000      2.000000      3.000000      4.000000\nEOF\n"
    )
    orbits = sample(HEADER + body)
    assert orbits.position_m[1, 0, 0] == 15100000.001
    assert [n.reason for n in orbits.passed_over] == ["repeated position records, the first kept"]


@pytest.mark.parametrize("text", ["", "\n", "nonsense", "#zP2024", HEADER])
def test_what_is_no_sp3_file_is_refused(text):
    with pytest.raises(FormatError, match=r"halvard\.sp3.*expected"):
        sample(text)


def test_join_keeps_the_first_and_fills_what_is_missing():
    first = sample()
    filled = "PE11   1000.000000   2000.000000   3000.000000      7.000000"
    moved = BODY.replace("15000.000001", "15999.000000").replace(NOTHING, filled)
    second = sample(HEADER.replace("IGS20", "ITRF2") + moved)
    both = join([first, second])
    assert both.position_m[0, 0, 0] == 15000000.001
    np.testing.assert_array_equal(both.position_m[0, 2], [1e6, 2e6, 3e6])
    assert both.clock_s[0, 2] == 7e-6
    assert any("frame ITRF2 joined to frame IGS20" in n.reason for n in both.passed_over)
    assert join([first]) is first
    with pytest.raises(ProductError, match="no orbits to join"):
        join([])


def test_join_of_two_days_is_one_table_in_time():
    later = BODY.replace("2024  7  1", "2024  7  2")
    both = join([sample(HEADER + later), sample()])
    assert (np.diff(both.time_ns) > 0).all()
    assert both.position_m.shape == (4, 3, 3)


def test_writing_and_reading_again_changes_nothing():
    orbits = sample()
    again = parse_sp3(write_sp3(orbits), "again")
    for name in ("time_ns", "satellites", "position_m", "clock_s", "position_sigma_m"):
        np.testing.assert_array_equal(getattr(again, name), getattr(orbits, name), err_msg=name)
    for name in ("clock_event", "clock_predicted", "manoeuvre", "orbit_predicted"):
        np.testing.assert_array_equal(getattr(again, name), getattr(orbits, name), err_msg=name)
    np.testing.assert_array_equal(again.accuracy_m, orbits.accuracy_m)
    assert (again.frame, again.agency, again.comments[0]) == ("IGS20", "HLV", orbits.comments[0])


def test_what_does_not_fit_is_not_written():
    orbits = sample()
    orbits.position_m[0, 0, 0] = 1e12
    with pytest.raises(ProductError, match="does not fit"):
        write_sp3(orbits)


# ---- real files ------------------------------------------------------------------------------


@pytest.mark.real
def test_values_against_the_text_of_the_file(reference_data):
    # Line 3671 ff. of the unpacked file, read with zcat and sed:
    # *  2020  6 25 12  0  0.00000000
    # PE01 -14819.317591 -15656.395751  20287.373001   -885.049933
    # PR24 -14019.430150  17974.120664 -11425.213040      3.946085
    folder = reference_data / "gnss" / "esbc_2020_177"
    orbits = read_sp3(folder / "GRG0MGXFIN_20201770000_01D_15M_ORB.SP3.gz")
    assert orbits.position_m.shape == (96, 75, 3)
    assert (orbits.frame, orbits.agency) == ("IGb14", "GRGS")
    noon = orbits.time_ns.tolist().index(from_calendar(2020, 6, 25, 12))
    for name, xyz, clock in (
        ("E01", [-14819317.591, -15656395.751, 20287373.001], -885.049933e-6),
        ("R24", [-14019430.150, 17974120.664, -11425213.040], 3.946085e-6),
    ):
        j = orbits.satellites.tolist().index(satellite_id(name))
        np.testing.assert_array_equal(orbits.position_m[noon, j], xyz)
        assert orbits.clock_s[noon, j] == clock
    # Header lines 3 and 8: E01 stands first and has the exponent 5: 2^5 mm.
    assert orbits.accuracy_m[orbits.satellites.tolist().index(satellite_id("E01"))] == 0.032


@pytest.mark.real
def test_two_days_join(reference_data):
    folder = reference_data / "gnss" / "esbc_2020_177"
    days = [read_sp3(p) for p in sorted(folder.glob("*ORB.SP3.gz"))]
    both = join(days)
    assert len(both.time_ns) == 192
    assert set(np.diff(both.time_ns).tolist()) == {900 * 10**9}


@pytest.mark.real
def test_every_file_reads_or_is_refused_with_a_place(reference_data):
    readers = reference_data / "gnss" / "readers"
    paths = [*readers.glob("sp3_cases/*"), *readers.glob("small_cases/*sp3*")]
    paths += [readers / "field_cases" / "emr08874.sp3"]
    assert len(paths) > 50
    read, refused = 0, {}
    for path in sorted(paths):
        try:
            orbits = read_sp3(path)
        except FormatError as error:
            refused[path.name.split(".")[0]] = str(error)
            continue
        read += 1
        assert np.isfinite(orbits.position_m).any()
        assert (np.diff(orbits.time_ns) > 0).all()
    assert read > 40
    assert all(name in message for name, message in refused.items())
