"""Files are told apart by content."""

import pytest

from stakeline.errors import FormatError
from stakeline.formats.compression import open_bytes
from stakeline.formats.recognise import KINDS, recognise


@pytest.mark.parametrize(
    ("text", "kind"),
    [
        (f"{'     3.05':<20}{'OBSERVATION DATA    M':<40}RINEX VERSION / TYPE", "observations"),
        (f"{'3.0':<20}{'COMPACT RINEX FORMAT':<40}CRINEX VERS   / TYPE", "observations"),
        (f"{'     3.05':<20}{'N: GNSS NAV DATA    M':<40}RINEX VERSION / TYPE", "navigation"),
        (f"{'     2.10':<20}{'GLONASS NAV DATA':<40}RINEX VERSION / TYPE", "navigation"),
        (f"{'     3.05':<20}{'METEOROLOGICAL DATA':<40}RINEX VERSION / TYPE", "unknown"),
        (f"{'     3.00':<20}{'CLOCK DATA':<40}RINEX VERSION / TYPE", "clocks"),
        (f"{'3.04':<21}{'C':<44}RINEX VERSION / TYPE", "clocks"),
        (f"{'     1.4            M':<60}ANTEX VERSION / SYST", "antex"),
        ("#dP2024  7  1  0  0", "sp3"),
        ("%=SNX 2.02 HLV", "sinex"),
        ("%=BIA 1.00 HLV", "biases"),
        ("$$ loading\n  HV01\n" + " .001" * 11, "blq"),
        ("2024   7   1  60492   0.118700   0.263209  -0.0190307   0.0012643", "orientation"),
        ("version 2\n", "orientation"),
        ("  HV01\n\n1.   Site Identification of the GNSS Monument\n", "station log"),
        ("time_gps,station,x_m,y_m,z_m\n2031-05-01,HV01,1.0,2.0,3.0\n", "position table"),
        ("time_utc,battery_V\n2031-05-01T00:00Z,12.6\n", "logger table"),
        ('{"type": "FeatureCollection", "features": []}', "outline"),
        ('{"type": "invented"}', "unknown"),
        ("CDF\x01\0\0", "grid"),
        ('[station]\nname = "HV01"\n', "settings"),
        ("We came late. The mast leaned, and the box was full of drift.", "notes"),
        # the body of a receiver file whose header was lost, and a header that is damaged
        ("> 2031 05 01 00 00  0.0000000  0  1\nG01  20000000.123  105100000.456\n", "unknown"),
        (f"{'HV01':<60}MARKER NAME\n{'':<60}OBSERVER / AGENCY\nwords and more words", "unknown"),
        ("", "unknown"),
        ("\x00\x01\x02", "unknown"),
    ],
)
def test_each_kind(text, kind):
    assert recognise(text.encode(), "some file") == kind
    assert kind in KINDS


@pytest.mark.parametrize(
    ("data", "kind"),
    [
        (b"\xff\xd8\xff\xe0\x00\x10JFIF", "photograph"),
        (b"\x89PNG\r\n\x1a\n\x00", "photograph"),
        (b"\x89HDF\r\n\x1a\n\x00", "grid"),
        (b"PAR1 and nothing more", "table"),
    ],
)
def test_kinds_by_their_first_bytes(data, kind):
    assert recognise(data) == kind


@pytest.mark.real
def test_real_files(reference_data):
    gnss = reference_data / "gnss"
    folders = {
        "readers/sp3_cases": "sp3",
        "readers/clk_cases": "clocks",
        "readers/nav_cases": "navigation",
        "auxiliary/antex": "antex",
        "auxiliary/blq": "blq",
        "auxiliary/reference_coordinates": "sinex",
        "readers/slip_cases": "observations",
    }
    odd = {"unsupported-version.sp3"}
    for folder, kind in folders.items():
        for path in sorted((gnss / folder).iterdir()):
            name, data = open_bytes(path)[0]
            expected = "unknown" if path.name in odd else kind
            assert recognise(data, name) == expected, path.name


@pytest.mark.real
def test_nothing_raises_on_any_file(reference_data):
    for path in sorted((reference_data / "gnss" / "readers").rglob("*.*")):
        try:
            members = open_bytes(path)
        except FormatError:
            continue
        for name, data in members:
            assert recognise(data, name) in KINDS
