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
        ("%=BIA 1.00 HLV", "unknown"),
        ("$$ loading\n  HV01\n" + " .001" * 11, "blq"),
        ("2024   7   1  60492   0.118700   0.263209  -0.0190307   0.0012643", "orientation"),
        ("version 2\n", "orientation"),
        ("  HV01\n\n1.   Site Identification of the GNSS Monument\n", "station log"),
        ("", "unknown"),
        ("\x00\x01\x02", "unknown"),
    ],
)
def test_each_kind(text, kind):
    assert recognise(text.encode(), "some file") == kind
    assert kind in KINDS


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
