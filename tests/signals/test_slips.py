"""Slips put into invented tracks are found, and nothing else is."""

import numpy as np
import pytest

from stakeline.constants import FREQUENCY_HZ, SPEED_OF_LIGHT_M_S
from stakeline.signals.slips import find_slips
from stakeline.signals.tracks import Tracks

WAVELENGTH_M = SPEED_OF_LIGHT_M_S / np.array([FREQUENCY_HZ["G1"], FREQUENCY_HZ["G2"]])
# The pairs that the two classical tests miss among them: (4, 3), (5, 4), (9, 7), (77, 60)
PAIRS = [(1, 0), (0, 1), (1, 1), (4, 3), (5, 4), (9, 7), (77, 60), (-1, 2)]


def invented(seed, n=240, m=10):
    """Return (tracks, ionosphere-free residual, unit, elevation) of a moving antenna."""
    rng = np.random.default_rng(seed)
    elevation = np.tile(rng.uniform(0.3, 1.4, m), (n, 1))
    azimuth = np.tile(np.linspace(0, 6.0, m), (n, 1))
    unit = -np.stack(
        [
            np.cos(elevation) * np.sin(azimuth),
            np.cos(elevation) * np.cos(azimuth),
            np.sin(elevation),
        ],
        axis=-1,
    )
    t = np.arange(n) * 30.0
    path = np.stack([2e-5 * t, 1e-5 * t, 0.25 * np.sin(t / 7000.0)], axis=1)
    distance = (unit * path[:, None]).sum(-1) + rng.normal(0, 50, n)[:, None]
    ionosphere = 3.0 + 0.3 * np.sin(t / 4000.0)[:, None] * rng.uniform(0.5, 1.5, m)
    noise = rng.normal(0, 0.001, (2, n, m)) / np.sin(elevation)
    ratio = np.array([1.0, (FREQUENCY_HZ["G1"] / FREQUENCY_HZ["G2"]) ** 2])[:, None, None]
    phase = distance - ratio * ionosphere + noise
    code = distance + ratio * ionosphere + rng.normal(0, 0.25, (2, n, m))
    frequency = np.tile([FREQUENCY_HZ["G1"], FREQUENCY_HZ["G2"]], (m, 1))
    tracks = Tracks(
        np.arange(n, dtype=np.int64) * 30 * 10**9,
        np.arange(1, m + 1, dtype=np.int16),
        code,
        phase,
        np.zeros((n, m), np.uint8),
        np.full((2, n, m), 45.0),
        frequency,
        (("C1W", "L1W", "C2W", "L2W"),) * m,
        (("G01", "G02"),) * m,
    )
    return tracks, unit, elevation


def residual_of(tracks):
    c = tracks.ionosphere_free
    return c[:, 0] * tracks.phase_m[0] + c[:, 1] * tracks.phase_m[1]


def test_a_clean_record_has_no_slip():
    tracks, unit, elevation = invented(1)
    assert not find_slips(tracks, residual_of(tracks), unit, elevation).slip.any()


@pytest.mark.parametrize("pair", PAIRS)
def test_every_pair_is_found_where_it_is_and_nowhere_else(pair):
    tracks, unit, elevation = invented(2)
    places = [(60, 1), (100, 4), (150, 7), (200, 9)]
    for k, s in places:
        for i in (0, 1):
            tracks.phase_m[i, k:, s] += pair[i] * WAVELENGTH_M[i]
    found = find_slips(tracks, residual_of(tracks), unit, elevation)
    assert set(map(tuple, np.argwhere(found.slip))) == set(places)


def test_a_slip_inside_a_short_gap_is_found_at_its_end():
    tracks, unit, elevation = invented(3)
    for i in (0, 1):
        tracks.phase_m[i, 50:, 3] += WAVELENGTH_M[i]
    tracks.phase_m[:, 50:53, 3] = np.nan
    found = find_slips(tracks, residual_of(tracks), unit, elevation)
    assert found.slip[53, 3]
    assert found.slip.sum() == 1


def test_the_flag_of_the_receiver_is_believed():
    tracks, unit, elevation = invented(4)
    tracks.lock[70, 2] = 1
    found = find_slips(tracks, residual_of(tracks), unit, elevation)
    assert np.argwhere(found.slip).tolist() == [[70, 2]]
    assert found.by_flag.sum() == 1


def test_a_jerk_of_the_antenna_is_motion_and_no_slip():
    tracks, unit, elevation = invented(5)
    jerk = np.array([0.03, -0.02, 0.03])
    tracks.phase_m[:, 90:] += (unit[90:] @ jerk)[None]
    found = find_slips(tracks, residual_of(tracks), unit, elevation)
    assert not found.slip.any()
    millimetre = 1e-3  # four times the white scatter of an epoch difference of ten satellites
    np.testing.assert_allclose(found.motion_m[90], jerk, atol=15 * millimetre)


def test_the_half_cycle_bit_starts_an_arc_where_it_comes_and_where_it_goes():
    tracks, unit, elevation = invented(6)
    tracks.lock[80:95, 5] = 2
    tracks.phase_m[:, 85:87, 5] = np.nan  # a gap inside changes nothing
    found = find_slips(tracks, residual_of(tracks), unit, elevation)
    assert np.argwhere(found.by_flag).tolist() == [[80, 5], [95, 5]]
