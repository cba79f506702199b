"""SINEX: an invented solution, damage, and the real files."""

import numpy as np
import pytest

from stakeline.errors import FormatError
from stakeline.formats.sinex import parse_sinex, read_sinex
from stakeline.formats.sinex.reading import parse_epoch
from stakeline.tables import satellite_id
from stakeline.time import from_calendar

SAMPLE = """\
%=SNX 2.02 HLV 24:184:00000 HLV 24:183:00000 24:184:00000 P 00006 2 S
+FILE/REFERENCE
 REFERENCE FRAME    IGS20
-FILE/REFERENCE
*-------------------------------------------------------------------------------
+SITE/RECEIVER
*SITE PT SOLN T RECE_START__ RECE_END____ RECEIVER_TYPE_______ SERIA FIRMWARE___
 HV01  A    1 P 24:183:00000 24:184:00000 INVENTED RX          30133 5.2.0
-SITE/RECEIVER
+SITE/ECCENTRICITY
 HV01  A    1 P 24:183:00000 00:000:00000 UNE   1.1000   0.0020  -0.0030
-SITE/ECCENTRICITY
+SITE/ANTENNA
 HV01  A    1 P 24:183:00000 24:184:00000 HALVARD-1       DOME 51123    0
-SITE/ANTENNA
+SITE/GPS_PHASE_CENTER
 HALVARD-1       DOME 51123 0.0866 0.0007 0.0002 0.1171 0.0003 -.0001 IGS20_2317
-SITE/GPS_PHASE_CENTER
+SITE/GAL_PHASE_CENTER
 HALVARD-1       DOME 51123 0.0866 0.0007 0.0002 0.1253 0.0001 -.0002 IGS20_2317
 HALVARD-1       DOME 51123 0.1115 0.0000 0.0003 0.1199 0.0002 -.0000 IGS20_2317
 HALVARD-1       DOME 51123 0.1221 0.0000 0.0000                      IGS20_2317
-SITE/GAL_PHASE_CENTER
+SATELLITE/ID
 G099 05 2018-086A P 24:183:00000 24:184:00000 BLOCK IIIA
-SATELLITE/ID
+SATELLITE/PHASE_CENTER
 G099 1 2.4748 -.5450 0.0010 2 2.4758 -.5460 0.0020 IGS20_2317 A F
 E11  1  .7780 -.0033 -.0003 5  .7790 -.0043 -.0013 IGS20_2317 A E
-SATELLITE/PHASE_CENTER
+SOLUTION/MATRIX_ESTIMATE L CORR
     1     1 0.1
-SOLUTION/MATRIX_ESTIMATE L CORR
+SOLUTION/ESTIMATE
*INDEX TYPE__ CODE PT SOLN _REF_EPOCH__ UNIT S __ESTIMATED_VALUE____ _STD_DEV___
     1 STAX   HV01  A    1 24:183:43200 m    2 0.120243361523303E+07 .289291E-02
     2 STAY   HV01  A    1 24:183:43200 m    2 0.252632404131778E+06 .283576E-02
     3 STAZ   HV01  A    1 24:183:43200 m    2 0.623777276420359E+07 .578288E-02
     4 VELX   HV01  A    1 24:183:43200 m/y  2 0.100000000000000E-01 .100000E-03
     5 VELY   HV01  A    1 24:183:43200 m/y  2 0.200000000000000E-01 .100000E-03
     6 VELZ   HV01  A    1 24:183:43200 m/y  2 0.300000000000000E-01 .100000E-03
     7 LOD    ---- --    1 24:183:43200 ms   2 -.140120323604350E+01 .228184E-02
-SOLUTION/ESTIMATE
%ENDSNX
"""


def parse(text=SAMPLE):
    return parse_sinex(text.encode(), "halvard.snx")


def test_coordinates_with_epoch_frame_and_velocity():
    (station,) = parse().coordinates
    assert (station.code, station.point, station.solution) == ("HV01", "A", "1")
    assert station.frame == "IGS20"
    assert station.epoch_ns == from_calendar(2024, 7, 1, 12)  # day 183 of a leap year
    expected = [0.120243361523303e7, 0.252632404131778e6, 0.623777276420359e7]
    np.testing.assert_array_equal(station.position_m, expected)
    np.testing.assert_array_equal(station.sigma_m, [0.00289291, 0.00283576, 0.00578288])
    np.testing.assert_array_equal(station.velocity_m_a, [0.01, 0.02, 0.03])


def test_satellite_offsets_become_entries_with_flat_patterns():
    gps, galileo = parse().satellite_antennas
    assert (gps.serial, gps.satellite, gps.svn, gps.model) == ("G05", 5, "G099", "BLOCK IIIA")
    assert gps.source == "offsets only, SINEX IGS20_2317"
    # SINEX 2.02, SATELLITE/PHASE_CENTER: the order is Z, X, Y.
    np.testing.assert_array_equal(gps.patterns["G01"].offset_m, [-0.545, 0.001, 2.4748])
    np.testing.assert_array_equal(gps.patterns["G02"].offset_m, [-0.546, 0.002, 2.4758])
    assert not gps.patterns["G01"].by_zenith_m.any()
    assert galileo.satellite == satellite_id("E11")
    assert list(galileo.patterns) == ["E01", "E05"]


def test_receiver_offsets():
    (antenna,) = parse().receiver_antennas
    assert (antenna.model, antenna.serial) == ("HALVARD-1       DOME", "51123")
    # SINEX 2.02: up, north, east; ours: north, east, up.
    np.testing.assert_array_equal(antenna.patterns["G02"].offset_m, [0.0003, -0.0001, 0.1171])
    assert {k: v.offset_m[2] for k, v in antenna.patterns.items()} == {
        **{"G01": 0.0866, "G02": 0.1171, "E01": 0.0866, "E05": 0.1253},
        **{"E06": 0.1115, "E07": 0.1199, "E08": 0.1221},
    }


def test_station_equipment():
    content = parse()
    span = from_calendar(2024, 7, 1), None
    assert content.eccentricities == (("HV01", "A", *span, 1.1, 0.002, -0.003),)
    assert content.station_antennas == {"HV01": "HALVARD-1       DOME"}
    assert content.station_receivers == {"HV01": "INVENTED RX"}
    assert [str(n) for n in content.passed_over] == [
        "halvard.snx:42: estimates other than station coordinates are not used"
    ]


@pytest.mark.parametrize(
    ("text", "expected"),
    [
        ("24:183:43200", from_calendar(2024, 7, 1, 12)),
        ("2024:183:43200", from_calendar(2024, 7, 1, 12)),
        ("98:001:00000", from_calendar(1998, 1, 1)),
        ("00:000:00000", None),
        ("24:x83:00000", None),
        ("", None),
    ],
)
def test_epochs(text, expected):
    assert parse_epoch(text) == expected


def test_damage_is_located_and_the_rest_kept():
    text = SAMPLE.replace("0.252632404131778E+06", "0.252632404x31778E+06")
    text = text.replace("2.4748 -.5450", "2.4x48 -.5450").replace("2.4758", "2.4x58")
    text = text.replace("UNE   1.1000", "UNE   1.1x00").replace("%ENDSNX\n", "")
    content = parse(text)
    reasons = [str(n) for n in content.passed_over]
    assert content.coordinates == ()
    assert [a.serial for a in content.satellite_antennas] == ["E11"]
    assert "halvard.snx:11: damaged line of SITE/ECCENTRICITY" in reasons
    assert "halvard.snx:28: damaged satellite phase centre" in reasons
    assert "halvard.snx:37: damaged line of SOLUTION/ESTIMATE" in reasons
    assert "halvard.snx:36: station without all of X, Y and Z: not used" in reasons
    assert any("no %ENDSNX" in reason for reason in reasons)


def test_a_block_that_is_not_closed_ends_at_the_next():
    content = parse(SAMPLE.replace("-SITE/RECEIVER\n", ""))
    assert content.station_receivers == {"HV01": "INVENTED RX"}
    assert content.station_antennas == {"HV01": "HALVARD-1       DOME"}
    assert "halvard.snx:6: block SITE/RECEIVER is not closed" in map(str, content.passed_over)


@pytest.mark.parametrize("text", ["", "nonsense", "%=BIA 1.00"])
def test_what_is_no_sinex_solution_is_refused(text):
    with pytest.raises(FormatError, match=r"halvard\.snx:1: .*%=SNX"):
        parse(text)


@pytest.mark.real
def test_reference_coordinates(reference_data):
    folder = reference_data / "gnss" / "auxiliary" / "reference_coordinates"
    content = read_sinex(folder / "JAX0MGXFIN_20202440000_01D_000_SOL.SNX")
    assert len(content.coordinates) == 133
    # Lines 1057-1059 and 615 of the file, read with grep:
    #  250 STAX   NYA1  A ---- 20:244:00000 m    1  1.20243361523303e+06 2.89291e-03
    #  G05  1  .7780 -.0033 -.0003 2  .7780 -.0033 -.0003 igs14_%Y%m A E
    nya1 = next(c for c in content.coordinates if c.code == "NYA1")
    expected = [1.20243361523303e06, 2.52632404131778e05, 6.23777276420359e06]
    np.testing.assert_array_equal(nya1.position_m, expected)
    assert nya1.epoch_ns == from_calendar(2020, 8, 31)
    assert nya1.sigma_m[0] == 0.00289291
    g05 = next(a for a in content.satellite_antennas if a.serial == "G05")
    np.testing.assert_array_equal(g05.patterns["G01"].offset_m, [-0.0033, -0.0003, 0.7780])
    assert content.station_antennas["NYA1"] == "ASH701073.1     SNOW"

    content = read_sinex(folder / "ESA0OPSFIN_20241850000_01D_01D_SOL.SNX")
    assert content.frame == "ITRF20"
    assert len(content.coordinates) == 150
    # " R857 15 2018-086A" and " R857 1 2.4748 -.5450 0.0000 2 2.4748 ..."
    r15 = next(a for a in content.satellite_antennas if a.svn == "R857")
    assert r15.satellite == satellite_id("R15")
    np.testing.assert_array_equal(r15.patterns["R02"].offset_m, [-0.545, 0.0, 2.4748])


@pytest.mark.real
def test_every_file_reads_or_is_refused(reference_data):
    gnss = reference_data / "gnss"
    paths = [*gnss.glob("auxiliary/sinex/*"), *gnss.glob("readers/geodesy_cases/s*")]
    assert len(paths) == 14
    read, refused = [], []
    for path in sorted(paths):
        try:
            read_sinex(path)
            read.append(path.name)
        except FormatError:
            refused.append(path.name)
    # Bias files, a time-series file and a table of another kind are no SINEX solutions.
    assert len(refused) == 7
    assert all(n.endswith((".BSX", ".bia")) or n in ("sinex_tms", "ssc_site") for n in refused)
