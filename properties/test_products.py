"""Laws of the product readers: what is written is read again; damage never surprises.

A reader either understands bytes or says FormatError, whatever the bytes are.
"""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from hypothesis.extra import numpy as hnp

from stakeline.errors import FormatError, ProductError
from stakeline.formats.antex import parse_antex
from stakeline.formats.blq import parse_blq
from stakeline.formats.erp import parse_orientation
from stakeline.formats.recognise import KINDS, recognise
from stakeline.formats.rinex_clk import parse_clocks, write_clocks
from stakeline.formats.rinex_nav import parse_navigation, write_navigation
from stakeline.formats.sinex import parse_sinex
from stakeline.formats.sp3 import parse_sp3, write_sp3
from stakeline.formats.station_log import parse_station_log
from stakeline.tables import (
    KEPLER_COLUMNS,
    STATE_COLUMNS,
    Broadcast,
    BroadcastMessages,
    Clocks,
    Orbits,
)
from stakeline.time import GPS_EPOCH_NS, from_calendar

START_NS = from_calendar(2024, 7, 1)
STEP_NS = 900 * 10**9
SATELLITES = np.array([5, 107, 211, 320], np.int16)
FEW = settings(max_examples=60, deadline=None)


def integers(shape, largest):
    return hnp.arrays(np.int64, shape, elements=st.integers(-largest, largest))


def masks(shape):
    return hnp.arrays(np.bool_, shape)


@st.composite
def orbits(draw):
    """Draw tables whose numbers stand on the grid of the format: 1 mm, 1 ps."""
    shape = draw(st.integers(1, 4)), draw(st.integers(1, len(SATELLITES)))
    position_mm = draw(integers((*shape, 3), 10**11 - 1))
    position_m = position_mm / 1e3
    position_m[draw(masks(shape)) | (position_mm == 0).all(axis=2)] = np.nan
    clock_s = draw(integers(shape, 999_998_999_999)) / 1e12
    clock_s[draw(masks(shape))] = np.nan
    exponent = draw(hnp.arrays(np.int64, (*shape, 3), elements=st.integers(0, 99)))
    return Orbits(
        START_NS + STEP_NS * np.arange(shape[0]),
        SATELLITES[: shape[1]],
        position_m,
        clock_s,
        frame="IGS20",
        agency="HLV",
        position_sigma_m=1e-3 * 1.25**exponent,
        clock_event=draw(masks(shape)),
        clock_predicted=draw(masks(shape)),
        manoeuvre=draw(masks(shape)),
        orbit_predicted=draw(masks(shape)),
    )


@FEW
@given(orbits())
def test_orbits_come_back_from_sp3_d_as_they_were_written(table):
    data = write_sp3(table)
    if np.isnan(table.position_m).all() and np.isnan(table.clock_s).all():
        return
    again = parse_sp3(data, "again")
    assert again.passed_over == ()
    names = ("time_ns", "satellites", "position_m", "clock_s", "clock_event", "clock_predicted")
    for name in (*names, "manoeuvre", "orbit_predicted"):
        np.testing.assert_array_equal(getattr(again, name), getattr(table, name), err_msg=name)
    np.testing.assert_allclose(again.position_sigma_m, table.position_sigma_m, rtol=1e-12)
    assert write_sp3(again) == data


@st.composite
def clocks(draw):
    """Draw tables of any finite biases."""
    shape = draw(st.integers(1, 4)), draw(st.integers(1, len(SATELLITES)))
    numbers = st.floats(-1.0, 1.0, allow_subnormal=False)
    bias_s = draw(hnp.arrays(np.float64, shape, elements=numbers))
    sigma_s = draw(hnp.arrays(np.float64, shape, elements=st.floats(1e-13, 1e-3)))
    missing = draw(masks(shape))
    missing[0, 0] = False
    bias_s[missing], sigma_s[missing] = np.nan, np.nan
    sigma_s[draw(masks(shape))] = np.nan
    times = START_NS + 30 * 10**9 * np.arange(shape[0])
    receivers = {"HV01": (times, bias_s[:, 0] * 0.5 + 0.25, np.full(shape[0], 1e-10))}
    receivers["HV01"][1][np.isnan(receivers["HV01"][1])] = 0.0
    return Clocks(times, SATELLITES[: shape[1]], bias_s, sigma_s, receivers=receivers)


@FEW
@given(clocks())
def test_clocks_come_back_as_they_were_written(table):
    data = write_clocks(table)
    again = parse_clocks(data, "again")
    assert again.passed_over == ()
    rows = np.isin(table.time_ns, again.time_ns)
    columns = np.isin(table.satellites, again.satellites)
    for name in ("bias_s", "sigma_s"):
        written = getattr(table, name)[np.ix_(rows, columns)]
        # Thirteen digits: half a unit of the last is 5e-13 of the number; below 1e-99 s is 0.
        np.testing.assert_allclose(getattr(again, name), written, rtol=6e-13, atol=1e-99)
    assert np.isnan(table.bias_s[~rows]).all()
    np.testing.assert_array_equal(again.receivers["HV01"][0], table.time_ns)
    twice = parse_clocks(write_clocks(again), "twice")
    for name in ("bias_s", "sigma_s"):  # a second journey changes no bit
        np.testing.assert_array_equal(getattr(twice, name), getattr(again, name))


def _navigation():
    numbers = "".join(f"{x:19.12E}" for x in (1.0e-4, 1.0e-12, 0.0))
    lines = [f"{'     3.05':<20}{'N: GNSS NAV DATA':<20}{'M: MIXED':<20}RINEX VERSION / TYPE"]
    lines += [f"{'':60}END OF HEADER", "G05 2024 07 01 00 00 00" + numbers]
    rows = [(1, 2, 3, 4), (5, 0.01, 6, 5153.6), (86400, 7, 8, 9), (1, 2, 3, 4), (1, 0, 2321, 0)]
    rows += [(2, 0, 1e-9, 5), (86400, 4, 0, 0)]
    lines += [" " * 4 + "".join(f"{x:19.12E}" for x in row) for row in rows]
    lines += ["R07 2024 07 01 00 15 00" + numbers]
    lines += [" " * 4 + "".join(f"{x:19.12E}" for x in row) for row in [(9, 8, 7, 6)] * 3]
    return "\n".join(lines) + "\n"


def _antex():
    lines = [("     1.4            M", "ANTEX VERSION / SYST"), ("", "END OF HEADER")]
    lines += [("", "START OF ANTENNA"), ("HALVARD-1       DOME5309K", "TYPE / SERIAL NO")]
    lines += [("   180.0", "DAZI"), ("     0.0  10.0   5.0", "ZEN1 / ZEN2 / DZEN")]
    lines += [("     1", "# OF FREQUENCIES"), ("   G01", "START OF FREQUENCY")]
    lines += [("      0.85     -0.34     64.19", "NORTH / EAST / UP")]
    rows = ["   NOAZI    0.00   -0.06   -0.25"]
    rows += [f"{azimuth:8.1f}    0.00    1.00    2.00" for azimuth in (0, 180, 360)]
    head = [f"{text:<60}{label}" for text, label in lines]
    tail = [f"{'   G01':<60}END OF FREQUENCY", f"{'':60}END OF ANTENNA"]
    return "\n".join([*head, *rows, *tail]) + "\n"


SINEX = """\
%=SNX 2.02 HLV 24:184:00000 HLV 24:183:00000 24:184:00000 P 00006 2 S
+SATELLITE/PHASE_CENTER
 E11  1  .7780 -.0033 -.0003 5  .7790 -.0043 -.0013 IGS20_2317 A E
-SATELLITE/PHASE_CENTER
+SOLUTION/ESTIMATE
     1 STAX   HV01  A    1 24:183:43200 m    2 0.120243361523303E+07 .289291E-02
     2 STAY   HV01  A    1 24:183:43200 m    2 0.252632404131778E+06 .283576E-02
     3 STAZ   HV01  A    1 24:183:43200 m    2 0.623777276420359E+07 .578288E-02
-SOLUTION/ESTIMATE
%ENDSNX
"""
BLQ = "  HV01\n" + "\n".join([" .00100" * 11] * 3 + ["   10.0" * 11] * 3) + "\n"
ORIENTATION = (
    "24 7 1 60492.00 I  0.118000 0.000025  0.263000 0.000023  I-0.0190000 0.0000051"
    "  1.2643 0.0043  I     0.100    0.119    -0.050    0.117\n"
)
SITE_LOG = """\
1.   Site Identification of the GNSS Monument
     Four Character ID        : HV01
3.1  Receiver Type            : INVENTED RX
     Date Installed           : 2023-07-07T10:30Z
4.1  Antenna Type             : HALVARD-1       DOME
     Marker->ARP Up Ecc. (m)  : 1.1000
     Marker->ARP North Ecc(m) : 0.0000
     Marker->ARP East Ecc(m)  : 0.0000
"""


def _orbit_sample():
    shape = 2, 2
    position_m = np.full((*shape, 3), 2e7)
    return Orbits(
        START_NS + STEP_NS * np.arange(2), SATELLITES[:2], position_m, np.ones(shape) / 1e6
    )


def _clock_sample():
    times = START_NS + STEP_NS * np.arange(2)
    bias_s = np.full((2, 2), 1.25e-5)
    return Clocks(times, SATELLITES[:2], bias_s, bias_s / 1e6, receivers={"HV01": (times, *bias_s)})


SAMPLES = {
    parse_sp3: write_sp3(_orbit_sample()),
    parse_clocks: write_clocks(_clock_sample()),
    parse_navigation: _navigation().encode(),
    parse_antex: _antex().encode(),
    parse_blq: BLQ.encode(),
    parse_orientation: ORIENTATION.encode(),
    parse_sinex: SINEX.encode(),
    parse_station_log: SITE_LOG.encode(),
}
READERS = pytest.mark.parametrize("reader", SAMPLES, ids=lambda reader: reader.__name__)


def refusal(reader, data):
    """Return the sentence with which a reader refuses; the file's name where it reads."""
    try:
        reader(data, "halvard")
    except FormatError as error:
        return str(error)
    return "halvard"


@READERS
def test_the_samples_are_sound(reader):
    content = reader(SAMPLES[reader], "sample")
    assert not getattr(content, "passed_over", ())


@READERS
@FEW
@given(data=st.data())
def test_changed_bytes_are_read_or_refused(reader, data):
    changed = bytearray(SAMPLES[reader])
    places = st.integers(0, len(changed) - 1)
    for place, byte in data.draw(st.lists(st.tuples(places, st.integers(0, 255)), max_size=6)):
        changed[place] = byte
    assert "halvard" in refusal(reader, bytes(changed))


@READERS
@FEW
@given(data=st.data())
def test_cut_files_are_read_or_refused(reader, data):
    whole = SAMPLES[reader]
    first = data.draw(st.integers(0, len(whole)))
    last = data.draw(st.integers(first, len(whole)))
    cut = whole[:first] + whole[last:]
    assert "halvard" in refusal(reader, cut)
    assert recognise(cut, "cut") in KINDS


@READERS
@FEW
@given(noise=st.binary(max_size=300))
def test_noise_after_the_header_is_read_or_refused(reader, noise):
    lines = SAMPLES[reader].split(b"\n")
    for kept in (1, len(lines) // 2):
        assert "halvard" in refusal(reader, b"\n".join([*lines[:kept], noise]))


KINDS_OF_MESSAGES = {"LNAV": (5, 401), "INAV": (207, 211), "FNAV": (230,), "D1": (320,)}
KINDS_OF_MESSAGES |= {"D2": (303,), "FDMA": (108,), "SBAS": (523,)}
NOT_WRITTEN = {"LNAV": "tgd2", "INAV": "iodc", "FNAV": "iodc", "D1": "iode", "D2": "iode"}
WEEK_S = 604_800
numbers = st.integers(-(10**13) + 1, 10**13 - 1).map(lambda n: float(f"{n * 1e-13:.12E}"))


@st.composite
def messages(draw, columns, kinds):
    """Draw messages whose numbers have thirteen digits, one for each satellite at most."""
    rows = []
    for kind in draw(st.lists(st.sampled_from(kinds), max_size=5, unique=True)):
        satellite = draw(st.sampled_from(KINDS_OF_MESSAGES[kind]))
        values = dict(zip(columns, draw(st.lists(numbers, min_size=40, max_size=40)), strict=False))
        toc_ns = START_NS + draw(st.integers(0, 10**5)) * 10**9
        toe_ns = toc_ns
        if columns is KEPLER_COLUMNS:
            toe_ns += draw(st.integers(-7200, 7200)) * 10**9
            own_s = (toe_ns - GPS_EPOCH_NS) // 10**9 - (14 if kind in ("D1", "D2") else 0)
            bdt_weeks = 1356 if kind in ("D1", "D2") else 0
            week = (toe_ns - GPS_EPOCH_NS) // 10**9 // WEEK_S - bdt_weeks
            values |= {"sqrt_a": 5153.6, "eccentricity": abs(values["eccentricity"]) * 0.5}
            values |= {"toe_sow": float(own_s % WEEK_S), "week": float(week)}
            values |= {"a_dot": 0.0, "delta_n_dot": 0.0, NOT_WRITTEN[kind]: np.nan}
            values |= {"tgd2": np.nan} if kind == "LNAV" else {}
        else:
            values |= {"channel": np.nan, "age": np.nan} if kind == "SBAS" else {}
            values |= {"accuracy_m": np.nan} if kind == "FDMA" else {}
        sent_ns = toe_ns + draw(st.integers(-7200, 7200)) * 10**9
        rows.append((satellite, toc_ns, toe_ns, sent_ns, kind, [values[c] for c in columns]))
    rows.sort(key=lambda row: row[0])
    parts = [np.array([row[k] for row in rows]) for k in range(6)]
    types = (np.int16, np.int64, np.int64, np.int64, "U4", float)
    parts = [p.astype(t) for p, t in zip(parts, types, strict=True)]
    return BroadcastMessages(*parts[:5], parts[5].reshape(-1, len(columns)), columns)


@FEW
@given(
    messages(KEPLER_COLUMNS, ("LNAV", "INAV", "FNAV", "D1", "D2")),
    messages(STATE_COLUMNS, ("FDMA", "SBAS")),
    st.none() | st.integers(0, 40),
    st.dictionaries(
        st.sampled_from(("GPSA", "GPSB", "GAL", "BDSA")), st.just((1e-8, 0.0, -2.5, 1.0))
    ),
)
def test_messages_are_read_as_written(kepler, vectors, leap_seconds, ionosphere):
    broadcast = Broadcast(kepler, vectors, ionosphere, leap_seconds)
    if not len(kepler.satellites) + len(vectors.satellites):
        with pytest.raises(ProductError, match="without any message"):
            write_navigation(broadcast)
        return
    data = write_navigation(broadcast)
    again = parse_navigation(data)
    assert again.passed_over == ()
    assert (again.ionosphere, again.leap_seconds) == (ionosphere, leap_seconds)
    for mine, theirs in ((again.kepler, kepler), (again.state_vector, vectors)):
        for name in ("satellites", "time_of_clock_ns", "time_of_ephemeris_ns", "transmission_ns"):
            np.testing.assert_array_equal(getattr(mine, name), getattr(theirs, name), name)
        assert mine.kind.tolist() == theirs.kind.tolist()
        np.testing.assert_allclose(mine.values, theirs.values, rtol=6e-13, atol=1e-99)
    assert write_navigation(again) == data
