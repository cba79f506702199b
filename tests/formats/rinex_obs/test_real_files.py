"""Open data of many receivers: what they hold, and that nothing but FormatError ever comes out.

Expected numbers were counted in the unpacked text with standard shell tools, or stand in the
description of the data set.
"""

import gzip
import time

import numpy as np
import pytest

from stakeline.errors import FormatError
from stakeline.formats.compression import open_bytes
from stakeline.formats.rinex_obs import join, parse_observations, read_header, read_observations
from stakeline.tables import satellite_id, satellite_name
from stakeline.time import from_iso

pytestmark = [pytest.mark.real, pytest.mark.compiled]
LARGEST = 1_500_000
SLOWEST_S = 120.0  # s, nothing hangs; compiling on a busy machine is in it; common practice


@pytest.fixture(scope="module")
def gnss(reference_data):
    return reference_data / "gnss"


def is_observation_file(path):
    try:
        members = open_bytes(path)
    except FormatError:
        return True
    head = members[0][1][:4000].decode("latin-1") if members else ""
    return "OBSERVATION DATA" in head or "CRINEX" in head or "TYPES OF OBSERV" in head


def test_every_file_reads_or_says_why_not(gnss):
    read, refused, sentences = 0, 0, {}
    for path in sorted(p for p in gnss.rglob("*") if p.is_file()):
        if path.stat().st_size > LARGEST and "world" not in str(path):
            continue
        begin = time.perf_counter()
        try:
            found = read_observations(path)
        except FormatError as problem:
            refused += is_observation_file(path)
            sentences[path] = str(problem)
        else:
            read += 1
            check(found, path)
        assert time.perf_counter() - begin < SLOWEST_S, path
    assert all(str(path) in text and "expected" in text for path, text in sentences.items())
    assert read >= 125
    assert refused >= 10


def check(found, path):
    """Assert what holds of every record."""
    n, rows = len(found), len(found.satellite)
    assert (np.diff(found.time_ns) > 0).all(), path
    assert found.row_start[0] == 0, path
    assert found.row_start[-1] == rows, path
    assert (np.diff(found.row_start) >= 0).all(), path
    assert found.value.shape == found.lock.shape == found.strength.shape, path
    assert len(found.clock_offset_s) == len(found.flag) == n, path
    assert found.value.shape[0] == rows, path
    assert set(found.flag) <= {0, 1}, path
    assert found.lock.max(initial=0) <= 7, path
    for satellite in np.unique(found.satellite):
        assert satellite_name(satellite)[0] in found.codes, path
    epoch = np.repeat(np.arange(n), np.diff(found.row_start))
    assert len(np.unique(epoch * 700 + found.satellite)) == rows, path
    assert all(note.line >= 0 and note.count > 0 for note in found.passed_over), path
    if n == 0:
        assert any("no whole epoch" in note.reason for note in found.passed_over), path


def test_esbjerg_day(gnss):
    found = read_observations(gnss / "esbc_2020_177/ESBC00DNK_R_20201770000_01D_30S_MO.crx.gz")
    assert found.passed_over == ()
    assert len(found) == 2880
    assert np.unique(np.diff(found.time_ns)).tolist() == [30 * 10**9]
    assert found.row_start[1] == 43  # the first epoch line says so
    assert satellite_name(found.satellite[0]) == "C05"
    # first data line: 3&40715949461 3&40715946882 3&-2196 3&-1633 3&212018673071 ...
    expected = [40715949.461, np.nan, 40715946.882, -2.196, np.nan, -1.633, 212018673.071]
    np.testing.assert_array_equal(found.value[0, :7], expected)
    assert found.header.antenna_type == "ASH701945E_M    SCIS"
    assert found.header.antenna_height_m == 0.2160
    assert found.header.glonass_channels[satellite_id("R10")] == -7


def test_lhasa_day_with_gap_events_and_clock_offsets(gnss):
    found = read_observations(gnss / "world_2016_044/24h_lhaz0440.16d.Z")
    assert found.passed_over == ()
    assert len(found.events) == 23
    assert all(event.flag == 4 for event in found.events)
    assert np.diff(found.time_ns).max() == 24 * 60 * 10**9
    assert np.isfinite(found.clock_offset_s).all()
    # by hand: 3&-95286, then 9887, in 1e-9 s
    assert found.clock_offset_s[:2].tolist() == [-95286e-9, -85399e-9]
    assert found.value[0, 3] == 116674597.713
    assert found.time_ns[0] == from_iso("2016-02-13T00:00:30")


def test_version_1_blank_values_have_blank_digits(gnss):
    found = read_observations(gnss / "world_2016_044/24h_lhaz0440.16d.Z")
    missing = np.isnan(found.value)
    assert not found.strength[missing].any()


@pytest.mark.parametrize(("name", "epochs"), [("brmu", 2880), ("hob2", 2880), ("savo", 5760)])
def test_days_of_2016(gnss, name, epochs):
    found = read_observations(gnss / f"world_2016_044/24h_{name}0440.16d.Z")
    assert len(found) == epochs
    assert found.passed_over == ()


def test_ny_alesund_day(gnss):
    found = read_observations(gnss / "nyalesund_2024_124/NYA100NOR_S_20241240000_01D_30S_MO.crx.gz")
    assert len(found) == 2880
    assert np.isfinite(found.clock_offset_s).all()
    assert 6900 < np.count_nonzero(found.lock & 1) < 7100  # about 7,000 by the data's description


def test_rosalia_pieces_are_the_day(gnss):
    folder = gnss / "rosalia_2025_001"
    pieces = [
        read_observations(folder / f"ROSR01TUW_R_20250010{start}_15M_05S_MO.crx.gz")
        for start in ("045", "000", "030", "015")
    ]
    hour = join(pieces)
    assert len(hour) == 720
    assert np.unique(np.diff(hour.time_ns)).tolist() == [5 * 10**9]
    day = read_observations(folder / "ROSR01TUW_R_20250010000_01D_30S_MO.crx.gz")
    assert len(day) == 2880
    assert day.codes["G"][0] == "X1"  # a pseudo-observable stands first
    for k in range(0, 720, 6):
        (twin,) = np.flatnonzero(day.time_ns == hour.time_ns[k])
        ours = hour.value[hour.row_start[k] : hour.row_start[k + 1]]
        theirs = day.value[day.row_start[twin] : day.row_start[twin + 1]]
        np.testing.assert_array_equal(ours, theirs)


def test_hourly_pieces_with_an_empty_header(gnss):
    names = [gnss / f"moflux_2025_001/mozr001{letter}.25d.gz" for letter in "lkjihgfedcba"]
    found = join([read_observations(name) for name in names])
    assert len(found) == 12 * 240
    assert np.unique(np.diff(found.time_ns)).tolist() == [15 * 10**9]
    assert np.isnan(found.header.approximate_position_m).all()
    assert np.isnan(found.header.interval_s)
    assert len(found.files) == 12


def test_one_second_data(gnss):
    found = read_observations(gnss / "highrate/GRAS00FRA_R_20223151700_15M_01S_MO.crx.gz")
    assert len(found) == 900
    assert np.unique(np.diff(found.time_ns)).tolist() == [10**9]


def test_same_receiver_twice(gnss):
    folder = gnss / "zero_baseline_2019_270"
    file, stream = (
        read_observations(folder / f"REYK00ISL_{kind}_20192701000_01H_30S_MO.crx.gz")
        for kind in "RS"
    )
    both = join([file, stream])
    assert len(both) == len(file) == 120
    assert "merged" in both.passed_over[-2].reason
    assert both.passed_over[-2].count == len(stream) == 115


def test_true_decimals_of_a_low_cost_receiver(gnss):
    found = read_observations(gnss / "readers/field_cases/GEOP092I.24o.gz")
    assert found.time_ns[0] == from_iso("2024-04-01T08:31:16.4427602")


@pytest.mark.parametrize(
    ("name", "sentence"),
    [
        ("rinex_cases/emptyFile_U_20190320000_15M_30S_MO.crx", "empty file"),
        ("rinex_cases/unknown-version.06o", ":1: .*9.99"),
        ("rinex_cases/unsupported-time-scale.06o", ":18: .*XYZ"),
        ("rinex_cases/custom-system.01o", "known system"),
        ("rinex_cases/labl8880.01d", ":1: .*WRONG LABEL"),
        ("rinex_cases/vers9990.01d", ":1: .*9.9"),
        ("damaged_cases/truncated_header.25o", "OBS TYPES"),
        ("damaged_cases/binary_garbage.25o", ":1: "),
    ],
)
def test_unusable_files_say_what_is_wrong(gnss, name, sentence):
    with pytest.raises(FormatError, match=sentence):
        read_observations(gnss / "readers" / name)


@pytest.mark.parametrize(
    ("name", "epochs", "rows", "reason"),
    [
        ("damaged_cases/blank_lines_in_data.25o", 2, 70, "blank line"),
        ("damaged_cases/crlf_line_endings.25o", 2, 70, None),
        ("damaged_cases/duplicate_obs_types.25o", 2, 70, "given twice"),
        ("damaged_cases/invalid_epoch_flag.25o", 1, 35, "flag that the standard"),
        ("damaged_cases/invalid_satellite_id.25o", 2, 69, "valid satellite"),
        ("damaged_cases/negative_seconds.25o", 1, 35, "damaged epoch line"),
        ("damaged_cases/non_numeric_observations.25o", 1, 35, "damaged observation field"),
        ("damaged_cases/satellite_count_mismatch.25o", 2, 70, "number of satellites differs"),
        ("damaged_cases/truncated_sat_line.25o", 2, 70, "damaged observation field"),
        ("damaged_cases/zero_satellites.25o", 2, 35, None),
        ("rinex_cases/truncateA_U_20190320000_15M_30S_MO.crx", 1, 11, "cut by the end"),
        ("rinex_cases/truncateB_U_20190320000_15M_30S_MO.crx", 0, 0, "cut by the end"),
        ("rinex_cases/badclkrst_U_20190320000_10M_10M_MO.crx", 2, 23, "damaged differences"),
        ("small_cases/junk_time_obs3.10o", 2, 4, "damaged epoch line"),
    ],
)
def test_damaged_files_keep_what_is_sound(gnss, name, epochs, rows, reason):
    found = read_observations(gnss / "readers" / name)
    assert (len(found), len(found.satellite)) == (epochs, rows)
    if reason is None:
        assert found.passed_over == ()
    else:
        assert any(reason in note.reason for note in found.passed_over)


def test_clock_difference_goes_on_after_a_full_epoch_line(gnss):
    name = "readers/rinex_cases/clckReset_U_20190320000_10M_10M_MO.crx"
    found = read_observations(gnss / name)
    assert found.clock_offset_s.tolist() == [0.123456789012, 0.999999999999]  # sum by hand


def test_headers_are_read_alone(gnss):
    header = read_header(gnss / "world_2016_044/24h_lhaz0440.16d.Z")
    assert (header.marker_name, header.leap_seconds) == ("LHAZ", 16)
    assert header.approximate_position_m == (-106942.17, 5549274.75, 3139222.27)


def test_real_file_cut_anywhere_in_its_packed_form(gnss, tmp_path):
    whole = (gnss / "readers/mixed_cases/BRUX00BEL_R_20202302000_01H_30S_MO.crx.gz").read_bytes()
    full = read_observations(gnss / "readers/mixed_cases/BRUX00BEL_R_20202302000_01H_30S_MO.crx.gz")
    path, before = tmp_path / "cut.crx.gz", 0
    for cut in (20_000, 60_000, 110_000, len(whole) - 9):
        path.write_bytes(whole[:cut])
        found = read_observations(path)
        assert before < len(found) <= len(full)
        before = len(found)
        rows = len(found.satellite)
        np.testing.assert_array_equal(found.value, full.value[:rows])
        assert "end early" in found.passed_over[0].reason
    data = gzip.decompress(whole)
    assert len(parse_observations(data, "x")) == len(full)
