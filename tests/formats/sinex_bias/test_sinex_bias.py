"""SINEX-BIAS: rows of satellites in s or cycles, what is read past, what is refused."""

import pytest

from stakeline.errors import FormatError
from stakeline.formats.recognise import recognise
from stakeline.formats.rinex_clk import wide_lane_biases
from stakeline.formats.sinex_bias import parse_biases, read_biases
from stakeline.tables import satellite_id
from stakeline.time import from_calendar

HEAD = "%=BIA 1.00 HLV 2031:130:00000 HLV 2031:121:00000 2031:122:00000 A 00000004\n"
TITLE = "+BIAS/SOLUTION\n"


def row(kind="OSB", satellite="G01", station="", first="L1C", second="", unit="cyc", value=0.25):
    begin, end = "2031:121:00000", "2031:122:00000"
    return (
        f" {kind:<4s} G049 {satellite:<3s} {station:<9s} {first:<4s} {second:<4s} {begin} {end} "
        f"{unit:<4s} {value:21.4f} {0.01:11.4f}\n"
    )


def parsed(*rows):
    text = HEAD + TITLE + "".join(rows) + "-BIAS/SOLUTION\n%=ENDBIA\n"
    return parse_biases(text.encode("ascii"))


def test_rows_of_codes_and_phases_with_their_units():
    found, passed = parsed(row(), row(first="C1W", unit="ns", value=-5.0577))
    phase, code = found
    assert passed == ()
    assert (phase.kind, phase.satellite, phase.first, phase.unit) == ("OSB", 1, "L1C", "cyc")
    assert phase.value == 0.25
    assert code.value == pytest.approx(-5.0577e-9)
    assert code.sigma == pytest.approx(1e-11)
    assert (code.from_ns, code.until_ns) == (from_calendar(2031, 5, 1), from_calendar(2031, 5, 2))


def test_differences_keep_both_observables():
    found, _ = parsed(row(kind="DSB", first="C1C", second="C1W", unit="ns"))
    assert (found[0].first, found[0].second) == ("C1C", "C1W")


@pytest.mark.parametrize(
    ("bad", "reason"),
    [
        (row(station="HB01"), "bias of a station or of a whole system"),
        (row(satellite="G"), "bias of a station or of a whole system"),
        (row(unit="m"), "bias in 'm', which is neither ns nor cyc"),
        (row(kind="XYZ"), "damaged line of BIAS/SOLUTION"),
        (row(satellite="Q99"), "damaged line of BIAS/SOLUTION"),
    ],
)
def test_what_is_none_of_a_satellite_is_noted_with_its_line(bad, reason):
    found, passed = parsed(row(), bad)
    assert len(found) == 1
    assert [(note.line, note.reason) for note in passed] == [(4, reason)]


def test_another_file_is_refused():
    with pytest.raises(FormatError, match=r"a SINEX-BIAS header such as '%=BIA 1\.00'"):
        parse_biases(b"%=SNX 2.02\n", "coordinates.snx")


def test_it_is_recognised_by_content():
    assert recognise((HEAD + TITLE).encode("ascii")) == "biases"


@pytest.mark.real
def test_a_real_file_of_code_biases(reference_data):
    found, _ = read_biases(reference_data / "gnss" / "auxiliary" / "sinex" / "code.bia")
    first = found[0]
    # the file's first row: OSB G049 G01 C1C 2024:237 to 2024:266, -6.0527 ns
    assert (first.satellite, first.first) == (satellite_id("G01"), "C1C")
    assert first.value == pytest.approx(-6.0527e-9)
    assert first.from_ns == from_calendar(2024, 8, 24)
    assert len({bias.satellite for bias in found}) > 50


def test_wide_lanes_stand_in_comments_of_clock_files():
    comments = (
        "WIDELANE SATELLITE FRACTIONAL BIASES",
        "WL E01 2031   5  1 12  0  0.000000  1   -4.400000E-01  0105",
        "WL G02  2031  5  1 12  0  0.000000  1   -0.125700E+01  0102",
        "WL of something else",
    )
    found = wide_lane_biases(comments)
    assert found == {satellite_id("E01"): (-0.44, "15"), satellite_id("G02"): (-1.257, "12")}
