"""Clock files: invented small files in both layouts, damage, joining, writing, real files."""

import time

import numpy as np
import pytest

from stakeline.errors import FormatError, ProductError
from stakeline.formats.compression import open_bytes
from stakeline.formats.rinex_clk import join, parse_clocks, read_clocks, write_clocks
from stakeline.tables import Clocks, satellite_id, satellite_name
from stakeline.time import from_calendar


def old_header(*lines):
    first = f"{'     3.00':<20}{'CLOCK DATA':<20}{'M':<20}RINEX VERSION / TYPE"
    return "\n".join([first, *(f"{text:<60}{label}" for text, label in lines)]) + "\n"


def new_header(*lines):
    first = f"{'3.04':<21}{'C':<21}{'M':<23}RINEX VERSION / TYPE"
    return "\n".join([first, *(f"{text:<65}{label}" for text, label in lines)]) + "\n"


LABELS = (
    ("WL E11 -0.25", "COMMENT"),
    ("   GPS", "TIME SYSTEM ID"),
    ("HLV  Halvard Glacier Survey", "ANALYSIS CENTER"),
    ("     1    IGS20", "# OF SOLN STA / TRF"),
    ("G INVENTED          igs20_2317.atx", "SYS / PCVS APPLIED"),
    ("", "END OF HEADER"),
)
OLD_BODY = """\
AR HV01 2024 07 01 00 00  0.000000  2    0.425537443243E-03  0.101822621880E-10
AS G05  2024  7  1  0  0  0.000000  2   -0.153202368705E-04  0.525626376958E-11
AS E11  2024 07 01 00 00  0.000000  1    0.300000000000E-03
AS G05  2024 07 01 00 00 30.000000  4   -0.153202368706E-04  0.525626376958E-11
    0.1000000000000E-11  0.2000000000000E-12
"""
NEW_BODY = """\
AR HV01XYZ9A 2024 07 01 00 00  0.000000  2    0.425537443243E-03   0.101822621880E-10
AS G05       2024 07 01 00 00  0.000000  2   -0.153202368705E-04   0.525626376958E-11
AS E11       2024 07 01 00 00  0.000000  1    0.300000000000E-03
AS G05       2024 07 01 00 00 30.000000  4   -0.153202368706E-04   0.525626376958E-11
    0.1000000000000E-11  0.2000000000000E-12
"""


def old(body=OLD_BODY, labels=LABELS):
    return parse_clocks((old_header(*labels) + body).encode(), "halvard.clk")


@pytest.mark.parametrize(
    ("text", "station"),
    [(old_header(*LABELS) + OLD_BODY, "HV01"), (new_header(*LABELS) + NEW_BODY, "HV01XYZ9A")],
)
def test_both_layouts_give_the_same_clocks(text, station):
    clocks = parse_clocks(text.encode(), "halvard.clk")
    assert clocks.satellites.tolist() == [satellite_id("G05"), satellite_id("E11")]
    first = from_calendar(2024, 7, 1)
    assert clocks.time_ns.tolist() == [first, first + 30 * 10**9]
    expected = [[-0.153202368705e-04, 0.3e-3], [-0.153202368706e-04, np.nan]]
    np.testing.assert_array_equal(clocks.bias_s, expected)
    # RINEX clock 3.04, table of data records: the second value is sigma.
    np.testing.assert_allclose(clocks.sigma_s[:, 0], 0.525626376958e-11, rtol=4e-16)
    assert np.isnan(clocks.sigma_s[0, 1])
    time_ns, bias_s, _ = clocks.receivers[station]
    assert (time_ns[0], bias_s[0]) == (first, 0.425537443243e-03)
    assert clocks.passed_over == ()


def test_header_words():
    clocks = old()
    assert clocks.frame == "IGS20"
    assert clocks.agency == "HLV  Halvard Glacier Survey"
    assert clocks.antenna_models == {"G": "INVENTED          igs20_2317.atx"}
    assert clocks.comments == ("WL E11 -0.25",)


def test_time_systems():
    labels = [("   TAI" if k == 1 else t, label) for k, (t, label) in enumerate(LABELS)]
    # TAI - GPS = 19 s: IS-GPS-200N, 3.3.4
    assert old(labels=labels).time_ns[0] == from_calendar(2024, 7, 1) - 19 * 10**9
    labels[1] = ("   XYZ", "TIME SYSTEM ID")
    with pytest.raises(FormatError, match=r"halvard\.clk: found time system 'XYZ'.*known are BDT"):
        old(labels=labels)


def test_a_missing_time_system_is_taken_as_gps_and_noted():
    clocks = old(labels=[pair for pair in LABELS if pair[1] != "TIME SYSTEM ID"])
    assert [n.reason for n in clocks.passed_over] == ["no time system named, GPS taken"]


def test_damage_is_located_and_the_rest_kept():
    body = OLD_BODY.replace("0.300000000000E-03", "0.3000x0000000E-03")
    body += "AS Q11  2024 07 01 00 00  0.000000  1    0.300000000000E-03\nsomething else\n"
    body += "CR HV01 2024 07 01 00 00  0.000000  1    0.300000000000E-03\n"
    assert [str(n) for n in old(body).passed_over] == [
        "halvard.clk:10: damaged clock record",
        "halvard.clk:13: clock of no known satellite",
        "halvard.clk:14: line of no known record type",
        "halvard.clk:15: calibration records (CR) are not used",
    ]


def test_of_repeated_clocks_the_first_is_kept():
    body = OLD_BODY + "AS G05  2024 07 01 00 00  0.000000  1    0.100000000000E-03\n"
    clocks = old(body)
    assert clocks.bias_s[0, 0] == -0.153202368705e-04
    assert "repeated clock" in clocks.passed_over[0].reason


@pytest.mark.parametrize("text", ["", "nonsense", old_header(*LABELS), old_header(*LABELS[:-1])])
def test_what_is_no_clock_file_is_refused(text):
    with pytest.raises(FormatError, match=r"halvard\.clk.*expected"):
        parse_clocks(text.encode(), "halvard.clk")


def test_join():
    first = old()
    body = OLD_BODY.replace("-0.153202368706E-04", "-0.999000000000E-04")
    later = "AS E11  2024 07 01 00 00 30.0"
    second = old(body.replace("AS E11  2024 07 01 00 00  0.0", later))
    both = join([first, second])
    assert both.bias_s[1, 0] == -0.153202368706e-04
    assert both.bias_s[1, 1] == 0.3e-3
    assert len(both.receivers["HV01"][0]) == 1
    with pytest.raises(ProductError, match="no clocks to join"):
        join([])


def test_writing_and_reading_again_changes_nothing():
    clocks = old()
    again = parse_clocks(write_clocks(clocks), "again")
    for name in ("time_ns", "satellites", "bias_s", "sigma_s"):
        np.testing.assert_array_equal(getattr(again, name), getattr(clocks, name), err_msg=name)
    for mine, theirs in zip(again.receivers["HV01"], clocks.receivers["HV01"], strict=True):
        np.testing.assert_array_equal(mine, theirs)
    for name in ("antenna_models", "comments", "frame", "agency"):
        assert getattr(again, name) == getattr(clocks, name)


def one_by_one(clocks):
    """Records one by one, as the format's table of data records has them: a second writer."""

    def number(value):
        return f"{value if abs(value) >= 1e-99 else 0.0:19.12E}"

    def record(label, time_ns, bias_s, sigma_s):
        when = (
            np.int64(time_ns // 1000 * 1000).view("datetime64[ns]").astype("datetime64[us]").item()
        )
        date = f"{when:%Y %m %d %H %M}{when.second + when.microsecond / 1e6:10.6f}"
        values = [number(v) for v in (bias_s, sigma_s) if not np.isnan(v)]
        return int(time_ns), f"{label} {date}{len(values):3d}   {'  '.join(values)}"

    records = [
        record(f"AS {satellite_name(int(s)):<9}", t, clocks.bias_s[k, j], clocks.sigma_s[k, j])
        for k, t in enumerate(clocks.time_ns)
        for j, s in enumerate(clocks.satellites)
        if not np.isnan(clocks.bias_s[k, j])
    ]
    for name, columns in clocks.receivers.items():
        records += [record(f"AR {name:<9.9}", *row) for row in zip(*columns, strict=True)]
    return [line for _, line in sorted(records, key=lambda r: r[0])]


def test_the_lines_are_those_of_records_one_by_one():
    rng = np.random.default_rng(1)
    time_ns = from_calendar(2031, 7, 12, 23, 59) + 15 * 10**9 * np.arange(12)
    time_ns[7:] += 250_000_000
    bias, sigma = rng.normal(0.0, 1e-4, (12, 9)), np.full((12, 9), 2e-11)
    bias[rng.random(bias.shape) < 0.2] = np.nan
    sigma[rng.random(bias.shape) < 0.2] = np.nan
    bias[0, 0], bias[1, 0], sigma[0, 0] = 1e-120, -3e-99, 0.0
    names = [f"{letter}{k:02d}" for letter in "GEC" for k in (1, 5, 30)]
    satellites = np.array([satellite_id(name) for name in names], np.int16)
    odd = np.where(np.arange(6) % 2, np.nan, 1e-11)
    receivers = {"HV01": (time_ns[::2], rng.normal(0.0, 1e-3, 6), odd)}
    receivers |= {"A@%d": (time_ns[:2], np.zeros(2), np.ones(2))}
    clocks = Clocks(time_ns, satellites, bias, sigma, receivers=receivers)
    text = write_clocks(clocks).decode()
    assert text.split("END OF HEADER\n")[1].splitlines() == one_by_one(clocks)


# ---- real files ------------------------------------------------------------------------------


@pytest.mark.real
@pytest.mark.compiled
def test_values_against_the_text_of_the_file(reference_data):
    # Lines 400 and 216149 of the unpacked file, read with zcat and grep:
    # AS G05  2020  6 25  0  1  0.000000  2   -0.153202368705E-04  0.525626376958E-11
    # AS E36  2020  6 25 23 59 30.000000  2    0.542181070388E-03  0.288069593991E-10
    folder = reference_data / "gnss" / "esbc_2020_177"
    clocks = read_clocks(folder / "GRG0MGXFIN_20201770000_01D_30S_CLK.CLK.gz")
    assert clocks.bias_s.shape == (2880, 75)
    satellites = clocks.satellites.tolist()
    assert clocks.bias_s[2, satellites.index(satellite_id("G05"))] == -0.153202368705e-04
    last = satellites.index(satellite_id("E36"))
    assert clocks.bias_s[-1, last] == 0.542181070388e-03
    assert clocks.sigma_s[-1, last] == pytest.approx(0.288069593991e-10, rel=4e-16)
    # 215,999 lines of the file start with AS (zcat | grep -c); each must stand in the table.
    assert np.count_nonzero(~np.isnan(clocks.bias_s)) == 215999
    assert clocks.frame == "IGb14"
    assert clocks.antenna_models["G"].split()[-1] == "igs14_2108.atx"
    assert any(c.startswith("WL E01 2020") for c in clocks.comments)


@pytest.mark.real
@pytest.mark.compiled
def test_a_day_of_clocks_is_read_quickly(reference_data):
    folder = reference_data / "gnss" / "esbc_2020_177"
    _, data = open_bytes(folder / "GRG0MGXFIN_20201770000_01D_30S_CLK.CLK.gz")[0]
    parse_clocks(data)
    times = []
    for _ in range(3):
        start = time.perf_counter()
        parse_clocks(data)
        times.append(time.perf_counter() - start)
    assert min(times) < 0.6  # s; measured 0.13 s, the rest allows for a busy machine


@pytest.mark.real
def test_every_file_reads_or_is_refused_with_a_place(reference_data):
    readers = reference_data / "gnss" / "readers"
    paths = [*readers.glob("clk_cases/*"), *readers.glob("field_cases/*.CLK")]
    assert len(paths) > 20
    read, refused = 0, {}
    for path in sorted(paths):
        try:
            clocks = read_clocks(path)
        except FormatError as error:
            refused[path.name.split(".")[0]] = str(error)
            continue
        read += 1
        assert (np.diff(clocks.time_ns) > 0).all()
    assert read > 15
    assert all(name in message for name, message in refused.items())
