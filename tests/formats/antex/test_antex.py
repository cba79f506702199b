"""ANTEX: an invented antenna and satellite, damage, and the real files."""

import numpy as np
import pytest

from stakeline.errors import FormatError
from stakeline.formats.antex import parse_antex, read_antex
from stakeline.time import from_calendar


def line(text, label):
    return f"{text:<60}{label}\n"


HEADER = (
    line("     1.4            M", "ANTEX VERSION / SYST")
    + line("A", "PCV TYPE / REFANT")
    + line("", "END OF HEADER")
)
RECEIVER = (
    line("", "START OF ANTENNA")
    + line("HALVARD-1       DOME5309K", "TYPE / SERIAL NO")
    + line("   180.0", "DAZI")
    + line("     0.0  10.0   5.0", "ZEN1 / ZEN2 / DZEN")
    + line("     2", "# OF FREQUENCIES")
    + line("IGS20_9999", "SINEX CODE")
    + line("   G01", "START OF FREQUENCY")
    + line("      0.85     -0.34     64.19", "NORTH / EAST / UP")
    + "   NOAZI    0.00   -0.06   -0.25\n"
    + "     0.0    0.00    1.00    2.00\n"
    + "   180.0    0.00    3.00    4.00\n"
    + "   360.0    0.00    1.00    2.00\n"
    + line("   G01", "END OF FREQUENCY")
    + line("   E05", "START OF FREQUENCY")
    + line("      1.00      2.00      3.00", "NORTH / EAST / UP")
    + "   NOAZI    0.10    0.20    0.30\n"
    + "     0.0    0.00    1.00    2.00\n"
    + "   180.0    0.00    3.00    4.00\n"
    + "   360.0    0.00    1.00    2.00\n"
    + line("   E05", "END OF FREQUENCY")
    + line("   E05", "START OF FREQ RMS")
    + line("      9.00      9.00      9.00", "NORTH / EAST / UP")
    + line("   E05", "END OF FREQ RMS")
    + line("", "END OF ANTENNA")
)
SATELLITE = (
    line("", "START OF ANTENNA")
    + line("BLOCK IIIA          G05                 G099      2024-001A", "TYPE / SERIAL NO")
    + line("     0.0", "DAZI")
    + line("     0.0   2.0   1.0", "ZEN1 / ZEN2 / DZEN")
    + line("     1", "# OF FREQUENCIES")
    + line("  2024     1     2     0     0    0.0000000", "VALID FROM")
    + line("  2024     6    30    23    59   59.9999999", "VALID UNTIL")
    + line("   G01", "START OF FREQUENCY")
    + line("    279.00      0.00   2319.50", "NORTH / EAST / UP")
    + "   NOAZI   -0.80   -0.90   -0.70\n"
    + line("   G01", "END OF FREQUENCY")
    + line("", "END OF ANTENNA")
)


def parse(text):
    return parse_antex(text.encode(), "halvard.atx")


def test_a_receiver_antenna_with_azimuths():
    (antenna,) = parse(HEADER + RECEIVER).entries
    assert (antenna.model, antenna.serial) == ("HALVARD-1       DOME", "5309K")
    assert antenna.satellite is None
    assert antenna.source == "IGS20_9999"
    assert antenna.zenith_deg.tolist() == [0.0, 5.0, 10.0]
    assert antenna.azimuth_deg.tolist() == [0.0, 180.0, 360.0]
    assert list(antenna.patterns) == ["G01", "E05"]
    pattern = antenna.patterns["G01"]
    # ANTEX 1.4: millimetres
    np.testing.assert_array_equal(pattern.offset_m, [0.85e-3, -0.34e-3, 64.19e-3])
    np.testing.assert_array_equal(pattern.by_zenith_m, [0.0, -0.06e-3, -0.25e-3])
    np.testing.assert_array_equal(pattern.by_azimuth_m[1], [0.0, 3e-3, 4e-3])


def test_a_satellite_antenna_with_validity():
    (antenna,) = parse(HEADER + SATELLITE).entries
    assert (antenna.model, antenna.serial, antenna.svn) == ("BLOCK IIIA", "G05", "G099")
    assert antenna.satellite == 5
    assert antenna.valid_from_ns == from_calendar(2024, 1, 2)
    assert antenna.valid_until_ns == from_calendar(2024, 6, 30, 23, 59, 59.9999999)
    assert antenna.azimuth_deg is None
    assert antenna.patterns["G01"].by_azimuth_m is None
    np.testing.assert_array_equal(antenna.patterns["G01"].offset_m, [0.279, 0.0, 2.3195])


@pytest.mark.parametrize(
    ("old", "new", "place"),
    [
        ("-0.06", "-0.x6", "halvard.atx:12: antenna block left out: a damaged value"),
        ("   -0.25", "        ", "halvard.atx:12: antenna block left out: a damaged value"),
        ("64.19", "64,19", "halvard.atx:11: antenna block left out: a damaged offset"),
        ("   180.0    0.00", "   170.0    0.00", "azimuths that do not follow DAZI"),
        ("   0.0  10.0   5.0", "   0.0  10.0   0.0", "steps are missing or impossible"),
        ("HALVARD-1       DOME5309K", " " * 25, "'TYPE / SERIAL NO' is missing"),
        (line("", "END OF ANTENNA"), "", "not closed by 'END OF ANTENNA'"),
        (line("   G01", "END OF FREQUENCY"), line("   G02", "END OF FREQUENCY"), "ends as G02"),
    ],
)
def test_a_damaged_block_is_passed_over_and_the_others_kept(old, new, place):
    antennas = parse(HEADER + RECEIVER.replace(old, new) + SATELLITE)
    assert [a.serial for a in antennas.entries] == ["G05"]
    assert place in str(antennas.passed_over[0])


def test_an_unknown_frequency_leaves_the_others():
    antennas = parse(HEADER + RECEIVER.replace("   E05", "   U99"))
    assert list(antennas.entries[0].patterns) == ["G01"]
    assert "frequency 'U99' not known" in antennas.passed_over[1].reason


@pytest.mark.parametrize(
    ("text", "match"),
    [
        ("", "an empty file"),
        ("nonsense", "ANTEX VERSION"),
        (HEADER, "no antenna"),
        (HEADER.replace("\nA ", "\nR "), "take a file of absolute calibrations"),
        (HEADER.split("A  ")[0], "END OF HEADER"),
    ],
)
def test_what_is_no_absolute_antex_file_is_refused(text, match):
    with pytest.raises(FormatError, match=match):
        parse(text)


@pytest.mark.real
def test_values_against_the_text_of_the_file(reference_data):
    # Lines 22-25 of the unpacked file, read with zcat and sed:
    #       0.85      0.34     64.19                              NORTH / EAST / UP
    #    NOAZI    0.00   -0.06   -0.25   -0.56   -0.98   -1.48   -2.01   -2.51   -2.90   -3.11
    #      0.0    0.00   -0.06   -0.25   -0.57   -1.00   -1.52   -2.09   -2.65   -3.12   -3.43
    folder = reference_data / "gnss" / "auxiliary" / "antex"
    (antenna,) = read_antex(folder / "igs20_trm55971_none.atx.gz").entries
    assert antenna.model == "TRM55971.00     NONE"
    pattern = antenna.patterns["G01"]
    np.testing.assert_array_equal(pattern.offset_m, [0.85e-3, 0.34e-3, 64.19e-3])
    np.testing.assert_array_equal(pattern.by_zenith_m[[0, 1, 9]], [0.0, -0.06e-3, -3.11e-3])
    np.testing.assert_array_equal(pattern.by_azimuth_m[0, [4, 9]], [-1.0e-3, -3.43e-3])
    assert pattern.by_azimuth_m.shape == (73, 19)
    np.testing.assert_array_equal(pattern.by_azimuth_m[0], pattern.by_azimuth_m[-1])


@pytest.mark.real
def test_every_file_reads_or_is_refused_with_a_place(reference_data):
    paths = sorted((reference_data / "gnss" / "auxiliary" / "antex").iterdir())
    assert len(paths) == 13
    entries, refused = {}, {}
    for path in paths:
        try:
            antennas = read_antex(path)
        except FormatError as error:
            refused[path.name] = str(error)
            continue
        entries[path.name] = len(antennas.entries)
        assert antennas.entries or antennas.passed_over
    # igs14-mismatched-frequencies.atx has no line START OF ANTENNA at all (grep).
    assert list(refused) == ["igs14-mismatched-frequencies.atx"]
    assert entries["igs14-small.atx"] == 38  # grep -c "START OF ANTENNA"
