"""Navigation messages: invented small files of versions 2, 3, 4, damage, real files."""

from dataclasses import replace

import numpy as np
import pytest

from stakeline.errors import FormatError, ProductError
from stakeline.formats.rinex_nav import (
    KEPLER_COLUMNS,
    STATE_COLUMNS,
    parse_navigation,
    read_navigation,
    write_navigation,
)
from stakeline.tables import satellite_id
from stakeline.time import from_calendar, from_gps_week

# One GPS message whose numbers count the places, so that a wrong place shows at once.
PLACES = [
    [np.nan, 1e-4, 2e-12, 0.0],
    [10.0, 11.0, 1.2e-9, 1.3],
    [2.0e-6, 0.021, 2.2e-6, 5153.5],
    [86400.0, 3.1e-8, 3.2, 3.3e-8],
    [0.94, 41.0, 4.2, -4.3e-9],
    [5.0e-10, 51.0, 2321.0, 53.0],
    [2.4, 61.0, 6.2e-9, 63.0],
    [79200.0, 4.0],
]


def record(start, rows=PLACES, indent=4):
    """Return the lines of a message; NaN is written as blanks."""

    def field(value):
        return " " * 19 if np.isnan(value) else f"{value:19.12E}"

    lines = [start + "".join(field(v) for v in rows[0][1:])]
    lines += [" " * indent + "".join(field(v) for v in row) for row in rows[1:]]
    return "\n".join(lines) + "\n"


def header(version, kind, *lines):
    first = f"{version:>9}{'':11}{kind:<40}RINEX VERSION / TYPE"
    body = [f"{text:<60}{label}" for text, label in lines]
    return "\n".join([first, *body, f"{'':60}END OF HEADER"]) + "\n"


V3 = header("3.05", "N: GNSS NAV DATA    M: MIXED")
V4 = header("4.00", "NAVIGATION DATA     M")
DAY = from_calendar(2024, 7, 1)


def parse(text):
    return parse_navigation(text.encode(), "halvard.rnx")


def value(messages, row, name):
    return messages.values[row, messages.columns.index(name)]


def test_every_number_of_a_gps_message_is_in_its_place():
    broadcast = parse(V3 + record("G05 2024 07 01 00 00 00"))
    messages = broadcast.kepler
    # RINEX 3.05, table A6
    expected = {
        **dict(af0=1e-4, af1=2e-12, af2=0.0, iode=10.0, crs=11.0, delta_n=1.2e-9, m0=1.3),
        **dict(cuc=2.0e-6, eccentricity=0.021, cus=2.2e-6, sqrt_a=5153.5, toe_sow=86400.0),
        **dict(cic=3.1e-8, omega0=3.2, cis=3.3e-8, i0=0.94, crc=41.0, omega=4.2),
        **dict(omega_dot=-4.3e-9, i_dot=5.0e-10, week=2321.0, accuracy_m=2.4, health=61.0),
        **dict(tgd=6.2e-9, iodc=63.0, a_dot=0.0, delta_n_dot=0.0),
    }
    for name, number in expected.items():
        assert value(messages, 0, name) == pytest.approx(number, rel=4e-16), name
    assert np.isnan(value(messages, 0, "tgd2"))
    assert set(expected) | {"tgd2"} == set(KEPLER_COLUMNS) == set(messages.columns)
    assert messages.kind.tolist() == ["LNAV"]
    assert messages.satellites.tolist() == [5]
    assert messages.time_of_clock_ns[0] == messages.time_of_ephemeris_ns[0] == DAY
    assert messages.transmission_ns[0] == DAY - 7200 * 10**9
    assert broadcast.passed_over == ()


def test_version_2_has_two_digit_years_d_exponents_and_header_coefficients():
    ionosphere = "    0.1118D-07  0.7451D-08 -0.5960D-07 -0.5960D-07"
    head = header("2.11", "N: GPS NAV DATA", (ionosphere, "ION ALPHA"), ("    18", "LEAP SECONDS"))
    text = record(" 5 24  7  1  0  0  0.0", indent=3).replace("E-", "D-").replace("E+", "D+")
    broadcast = parse(head + text)
    assert broadcast.kepler.time_of_clock_ns[0] == DAY
    assert value(broadcast.kepler, 0, "sqrt_a") == 5153.5
    assert broadcast.ionosphere["GPSA"] == (0.1118e-7, 0.7451e-8, -0.5960e-7, -0.5960e-7)
    assert broadcast.leap_seconds == 18


def test_beidou_times_are_14_s_later_and_geostationary_satellites_send_d2():
    text = V3 + record("C02 2024 07 01 00 00 00") + record("C20 2024 07 01 00 00 00")
    messages = parse(text).kepler
    assert messages.kind.tolist() == ["D2", "D1"]
    # GPS - BDT = 14 s: BeiDou ICD B1I 3.0, section 3.3
    assert (messages.time_of_ephemeris_ns == DAY + 14 * 10**9).all()
    assert value(messages, 0, "tgd2") == 63.0


@pytest.mark.parametrize(("sources", "kind"), [(513, "INAV"), (517, "INAV"), (258, "FNAV")])
def test_galileo_messages_are_named_by_their_data_source(sources, kind):
    rows = [row[:] for row in PLACES]
    rows[5][1] = float(sources)  # RINEX 3.05, table A8, data sources
    messages = parse(V3 + record("E11 2024 07 01 00 00 00", rows)).kepler
    assert messages.kind.tolist() == [kind]


STATE = [
    [np.nan, 1e-5, 1e-12, 86370.0],
    [10000.5, 1.5, 1e-9, 0.0],
    [-11000.25, 2.5, 2e-9, -4.0],
    [20000.125, 3.5, 3e-9, 1.0],
]


def test_glonass_is_utc_and_in_kilometres():
    broadcast = parse(V3 + record("R07 2024 07 01 00 15 00", STATE))
    messages = broadcast.state_vector
    assert messages.columns == STATE_COLUMNS
    names = ("x", "y", "z", "vx", "vy", "vz", "ax", "ay", "az")
    expected = [10000500, -11000250, 20000125, 1500, 2500, 3500, 1e-6, 2e-6, 3e-6]
    np.testing.assert_allclose([value(messages, 0, n) for n in names], expected, rtol=4e-16)
    assert (value(messages, 0, "af0"), value(messages, 0, "channel")) == (1e-5, -4.0)
    # GPS - UTC = 18 s since 2017: IERS Bulletin C 52
    assert messages.time_of_ephemeris_ns[0] == DAY + (15 * 60 + 18) * 10**9
    # 86370 s of the UTC day, the evening before
    assert messages.transmission_ns[0] == DAY + (18 - 30) * 10**9


def test_sbas_is_gps_time():
    rows = [row[:] for row in STATE]
    rows[0][3] = 86400.0 + 70.0  # s of the GPS week; Monday
    broadcast = parse(V3 + record("S23 2024 07 01 00 01 04", rows))
    messages = broadcast.state_vector
    assert messages.time_of_ephemeris_ns[0] == DAY + 64 * 10**9
    assert messages.transmission_ns[0] == DAY + 70 * 10**9
    assert value(messages, 0, "accuracy_m") == -4.0


def test_version_4_records_of_every_type():
    civil = [*PLACES[:7], [7.0e-10] * 4, [79200.0, 2321.0]]
    text = V4 + "> EPH G05 CNAV\n" + record("G05 2024 07 01 00 00 00", civil)
    text += "> ION G05 LNAV\n"
    text += record(
        "    2024 07 01 00 00 00", [[np.nan, 1.0, 2.0, 3.0], [4.0, 5.0, 6.0, 7.0], [8.0]]
    )
    text += "> STO G05 LNAV\n" + record("    2024 07 01 00 00 00", [[np.nan, 1.0, 2.0, 3.0]])
    text += "> EPH G06 XXXX\n" + record("G06 2024 07 01 00 00 00")
    broadcast = parse(text)
    messages = broadcast.kepler
    assert messages.kind.tolist() == ["CNAV"]
    # RINEX 4.00, GPS CNAV: ADOT and DeltaN0dot; the reference time is that of the clock
    assert value(messages, 0, "a_dot") == 10.0
    assert value(messages, 0, "delta_n_dot") == 51.0
    assert value(messages, 0, "toe_sow") == 86400.0
    assert broadcast.ionosphere == {"GPSA": (1.0, 2.0, 3.0, 4.0), "GPSB": (5.0, 6.0, 7.0, 8.0)}
    assert [n.reason for n in broadcast.passed_over] == [
        "time offset records are not used",
        "message of unknown kind G XXXX",
    ]


def test_the_week_is_that_nearest_to_the_clock_across_its_turn():
    rows = [row[:] for row in PLACES]
    rows[3][0] = 0.0
    messages = parse(V3 + record("G05 2024 07 06 23 59 44", rows)).kepler
    assert messages.time_of_ephemeris_ns[0] == from_gps_week(2322, 0.0)
    assert messages.time_of_clock_ns[0] == from_gps_week(2322, -16.0)


def test_messages_are_sorted():
    text = V3 + record("G07 2024 07 01 00 00 00") + record("G05 2024 07 01 00 00 00")
    assert parse(text).kepler.satellites.tolist() == [5, 7]


def test_damage_is_located_and_the_rest_kept():
    good = record("G05 2024 07 01 00 00 00")
    text = V3 + good.replace("5.153500000000E+03", "5.1535x0000000E+03")
    text += "\n".join(good.split("\n")[:5]) + "\n"  # cut short
    text += good.replace("G05 2024 07", "G05 2024 17") + good.replace("G05", "Q05")
    rows = [row[:] for row in PLACES]
    rows[2][3] = 12.0
    text += record("G05 2024 07 01 00 00 00", rows) + good
    broadcast = parse(text)
    assert broadcast.kepler.satellites.tolist() == [5]
    assert [str(n) for n in broadcast.passed_over] == [
        "halvard.rnx:3: message with a damaged or missing number",
        "halvard.rnx:11: message cut short",
        "halvard.rnx:16: damaged epoch, the message left out",
        "halvard.rnx:24: record of no known satellite",
        "halvard.rnx:32: message with an impossible orbit, not used",
    ]


def test_blank_numbers_that_are_not_needed_stay_missing():
    rows = [row[:] for row in PLACES]
    rows[6] = [np.nan] * 4
    rows[7] = [np.nan]
    broadcast = parse(V3 + record("G05 2024 07 01 00 00 00", rows))
    assert np.isnan(value(broadcast.kepler, 0, "health"))
    assert broadcast.kepler.transmission_ns[0] == DAY


@pytest.mark.parametrize(
    "text",
    [
        "",
        "nonsense",
        header("9.99", "N: GNSS NAV DATA    M"),
        V3.split("\n")[0],
        header("3.05", "OBSERVATION DATA    M"),
    ],
)
def test_what_is_no_navigation_file_is_refused(text):
    with pytest.raises(FormatError, match=r"halvard\.rnx.*expected"):
        parse(text)


def test_a_written_message_is_the_text_it_was_read_from():
    blank = [row[:] for row in PLACES]
    blank[5][1] = blank[5][3] = blank[7][1] = np.nan  # no place in the record
    text = record("G05 2024 07 01 00 00 00", blank)
    written = write_navigation(parse(V3 + text)).decode()
    body = written.split("END OF HEADER\n")[1]
    assert body.splitlines() == [line.rstrip() for line in text.splitlines()]
    first = written.splitlines()[0]
    # columns of RINEX 3.05, table A5: version 1-9, N in 21, system in 41, label from 61
    assert (first[:9].strip(), first[20], first[40], first[60:]) == (
        "3.05",
        "N",
        "G",
        "RINEX VERSION / TYPE",
    )


def test_what_version_3_has_no_place_for_is_not_written():
    broadcast = parse(V3 + record("G05 2024 07 01 00 00 00"))
    kepler = replace(broadcast.kepler, kind=np.array(["CNAV"]))
    with pytest.raises(ProductError, match=r"kind CNAV cannot be written: RINEX 3\.05 has LNAV"):
        write_navigation(replace(broadcast, kepler=kepler))


# ---- real files ------------------------------------------------------------------------------


@pytest.mark.real
@pytest.mark.compiled
def test_values_against_the_text_of_the_file(reference_data):
    # Read with zcat and grep:
    # G01 2020 06 25 04 00 00 1.604342833161e-05 7.048583938740e-12 0.000000000000e+00
    #      5.800000000000e+01-3.968750000000e+01 4.304822170265e-09 6.342094507864e-01
    #     -2.177432179451e-06 1.000394229777e-02 1.937150955200e-06 5.153707128525e+03
    # R01 2020 06 24 23 15 00 6.355904042721e-05 0.000000000000e+00 3.420000000000e+05
    #      1.090894238281e+04 1.407806396484e+00-1.862645149231e-09 0.000000000000e+00
    folder = reference_data / "gnss" / "esbc_2020_177"
    broadcast = read_navigation(folder / "ESBC00DNK_R_20201770000_01D_MN.rnx.gz")
    kepler = broadcast.kepler
    toc = from_calendar(2020, 6, 25, 4)
    (row,) = np.flatnonzero((kepler.satellites == 1) & (kepler.time_of_clock_ns == toc))
    for name, number in (
        ("af0", 1.604342833161e-05),
        ("crs", -3.968750000000e01),
        ("m0", 6.342094507864e-01),
        ("cus", 1.937150955200e-06),
        ("sqrt_a", 5.153707128525e03),
    ):
        assert value(kepler, row, name) == number
    glonass = broadcast.state_vector
    first = np.flatnonzero(glonass.satellites == satellite_id("R01"))[0]
    assert glonass.time_of_ephemeris_ns[first] == from_calendar(2020, 6, 24, 23, 15, 18)
    assert value(glonass, first, "x") == pytest.approx(1.090894238281e07, rel=4e-16)
    assert value(glonass, first, "vx") == pytest.approx(1.407806396484e03, rel=4e-16)
    assert broadcast.leap_seconds == 18
    assert broadcast.ionosphere["GAL"] == (2.8250e01, 7.8125e-03, 1.0071e-02, 0.0)
    # GPS semi-major axes are 26,560 km to within 100 km: IS-GPS-200N, table 20-IV (nominal)
    gps = kepler.satellites < 100
    axis_m = kepler.values[gps, kepler.columns.index("sqrt_a")] ** 2
    assert (np.abs(axis_m - 26.56e6) < 1e5).all()


@pytest.mark.real
@pytest.mark.compiled
def test_every_file_reads_or_is_refused_with_a_place(reference_data):
    readers = reference_data / "gnss" / "readers"
    paths = [*readers.glob("nav_cases/*"), *readers.glob("small_cases/*.*[ngel]")]
    paths += [*readers.glob("small_cases/*N.rnx*"), *readers.glob("mixed_cases/*")]
    paths += [*readers.glob("small_cases/*n.gz"), *readers.glob("field_cases/*MN.rnx.gz")]
    assert len(paths) > 50
    read, refused = 0, {}
    for path in sorted(paths):
        try:
            broadcast = read_navigation(path)
        except FormatError as error:
            refused[path.name.split(".")[0]] = str(error)
            continue
        read += len(broadcast.kepler.satellites) > 0
        assert np.isfinite(broadcast.kepler.values[:, :18]).all()
        assert np.isfinite(broadcast.state_vector.values[:, :11]).all()
    assert read > 25
    assert all(name in message for name, message in refused.items())


@pytest.mark.real
def test_wrong_kinds_are_named(reference_data):
    folder = reference_data / "gnss" / "readers" / "nav_cases"
    for path in sorted(folder.glob("wrong-type-*.n")):
        broadcast = read_navigation(path)
        assert any("unknown kind" in n.reason for n in broadcast.passed_over), path.name
