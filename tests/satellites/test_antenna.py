"""Antenna corrections by hand-made geometry and by law."""

import numpy as np

from stakeline.satellites.antenna import (
    choose_receiver_antenna,
    find_satellite,
    kinds_of,
    receiver_phase_centre,
    satellite_phase_centre,
)
from stakeline.satellites.attitude import Attitude
from stakeline.tables import Antenna, AntennaPattern, Antennas

mm = 1e-3
NADIR = np.arange(0.0, 15.0)
ZENITH = np.arange(0.0, 91.0, 5.0)
AZIMUTH = np.arange(0.0, 361.0, 5.0)
IF = np.array([[2.545727780, -1.545727780]])  # L1/L2 ionosphere-free: checks 4.1
BANDS = [("G01", "G02")]


def satellite(name_id, offset=(0.0, 0.0, 1.0), slope=0.0, **changes):
    pattern = AntennaPattern(np.array(offset), slope * NADIR)
    given = {
        "model": "BLOCK IIF",
        "serial": "G05",
        "satellite": name_id,
        "svn": "G050",
        "valid_from_ns": None,
        "valid_until_ns": None,
        "zenith_deg": NADIR,
        "azimuth_deg": None,
        "patterns": {"G01": pattern, "G02": pattern},
    }
    return Antenna(**(given | changes))


def receiver(model, bands=("G01", "G02"), offset=(0.0, 0.0, 0.1), flat=0.0, around=None, serial=""):
    pattern = AntennaPattern(np.array(offset), np.full(ZENITH.size, flat), around)
    azimuth = AZIMUTH if around is not None else None
    return Antenna(
        model, serial, None, "", None, None, ZENITH, azimuth, {band: pattern for band in bands}
    )


def overhead(tilt_deg=0.0):
    """A satellite 2e7 m above the receiver on the pole, body axes along x, -y, -z."""
    station = np.array([[0.0, 0.0, 6.4e6]])
    position = np.array([[[2e7 * np.tan(np.radians(tilt_deg)), 0.0, 2.64e7]]])
    ex, ey, ez = (np.array([[axis]], float) for axis in ([1, 0, 0], [0, -1, 0], [0, 0, -1]))
    return station, position, Attitude(ex, ey, ez, np.zeros((1, 1), bool))


def corrected(antenna, tilt_deg=0.0, bands=BANDS, time_ns=0):
    station, position, attitude = overhead(tilt_deg)
    return satellite_phase_centre(
        Antennas((antenna,)),
        [5],
        np.array([time_ns]),
        position,
        np.zeros_like(position),
        np.array([[1.5e11, 0, 0]]),
        station,
        bands,
        IF,
        attitude,
    )


def test_an_offset_toward_the_earth_shortens_the_range():
    correction, found, notes = corrected(satellite(5, slope=1e-12))
    assert found.all()
    assert notes == []
    assert abs(correction[0, 0] + 1.0) < 1e-9  # the coefficients of the pair add to 1


def test_nadir_variations_are_added():
    correction, *_ = corrected(satellite(5, offset=(0, 0, 0), slope=1 * mm), tilt_deg=7.5)
    assert abs(correction[0, 0] - 7.5 * mm) < 1e-9  # linear pattern, 1 mm a degree
    beyond, *_ = corrected(satellite(5, offset=(0, 0, 0), slope=1 * mm), tilt_deg=17.0)
    assert abs(beyond[0, 0] - 14 * mm) < 1e-9  # held at its last node


def test_the_correction_is_the_change_of_range_when_the_offset_is_moved_by_hand():
    offset = np.array([0.3, -0.2, 1.5])
    correction, *_ = corrected(satellite(5, offset=offset, slope=1e-12), tilt_deg=10.0)
    station, position, attitude = overhead(10.0)
    moved = position[0, 0] + sum(
        axis[0, 0] * value for axis, value in zip(attitude[:3], offset, strict=True)
    )
    by_hand = np.linalg.norm(moved - station[0]) - np.linalg.norm(position[0, 0] - station[0])
    assert abs(correction[0, 0] - by_hand) < 1e-6  # offset^2 / range


def test_offsets_without_variations_are_told():
    _, found, notes = corrected(satellite(5))
    assert found.all()
    assert "heights move by up to 5 cm" in notes[0]
    assert "G05" in notes[0]


def test_a_missing_satellite_is_nan_and_told():
    correction, found, notes = corrected(satellite(6))
    assert np.isnan(correction).all()
    assert not found.any()
    assert "not used: G05" in notes[0]


def test_a_missing_frequency_is_taken_from_its_neighbour():
    correction, found, notes = corrected(satellite(5, slope=1e-12), bands=[("G01", "G05")])
    assert found.all()
    assert np.isfinite(correction).all()
    assert notes == ["satellite antenna at G05 taken from G02: G05"]


def test_validity_chooses_the_entry():
    old, new = satellite(5, valid_until_ns=99), satellite(5, valid_from_ns=100, model="BLOCK IIIA")
    table = Antennas((old, new))
    assert find_satellite(table, 5, 99) is old
    assert find_satellite(table, 5, 100) is new
    assert kinds_of(table, [5, 6], 100) == ["BLOCK IIIA", ""]
    assert kinds_of(None, [5], 0) == [""]


def test_receiver_offset_up_shortens_by_the_sine_of_the_elevation():
    elevation = np.radians(np.array([[90.0], [30.0]]))
    correction, notes = receiver_phase_centre(
        receiver("ANT", flat=2 * mm), elevation, np.zeros((2, 1)), BANDS, IF
    )
    np.testing.assert_allclose(correction[:, 0], [-0.1 + 2 * mm, -0.05 + 2 * mm], atol=1e-12)
    assert notes == []


def test_receiver_pattern_by_azimuth_and_zenith_is_bilinear():
    around = 1e-5 * AZIMUTH[:, None] + 1e-4 * ZENITH[None, :]
    antenna = receiver("ANT", offset=(0.02, 0.01, 0.0), around=around)
    elevation, azimuth = np.radians([[47.0]]), np.radians([[-123.0]])
    correction, _ = receiver_phase_centre(antenna, elevation, azimuth, BANDS, IF)
    toward = np.cos(elevation) * (0.02 * np.cos(azimuth) + 0.01 * np.sin(azimuth))
    expected = 1e-5 * 237.0 + 1e-4 * 43.0 - toward
    np.testing.assert_allclose(correction, expected, atol=1e-12)


def test_galileo_at_an_antenna_calibrated_for_gps_alone():
    one = np.ones((1, 1))
    antenna = receiver("ANT", flat=mm)
    correction, notes = receiver_phase_centre(antenna, one, one, [("E01", "E05")], IF)
    assert np.isfinite(correction).all()
    assert notes == [
        "receiver antenna at E01 taken from G01",
        "receiver antenna at E05 taken from G02",
    ]


def test_no_antenna_and_bare_offsets():
    one = np.ones((2, 1))
    assert not receiver_phase_centre(None, one, one, BANDS, IF)[0].any()
    bare = receiver("ANT")
    _, notes = receiver_phase_centre(bare, one, one, BANDS, IF)
    assert "without variations" in notes[0]


def test_choosing_a_receiver_antenna():
    plain, dome = receiver("TRM59800.00     NONE"), receiver("TRM59800.00     SCIS")
    own = receiver("TRM59800.00     SCIS", serial="4711")
    table = Antennas((plain, dome, own))
    assert choose_receiver_antenna(table, "TRM59800.00     SCIS") == (dome, "")
    assert choose_receiver_antenna(table, "TRM59800.00     SCIS", "4711")[0] is own
    assert choose_receiver_antenna(table, "TRM59800.00")[0] is plain
    entry, note = choose_receiver_antenna(table, "TRM59800.00     SNOW")
    assert entry is plain
    assert "not calibrated with radome SNOW" in note
    entry, note = choose_receiver_antenna(table, "XYZ100          NONE")
    assert entry is None
    assert "is not in the calibrations" in note
    assert choose_receiver_antenna(None, "")[0] is None


def test_a_name_may_hold_blanks_and_blanks_may_be_left_out():
    bare, dome = receiver("HALVARD ICE1    NONE"), receiver("HALVARD ICE1    CONE")
    other = receiver("HALVARD-RING    CONE")
    table = Antennas((bare, dome, other))
    assert choose_receiver_antenna(table, "HALVARD ICE1    CONE") == (dome, "")
    assert choose_receiver_antenna(table, "HALVARD ICE1") == (bare, "")
    assert choose_receiver_antenna(table, "HALVARD-RING CONE") == (other, "")
    entry, note = choose_receiver_antenna(table, "HALVARD ICE2    CONE")
    assert entry is None
    assert "'HALVARD ICE2 CONE'" in note
