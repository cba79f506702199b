"""Site logs: an invented one, damage, and the real files."""

import numpy as np
import pytest

from stakeline.errors import FormatError
from stakeline.formats.station_log import parse_station_log, read_station_log
from stakeline.time import from_calendar

SAMPLE = """\
     HV01 Site Information Form (site log)

0.   Form

     Prepared by (full name)  : A. Surveyor

1.   Site Identification of the GNSS Monument

     Site Name                : Halvard Glacier, nunatak
     Four Character ID        : HV01
     IERS DOMES Number        : 99999M001

2.   Site Location Information

     Approximate Position (ITRF)
       X coordinate (m)       : 1100000.5
       Y coordinate (m)       : -430000.25
       Z coordinate (m)       : 6245000.0

3.   GNSS Receiver Information

3.1  Receiver Type            : INVENTED RX
     Satellite System         : GPS+GAL
     Serial Number            : 1436
     Firmware Version         : 2.6.2
     Date Installed           : 2023-07-07T10:30Z
     Date Removed             : (CCYY-MM-DDThh:mmZ)

3.x  Receiver Type            : (A20, from rcvr_ant.tab; see instructions)
     Date Installed           : (CCYY-MM-DDThh:mmZ)

4.   GNSS Antenna Information

4.1  Antenna Type             : HALVARD-1       DOME
     Serial Number            : 51123
     Antenna Reference Point  : BAM
     Marker->ARP Up Ecc. (m)  : 1.1000
     Marker->ARP North Ecc(m) : 0.0020
     Marker->ARP East Ecc(m)  : -0.0030
     Alignment from True N    : 5 deg
     Antenna Radome Type      : DOME
     Date Installed           : 2023-07-07
     Date Removed             : 2024-07-01T00:00Z
"""


def parse(text=SAMPLE):
    return parse_station_log(text.encode(), "hv01.log")


def test_identity_place_and_equipment():
    log = parse()
    assert (log.name, log.code) == ("Halvard Glacier, nunatak", "HV01")
    assert log.marker_number == "99999M001"
    assert log.position_m.tolist() == [1100000.5, -430000.25, 6245000.0]
    (receiver,) = log.receivers
    assert (receiver.model, receiver.serial, receiver.firmware) == ("INVENTED RX", "1436", "2.6.2")
    assert receiver.from_utc_ns == from_calendar(2023, 7, 7, 10, 30)
    assert receiver.until_utc_ns is None
    (antenna,) = log.antennas
    assert antenna.model == "HALVARD-1       DOME"
    assert antenna.offset_m == (1.1, 0.002, -0.003)
    assert antenna.north_alignment_deg == 5.0
    assert antenna.from_utc_ns == from_calendar(2023, 7, 7)
    assert antenna.until_utc_ns == from_calendar(2024, 7, 1)
    assert log.passed_over == ()


def test_a_short_antenna_name_takes_its_radome_from_the_other_line():
    assert parse(SAMPLE.replace("HALVARD-1       DOME", "HALVARD-1")).antennas[0].model == (
        "HALVARD-1       DOME"
    )


def test_damage_is_located_and_the_rest_kept():
    text = SAMPLE.replace("1.1000", "about a metre").replace("2023-07-07T10:30Z", "in summer")
    log = parse(text.replace("6245000.0", ""))
    assert np.isnan(log.antennas[0].offset_m[0])
    assert np.isnan(log.position_m[2])
    assert [str(n) for n in log.passed_over] == [
        "hv01.log:22: 'Date Installed' holds no date: 'in summer'",
        "hv01.log:34: antenna without a complete way from marker to reference point",
    ]


@pytest.mark.parametrize("text", ["", "nonsense", "1.  Site Identification\n"])
def test_what_is_no_site_log_is_refused(text):
    with pytest.raises(FormatError, match=r"hv01\.log: found no site identification"):
        parse(text)


@pytest.mark.real
def test_real_logs(reference_data):
    folder = reference_data / "gnss" / "auxiliary" / "sitelogs"
    # Read in the files with grep "^[34]\\.[0-9]" and sed.
    brux = read_station_log(folder / "brux_20200225.log")
    assert (brux.code, brux.marker_number) == ("BRUX", "13101M010")
    assert brux.position_m.tolist() == [4027881.628, 306998.537, 4919498.984]
    assert len(brux.receivers) == 14
    assert brux.receivers[1].model == "ASHTECH Z-XII3T"
    assert brux.receivers[0].until_utc_ns == from_calendar(2008, 2, 14, 9)
    wtzr = read_station_log(folder / "WTZR00DEU_20200602.log")
    assert wtzr.antennas[2].model == "LEIAR25         LEIT"
    assert wtzr.antennas[2].offset_m == (0.071, 0.0, 0.0)
    assert wtzr.antennas[2].from_utc_ns == from_calendar(2009, 1, 19, 9, 48)
    assert len(read_station_log(folder / "AAA200USA_20220909.log").receivers) == 7
    for name in ("ALIC.json", "20na_20161027.xml"):
        with pytest.raises(FormatError, match=name):
            read_station_log(folder / name)
