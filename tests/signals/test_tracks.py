"""Choice of signals, frequencies and dense tracks, on small invented records."""

import numpy as np
import pytest

from stakeline.constants import SPEED_OF_LIGHT_M_S
from stakeline.signals.clock_jumps import MILLISECOND_M, repair_clock_jumps
from stakeline.signals.tracks import build_tracks, infer_channel
from stakeline.tables import ObservationHeader, Observations, satellite_id


def record(codes, satellites, value):
    """Return Observations of ``value`` (epochs, satellites, columns), all systems alike."""
    n, m, columns = value.shape
    return Observations(
        ObservationHeader(),
        np.arange(n, dtype=np.int64) * 30 * 10**9,
        np.zeros(n, np.uint8),
        np.full(n, np.nan),
        np.arange(n + 1) * m,
        np.tile(np.array([satellite_id(s) for s in satellites], np.int16), n),
        value.reshape(n * m, columns),
        np.zeros((n * m, columns), np.uint8),
        np.zeros((n * m, columns), np.uint8),
        {s[0]: tuple(codes) for s in satellites},
    )


def test_the_pair_of_the_clock_products_is_preferred_and_the_fuller_one_wins():
    codes = ["C1C", "L1C", "C1W", "C2W", "L2W", "C5Q", "L5Q"]
    value = np.full((20, 1, 7), 2.2e7)
    full, _ = build_tracks(record(codes, ["G05"], value))
    assert full.signals == (("C1W", "L1C", "C2W", "L2W"),)  # IGS convention of GPS clocks
    value[:15, 0, 3:5] = np.nan  # the second frequency mostly missing: the third serves
    fifth, _ = build_tracks(record(codes, ["G05"], value))
    assert fifth.signals[0][2:] == ("C5Q", "L5Q")
    assert fifth.bands == (("G01", "G05"),)


def test_ionosphere_free_coefficients_and_phases_in_metres():
    value = np.full((6, 1, 4), 1e8)
    tracks, _ = build_tracks(record(["C1W", "L1W", "C2W", "L2W"], ["G01"], value))
    # GPS L1/L2: 2.545727780, -1.545727780; wavelength 0.190293673 m: arithmetic from IS-GPS-200
    np.testing.assert_allclose(tracks.ionosphere_free[0], [2.545727780, -1.545727780], atol=1e-9)
    np.testing.assert_allclose(tracks.phase_m[0, :, 0], 1e8 * 0.190293673, rtol=1e-8)


@pytest.mark.parametrize("channel", [-7, 0, 6])
def test_a_glonass_channel_is_read_off_the_data(channel):
    rng = np.random.default_rng(4)
    frequency = 1602e6 + channel * 562.5e3  # GLONASS ICD 5.1, section 3.3.1.1
    distance = 2.1e7 + 500.0 * np.arange(120) * 30.0
    pair = np.column_stack(
        [distance + rng.normal(0, 3, 120), distance * frequency / SPEED_OF_LIGHT_M_S]
    )
    assert infer_channel(pair) == channel
    assert infer_channel(pair[:1]) is None


def test_a_satellite_without_a_pair_is_named():
    _, notes = build_tracks(record(["C1C", "L1C"], ["G07"], np.full((9, 1, 2), 1.0)))
    assert notes == ["no pair of code and phase on two bands: G07"]


def test_millisecond_jumps_of_the_code_are_put_into_the_phase():
    n, m = 40, 6
    rng = np.random.default_rng(2)
    satellites = [f"G{i + 1:02d}" for i in range(m)]
    distance = 2.2e7 + rng.uniform(-400, 400, m) * np.arange(n)[:, None] * 30
    code = distance + rng.normal(0, 0.5, (n, m))
    code[13:] -= MILLISECOND_M
    code[29:] += 2 * MILLISECOND_M
    wavelength = SPEED_OF_LIGHT_M_S / np.array([1575.42e6, 1227.60e6])
    value = np.stack([code, distance / wavelength[0], code, distance / wavelength[1]], axis=2)
    tracks, _ = build_tracks(record(["C1W", "L1W", "C2W", "L2W"], satellites, value))
    phase, jumps = repair_clock_jumps(tracks)
    assert jumps == [(13, -1), (29, 2)]
    assert np.ptp(np.median(tracks.code_m[0] - phase[0], axis=1)) < 3.0
