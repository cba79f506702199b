"""Reading of plain observation files: samples of our own, read here by eye and by column."""

import dataclasses
from pathlib import Path

import numpy as np
import pytest

from stakeline.errors import FormatError
from stakeline.formats.rinex_obs import parse_observations, read_header, read_observations
from stakeline.tables import satellite_id, satellite_name
from stakeline.time import from_iso

SAMPLES = Path(__file__).parent / "samples"


def cell(observations, epoch, satellite, code):
    """Return (value, lock, strength) of one observation."""
    rows = range(observations.row_start[epoch], observations.row_start[epoch + 1])
    row = next(r for r in rows if satellite_name(observations.satellite[r]) == satellite)
    column = observations.codes[satellite[0]].index(code)
    arrays = (observations.value, observations.lock, observations.strength)
    return tuple(array[row, column] for array in arrays)


def line(text, label):
    return f"{text:60}{label}\n"


VERSION_3 = line("     3.05           OBSERVATION DATA    M", "RINEX VERSION / TYPE")
FIRST = "  2020     6    25     0     0    0.0000000     "


def header_3(*more, systems="G    2 C1C L1C", time=f"{FIRST}GPS"):
    return (
        VERSION_3
        + line(systems, "SYS / # / OBS TYPES")
        + (line(time, "TIME OF FIRST OBS") if time else "")
        + "".join(more)
        + line("", "END OF HEADER")
    )


EPOCH = "> 2020 06 25 00 0{}  0.0000000  0  1\nG01  20000000.{:03d}   105000000.500\n"


def epochs(*minutes):
    return "".join(EPOCH.format(m, m) for m in minutes)


def parse(text):
    return parse_observations(text.encode(), "HV01.rnx")


def reasons(observations):
    return [(note.line, note.count, note.reason) for note in observations.passed_over]


# ---- version 2 -----------------------------------------------------------------------------
@pytest.fixture(scope="module")
def version_2():
    return read_observations(SAMPLES / "hv011770.20o")


def test_v2_epochs_keep_their_decimals(version_2):
    expected = ["2020-06-25T23:59:30.188", "2020-06-26T00:00:00.188", "2020-06-26T00:00:30.188"]
    assert version_2.time_ns.tolist() == [from_iso(text) for text in expected]
    assert version_2.flag.tolist() == [0, 1, 0]
    assert np.diff(version_2.row_start).tolist() == [13, 13, 0]  # 13 satellites: two epoch lines


def test_v2_clock_offset_stands_in_the_epoch_line(version_2):
    assert version_2.clock_offset_s[0] == -0.000123456
    assert np.isnan(version_2.clock_offset_s[1:]).all()


def test_v2_values_and_digits(version_2):
    assert cell(version_2, 0, "G01", "C1C") == (20000000.125, 0, 7)
    assert np.isnan(cell(version_2, 0, "G03", "C2W")[0])
    assert cell(version_2, 0, "R24", "S1C") == (45.25, 0, 0)
    assert cell(version_2, 1, "G05", "L1C")[1] == 1


def test_v2_codes_are_translated_by_system(version_2):
    assert version_2.codes["G"] == ("C1C", "C2W", "L1C", "L2W", "D1C", "S1C")
    assert version_2.codes["R"] == ("C1C", "C2P", "L1C", "L2P", "D1C", "S1C")
    assert set(version_2.codes) == {"G", "R"}


def test_slip_records_become_lock_bits_of_their_epoch(version_2):
    assert cell(version_2, 1, "G05", "L1C")[1] & 1
    assert cell(version_2, 1, "R03", "L2P")[1] & 1
    assert version_2.lock.sum() == 2  # and nothing else


def test_events_know_the_next_epoch(version_2):
    (event,) = version_2.events
    assert (event.flag, event.epoch_index, event.time_ns) == (4, 1, None)
    assert "cleared of rime" in event.lines[0]


def test_v2_header():
    header = read_header(SAMPLES / "hv011770.20o")
    assert (header.version, header.marker_name, header.interval_s) == (2.11, "HV01", 30.0)
    assert header.approximate_position_m == (1211000.1234, -223000.5, 6239000.25)
    assert (header.antenna_type, header.antenna_height_m) == ("INVENTED        NONE", 1.5)


# ---- version 3 -----------------------------------------------------------------------------
@pytest.fixture(scope="module")
def version_3():
    return read_observations(SAMPLES / "hv02.rnx")


def test_v3_times_offsets_and_header(version_3):
    assert version_3.time_ns[0] == from_iso("2020-06-25T00:00:00.1234567")  # 100 ns kept
    assert version_3.clock_offset_s[0] == -1e-12
    header = version_3.header
    assert header.clock_offset_applied
    assert header.time_system == "GAL"
    assert np.isnan(header.approximate_position_m).all()  # 0 0 0 is no position
    assert np.isnan(header.interval_s)
    assert header.glonass_channels == {satellite_id("R01"): 1, satellite_id("R02"): -4}
    assert header.phase_shifts == {("G", "L2W"): 0.25}


def test_v3_scale_factor_is_applied(version_3):
    assert cell(version_3, 0, "E36", "S1C")[0] == 45.35


def test_observables_change_inside_the_file(version_3):
    assert version_3.codes["G"] == ("C1C", "L1C", "C2W", "L2W", "C5Q", "L5Q")
    assert cell(version_3, 0, "G01", "L2W") == (81896104.25, 3, 5)
    assert cell(version_3, 1, "G01", "C5Q") == (20000030.001, 0, 7)
    assert np.isnan(cell(version_3, 1, "G01", "C1C")[0])
    assert cell(version_3, 1, "E36", "L1C")[0] == 120865157.0
    assert version_3.events[0].lines[0].startswith("HV02B")


def test_satellite_without_observables_is_noted(version_3):
    ((at, count, reason),) = reasons(version_3)
    assert (at, count) == (21, 1)
    assert "without observables" in reason


@pytest.mark.parametrize(
    ("system", "first"),
    # BeiDou time is 14 s behind GPS time (BDS-SIS-ICD-B1I-3.0, 3.3); GPS-UTC was 18 s in 2020
    # (IERS Bulletin C 52).
    [("GPS", "00:00"), ("GAL", "00:00"), ("BDT", "00:14"), ("GLO", "00:18"), ("UTC", "00:18")],
)
def test_time_systems(system, first):
    text = header_3(time=FIRST + system) + epochs(0)
    assert parse(text).time_ns[0] == from_iso(f"2020-06-25T00:{first}")


def test_time_system_defaults_to_that_of_the_file():
    text = header_3(time="") + epochs(0)
    assert parse(text).header.time_system == "GPS"
    glonass = text.replace("DATA    M", "DATA    R")
    assert parse(glonass).header.time_system == "GLO"  # RINEX 3.05, table A2: TIME OF FIRST OBS


def test_unknown_time_system_names_file_and_line():
    text = header_3(time=f"{FIRST}XYZ") + epochs(0)
    with pytest.raises(FormatError, match=r"HV01.rnx:3: .*XYZ"):
        parse(text)


def test_line_ends_and_final_line_end_do_not_matter():
    text = header_3() + epochs(0, 1)
    for other in (text.replace("\n", "\r\n"), text.rstrip("\n")):
        found = parse(other)
        assert np.array_equal(found.value, parse(text).value)
        assert found.passed_over == ()


def test_blank_lines_are_counted():
    found = parse(header_3() + epochs(0) + "\n   \n" + epochs(1))
    assert reasons(found) == [(7, 2, "blank line")]
    assert len(found) == 2


def test_beidou_band_of_version_302():
    # RINEX 3.02 called B1I band 1, all others band 2 (RINEX 3.05, section 0, changes of 3.03).
    text = header_3(systems="C    2 C1I L1I") + epochs(0).replace("G01", "C06")
    assert parse(text.replace("3.05", "3.02")).codes == {"C": ("C2I", "L2I")}
    assert parse(text.replace("3.05", "3.04")).codes == {"C": ("C1I", "L1I")}


def test_second_header_is_joined_and_noted():
    first, second = header_3() + epochs(0), header_3(systems="G    2 C1C L5Q") + epochs(1)
    found = parse(first + second)
    assert found.codes == {"G": ("C1C", "L1C", "L5Q")}
    assert cell(found, 1, "G01", "L5Q")[0] == 105000000.5
    assert "another header" in reasons(found)[0][2]
    assert reasons(found)[0][0] == 7


def test_epochs_are_sorted_and_doubles_merged():
    found = parse(header_3() + epochs(2, 0, 1, 1))
    assert len(found) == 3
    assert (np.diff(found.time_ns) > 0).all()
    assert found.passed_over[-1].count == 1


# ---- damage --------------------------------------------------------------------------------
def test_every_cut_keeps_the_whole_epochs_before_it():
    head = header_3()
    text = head + epochs(0, 1, 2)
    size = len(EPOCH.format(0, 0))
    for cut in range(len(head) + 1, len(text)):
        found = parse(text[:cut])
        whole = (cut - len(head)) // size
        assert whole <= len(found) <= whole + 1
        good = ~np.isnan(found.value[:, 0])
        assert set(found.value[good, 0]) <= {20000000.000, 20000000.001, 20000000.002}
        if len(found) > whole:  # the last field was whole, or blank
            assert cut - len(head) - whole * size >= size - 17


@pytest.mark.parametrize(
    ("old", "new", "lines", "kept"),
    [
        ("> 2020 06 25 00 01", "> 2020 13 25 00 01", [7], 2),
        ("> 2020 06 25 00 01", "> 2020 0x 25 00 01", [7], 2),
        ("00 01  0.0000000  0", "00 01  0.0000000  7", [7], 2),
        ("00 01  0.0000000  0", "00 01 -1.0000000  0", [7], 2),
    ],
)
def test_damaged_epoch_lines_are_passed_over(old, new, lines, kept):
    found = parse((header_3() + epochs(0, 1, 2)).replace(old, new))
    assert len(found) == kept
    assert [note[0] for note in reasons(found)][:1] == lines


@pytest.mark.parametrize(
    "field", ["  2000000x.001", "  20000000,001", "**************", "20000000.001  "]
)
def test_damaged_fields_are_missing_and_noted(field):
    found = parse((header_3() + epochs(0, 1, 2)).replace("  20000000.001", field))
    assert len(found) == 3
    assert np.isnan(found.value[1, 0])
    assert found.value[1, 1] == 105000000.5
    assert any("damaged observation" in n.reason and n.line == 8 for n in found.passed_over)


def test_damaged_satellite_is_passed_over():
    found = parse((header_3() + epochs(0, 1)).replace("G01", "Q01", 1))
    assert np.diff(found.row_start).tolist() == [0, 1]
    assert reasons(found) == [(6, 1, "line without a valid satellite")]


def test_event_that_claims_too_many_lines_swallows_no_epoch():
    event = ">                              4 99\n" + line("rime", "COMMENT")
    found = parse(header_3() + epochs(0) + event + epochs(1, 2))
    assert len(found) == 3
    assert len(found.events[0].lines) == 1
    assert "event record ends early" in reasons(found)[0][2]


def test_v2_epoch_with_a_missing_line_is_passed_over():
    lines = (SAMPLES / "hv011770.20o").read_text().splitlines(keepends=True)
    found = parse_observations("".join(lines[:20] + lines[21:]).encode(), "x")
    assert len(found) == 2
    assert found.time_ns[0] == from_iso("2020-06-26T00:00:00.188")
    assert any("missing or surplus" in note.reason for note in found.passed_over)


def test_v2_damaged_epoch_line_loses_that_epoch_only():
    text = (SAMPLES / "hv011770.20o").read_text()
    found = parse_observations(
        text.replace(" 20  6 26  0  0  0.188", " 20  6 2x  0  0  0.188", 1).encode(), "x"
    )
    assert found.time_ns[0] == from_iso("2020-06-25T23:59:30.188")
    assert len(found) == 2
    assert np.diff(found.row_start).tolist() == [13, 0]


@pytest.mark.parametrize(
    ("text", "sentence"),
    [
        ("", "an empty file"),
        ("nonsense\n", "columns 61-80"),
        (VERSION_3.replace("3.05", "9.99"), "9.99"),
        (VERSION_3.replace("OBSERVATION", "NAVIGATION "), "NAVIGATION"),
        (VERSION_3, "SYS / # / OBS"),
        (header_3().replace("END OF HEADER", "END OF NOTHING"), "END OF HEADER"),
        (header_3(systems="Z    2 C1C L1C"), "known system"),
        (header_3(*[line(" " * 6 + " C1C" * 13, "SYS / # / OBS TYPES")] * 20), "120 at most"),
    ],
)
def test_headers_that_cannot_be_used(text, sentence):
    with pytest.raises(FormatError, match=sentence) as caught:
        parse(text)
    assert caught.value.file == "HV01.rnx"


def test_header_alone_gives_no_epochs_and_says_so():
    found = parse(header_3())
    assert len(found) == 0
    assert "no whole epoch" in reasons(found)[0][2]


def test_records_are_complete(version_3):
    names = {field.name for field in dataclasses.fields(version_3)}
    assert {"time_ns", "row_start", "codes"} <= names
    assert version_3.files == (str(SAMPLES / "hv02.rnx"),)
    assert version_3.satellite.dtype == np.int16
    assert version_3.row_start.dtype == np.int64
