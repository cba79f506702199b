"""A site log that is written is read back the same."""

import math
from dataclasses import replace

import numpy as np
import pytest

from stakeline.errors import FormatError
from stakeline.formats.station_log import (
    AntennaPeriod,
    ReceiverPeriod,
    StationLog,
    parse_station_log,
    write_station_log,
)
from stakeline.time import from_iso

SET_UP, RAISED = from_iso("2031-04-28T14:30:00"), from_iso("2032-04-20T09:05:17")
ANTENNA = "HALVARD ICE1    NONE"
LOG = StationLog(
    name="Upper Halvard, near its margin",
    code="HV03",
    marker_number="",
    position_m=np.array([1161075.5, 362924.5, 6240279.7]),
    receivers=(ReceiverPeriod("POLAR RX 4", "30117", "2.1.4", "GPS+GAL", SET_UP, None),),
    antennas=(
        AntennaPeriod(ANTENNA, "A-0093", "BPA", (1.5321, 0.0, -0.0104), 0.0, SET_UP, RAISED),
        AntennaPeriod(ANTENNA, "A-0093", "BPA", (2.5340, 0.0, 0.0), math.nan, RAISED, None),
    ),
)


def written(log=LOG, **more):
    return write_station_log(log, prepared_utc_ns=RAISED, **more)


def test_round_trip_keeps_every_epoch_and_height():
    again = parse_station_log(written(place=(79.0412, 17.358, 212.0), events=[(RAISED, "raised")]))
    assert (again.name, again.code, again.receivers) == (LOG.name, LOG.code, LOG.receivers)
    np.testing.assert_array_equal(again.position_m, LOG.position_m)
    for ours, theirs in zip(LOG.antennas, again.antennas, strict=True):
        assert theirs.offset_m == ours.offset_m
        assert (theirs.from_utc_ns, theirs.until_utc_ns) == (ours.from_utc_ns, ours.until_utc_ns)
        assert (theirs.model, theirs.serial) == (ours.model, ours.serial)
    assert again.passed_over == ()


SITE = {
    "inscription": "HV03",
    "monument": "STEEL MAST",
    "monument_height_m": "2.0",
    "foundation": "pole drilled into ice",
    "foundation_depth_m": "4.0",
    "marker": "punch mark",
    "geology": "glacier ice",
    "bedrock": "GNEISS",
    "bedrock_condition": "JOINTED",
    "agency": "Halvard Glacier Project",
    "abbreviation": "HGP",
    "address": "Tern Nunatak",
    "contact": "I. Strand",
    "telephone": "+00 000",
    "email": "stations@halvard.example",
}


def test_monument_ground_and_contact_come_back():
    assert parse_station_log(written(replace(LOG, site=SITE))).site == SITE
    few = {"marker": "punch mark", "contact": "I. Strand"}
    text = written(replace(LOG, site=few))
    assert parse_station_log(text).site == few
    assert b"Monument Description" not in text
    assert b"11.  On-Site" not in written()
    assert parse_station_log(written()).site == {}


def test_hints_of_an_empty_form_are_no_answers():
    form = written(replace(LOG, site={"monument": "(PILLAR/BRASS PLATE/STEEL MAST/etc)"}))
    assert parse_station_log(form).site == {}


def test_angles_as_the_form_has_them():
    text = written(place=(-79.0412, -17.358, 212.0)).decode()
    assert "Latitude (N is +)      : -790228.32" in text
    assert "Longitude (E is +)     : -0172128.80" in text
    assert "59.995" not in text


def test_sixty_seconds_carry():
    assert "+800000.00" in written(place=(79.9999999, 0.0, 0.0)).decode()


def test_seconds_only_where_there_are_some():
    text = written().decode()
    assert "2031-04-28T14:30Z" in text
    assert "2032-04-20T09:05:17Z" in text
    assert text.count("(CCYY-MM-DDThh:mmZ)") == 2


def test_what_does_not_fit_is_refused():
    long = ReceiverPeriod("A RECEIVER OF MORE THAN TWENTY", "", "", "", SET_UP, None)
    with pytest.raises(FormatError, match="20 characters at most"):
        written(StationLog("x", "HV03", "", LOG.position_m, (long,), ()))
    with pytest.raises(FormatError, match="no station code"):
        written(StationLog("x", "", "", LOG.position_m, (), ()))
