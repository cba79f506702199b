"""Antenna files written and read again."""

import numpy as np
import pytest

from stakeline.errors import FormatError
from stakeline.formats.antex import parse_antex, write_antex
from stakeline.tables import Antenna, AntennaPattern, Antennas
from stakeline.time import from_calendar

ZENITH, AZIMUTH = np.arange(0.0, 91.0, 5.0), np.arange(0.0, 361.0, 30.0)


def receiver(**changes):
    around = np.round(np.random.default_rng(1).normal(0.0, 4e-3, (13, 19)), 5)
    pattern = AntennaPattern(np.array([1e-5, -1.23e-3, 0.09]), around.mean(axis=0).round(5), around)
    fields = {
        "model": f"{'HALVARD-RING':<16}NONE",
        "serial": "0042",
        "satellite": None,
        "svn": "",
        "valid_from_ns": None,
        "valid_until_ns": None,
        "zenith_deg": ZENITH,
        "azimuth_deg": AZIMUTH,
        "patterns": {"G01": pattern, "G02": pattern},
        "source": "HALV_2031",
    }
    return Antenna(**(fields | changes))


def satellite():
    pattern = AntennaPattern(
        np.array([0.394, 0.0, 1.5613]), np.round(np.linspace(-5e-3, 8e-3, 18), 5)
    )
    return Antenna(
        model="INVENTED-G",
        serial="G07",
        satellite=7,
        svn="G907",
        valid_from_ns=from_calendar(2030, 1, 2, 3, 4, 5.25),
        valid_until_ns=from_calendar(2033, 12, 31, 23, 59, 59.9999999),
        zenith_deg=np.arange(18.0),
        azimuth_deg=None,
        patterns={"G01": pattern, "G02": pattern},
        source="",
    )


def test_what_is_written_is_read_again():
    given = Antennas((satellite(), receiver()))
    read = parse_antex(write_antex(given))
    assert read.passed_over == ()
    for old, new in zip(given.entries, read.entries, strict=True):
        for name in ("model", "serial", "svn", "satellite", "valid_from_ns", "source"):
            assert getattr(new, name) == getattr(old, name), name
        assert new.valid_until_ns == old.valid_until_ns
        np.testing.assert_allclose(new.zenith_deg, old.zenith_deg)
        assert list(new.patterns) == list(old.patterns)
        for band, pattern in old.patterns.items():
            np.testing.assert_allclose(new.patterns[band].offset_m, pattern.offset_m, atol=1e-12)
            np.testing.assert_allclose(
                new.patterns[band].by_zenith_m, pattern.by_zenith_m, atol=1e-12
            )
    np.testing.assert_allclose(
        read.entries[1].patterns["G02"].by_azimuth_m,
        given.entries[1].patterns["G02"].by_azimuth_m,
        atol=1e-12,
    )


def test_a_pattern_without_azimuths_is_the_same_all_around():
    flat = AntennaPattern(np.zeros(3), np.linspace(0.0, 3e-3, 19).round(5))
    read = parse_antex(write_antex(Antennas((receiver(patterns={"G01": flat}),))))
    around = read.entries[0].patterns["G01"].by_azimuth_m
    np.testing.assert_allclose(around, np.tile(flat.by_zenith_m, (13, 1)), atol=1e-12)


def test_columns_are_those_of_the_standard():
    lines = write_antex(Antennas((satellite(),))).decode().splitlines()
    # ANTEX 1.4, table 1: version F8.1, system A1 in column 21, labels from column 61
    assert lines[0] == f"{'     1.4            M':<60}ANTEX VERSION / SYST"
    assert all(len(line) <= 80 or line.startswith("   NOAZI") for line in lines)
    first = next(line for line in lines if line.endswith("VALID FROM"))
    assert first[:43] == "  2030     1     2     3     4    5.2500000"
    offset = next(line for line in lines if line.endswith("NORTH / EAST / UP"))
    assert offset[:30] == "    394.00      0.00   1561.30"


@pytest.mark.parametrize(
    ("entry", "sentence"),
    [
        (receiver(serial="x" * 21), r"expected a model and a serial of at most 20 characters"),
        (receiver(zenith_deg=ZENITH[:5]), r"with 19 values; expected 5 values below 10 m"),
    ],
)
def test_what_does_not_fit_is_refused(entry, sentence):
    with pytest.raises(FormatError, match=sentence):
        write_antex(Antennas((entry,)))
