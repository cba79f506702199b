"""Known motion and slips in observations: exact, and undone exactly."""

import numpy as np
import pytest

from stakeline.errors import SettingsError
from stakeline.simulate.displace import displace, insert_slips, wavelength_m
from stakeline.simulate.observe import observe
from stakeline.simulate.sight import line_of_sight
from stakeline.tables import ObservationHeader, satellite_id


def satellites_of(world, observations, truth):
    time_s = (truth.time_ns - world.sky.start_ns) / 1e9 - truth.clock_s
    there = line_of_sight(world, truth.position_m, time_s)
    epoch = np.repeat(np.arange(len(observations)), np.diff(observations.row_start))
    column = np.searchsorted(world.constellation.satellites, observations.satellite)
    return there[epoch, column]


def test_there_and_back(world, quiet):
    observations, truth = quiet
    satellite = satellites_of(world, observations, truth)
    motion = np.random.default_rng(1).normal(0.0, 1.0, (len(observations), 3))
    there = displace(observations, motion, truth.position_m, satellite)
    back = displace(there, -motion, truth.position_m + motion, satellite)
    assert np.nanmax(np.abs(there.value - observations.value)) > 1.0
    assert np.nanmax(np.abs(back.value - observations.value)) < 1e-6


def test_displaced_observations_are_those_of_a_moved_antenna(world, make_station):
    still, moved = (
        observe(np.random.default_rng(3), world, make_station(speed_m_d=v, slope=0.0), 600.0)
        for v in (0.0, 1.1)
    )
    satellite = satellites_of(world, *still)
    motion = moved[1].position_m - still[1].position_m
    made = displace(still[0], motion, still[1].position_m, satellite)
    codes = np.abs(made.value[:, [0, 3]] - moved[0].value[:, [0, 3]])
    # 14 cm; directions of antennas and air change by 1e-8 rad, the marker is 1.5 m from the antenna
    assert codes.max() < 1e-5
    phases = np.abs(made.value[:, [1, 4]] - moved[0].value[:, [1, 4]])
    assert phases.max() < 1e-4


def test_strengths_stay_and_unknown_satellites_become_missing(world, quiet):
    observations, truth = quiet
    satellite = satellites_of(world, observations, truth)
    satellite[3] = np.nan
    moved = displace(observations, np.ones((len(observations), 3)), truth.position_m, satellite)
    np.testing.assert_array_equal(moved.value[:, [2, 5]], observations.value[:, [2, 5]])
    assert np.isnan(moved.value[3, [0, 1, 3, 4]]).all()
    assert np.isfinite(moved.value[4:]).all()


def test_slips_begin_at_their_epoch(quiet):
    observations, _ = quiet
    satellite = int(np.bincount(observations.satellite[observations.satellite < 100]).argmax())
    at = int(observations.time_ns[50])
    slipped = insert_slips(observations, [(at, satellite, "L2W", 7)])
    change = slipped.value - observations.value
    later = np.repeat(observations.time_ns, np.diff(observations.row_start)) >= at
    later &= observations.satellite == satellite
    assert (change[later, 4] == 7.0).all()
    assert np.abs(change).sum() == 7.0 * later.sum() > 0.0


def test_wavelengths():
    glonass = satellite_id("R07")
    header = ObservationHeader(glonass_channels={glonass: 5})
    # GLONASS ICD 5.1, table 3.1: 1604.8125 MHz on channel 5
    assert wavelength_m(header, glonass, "1") == pytest.approx(299792458.0 / 1604.8125e6)
    # 0.1903 m: IS-GPS-200N
    assert wavelength_m(header, satellite_id("G07"), "1") == pytest.approx(0.19029, abs=1e-5)


def test_what_cannot_be_is_refused(quiet):
    observations, truth = quiet
    with pytest.raises(SettingsError, match=r"one for each epoch"):
        displace(observations, np.zeros((2, 3)), truth.position_m, np.zeros((4, 3)))
    with pytest.raises(SettingsError, match=r"R07: its GLONASS channel is not in the header"):
        wavelength_m(ObservationHeader(), satellite_id("R07"), "1")
    with pytest.raises(SettingsError, match=r"G07: band 9 is not known"):
        wavelength_m(ObservationHeader(), satellite_id("G07"), "9")
    with pytest.raises(SettingsError, match=r"G07: no phase 'L5Q'; the file holds C1C, L1C"):
        insert_slips(observations, [(0, satellite_id("G07"), "L5Q", 1)])
