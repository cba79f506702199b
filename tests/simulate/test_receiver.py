"""Receivers: clocks, passes, noise and slips as they were asked for."""

import numpy as np
import pytest

from stakeline.simulate.receiver import (
    Receiver,
    Seen,
    clock_of,
    first_cycles,
    noise_of,
    slips_of,
    tracked,
)

TIME_S = np.arange(0.0, 86400.0, 30.0)


def seen(elevation_rad, height_m=1.9):
    """Pairs of all epochs and the columns of elevations (n, m)."""
    n, m = elevation_rad.shape
    epoch, column = np.tile(np.arange(n), m), np.repeat(np.arange(m), n)
    height = np.broadcast_to(height_m, (n,))[epoch]
    return Seen(TIME_S[epoch], epoch, column, elevation_rad.T.ravel(), height)


def high(columns=6):
    return np.full((TIME_S.size, columns), np.radians(60.0))


def test_the_clock_is_kept_within_half_a_millisecond():
    bias, jumped = clock_of(np.random.default_rng(1), Receiver(), TIME_S)
    assert np.abs(bias).max() <= 0.5e-3
    assert jumped[-1] - jumped[0] == pytest.approx(9e-8 * 86400.0 / 1e-3, abs=1.5)
    free = bias + 1e-3 * jumped
    assert np.abs(np.diff(free)).max() < 1e-5  # only the jumps are steps


def test_white_noise_has_its_size_at_the_zenith_and_at_30_deg():
    receiver = Receiver(0.0015, 0.20, reflection=0.0, slow_code_m=0.0, slow_phase_m=0.0)
    elevation = high(2)
    elevation[:, 0], elevation[:, 1] = np.pi / 2.0, np.radians(30.0)
    code, phase, _ = noise_of(np.random.default_rng(2), receiver, seen(elevation), 0.19)
    code, phase = code.reshape(2, -1).T, phase.reshape(2, -1).T
    # 2880 samples give a sigma to 1.3 %; 1/sqrt(sin 30 deg) is sqrt 2
    np.testing.assert_allclose(code.std(axis=0), 0.20 * np.array([1.0, 2**0.5]), rtol=0.06)
    np.testing.assert_allclose(phase.std(axis=0), 0.0015 * np.array([1.0, 2**0.5]), rtol=0.06)


def test_a_reflection_is_bounded_by_its_strength():
    receiver = Receiver(0.0, 0.0, reflection=0.1, slow_code_m=0.0, slow_phase_m=0.0)
    elevation = np.radians(np.linspace(5.0, 60.0, TIME_S.size))[:, None]
    wavelength = 0.19
    code, phase, _ = noise_of(np.random.default_rng(3), receiver, seen(elevation), wavelength)
    # phase below asin(a) / 2 pi of a wavelength, code below a times the detour
    assert np.abs(phase).max() <= np.arcsin(0.1) * wavelength / (2.0 * np.pi)
    assert np.abs(phase).max() > 0.5e-3
    assert (np.abs(code) <= 0.1 * 2.0 * receiver.mast_m * np.sin(elevation[:, 0])).all()


def test_passes_begin_after_gaps_and_not_after_dropouts():
    receiver = Receiver(dropout_share=0.0, gaps_s=((30000.0, 36000.0),))
    elevation = high(2)
    elevation[1000:1100, 1] = 0.0
    elevation[2000:2002, 0] = 0.0
    recorded, passes, restart = tracked(np.random.default_rng(1), receiver, TIME_S, elevation)
    assert not recorded[1000:1200].any()  # the gap of both
    assert np.flatnonzero(restart).tolist() == [1200]
    assert np.unique(passes[recorded[:, 0], 0]).size == 2
    assert passes[1999, 0] == passes[2002, 0]


def test_slips_are_inside_passes_and_as_many_as_asked():
    receiver = Receiver(slips_a_day=300.0, dropout_share=0.0)
    recorded, passes, _ = tracked(np.random.default_rng(1), receiver, TIME_S, high())
    time_ns = (TIME_S * 1e9).astype(np.int64)
    satellites = np.arange(1, 7)
    slips = slips_of(np.random.default_rng(2), receiver, time_ns, satellites, recorded, passes)
    assert abs(len(slips) - 300) < 70  # four sigmas of a Poisson number
    assert all(any(slip.cycles) and slip.time_ns > 0 for slip in slips)
    share = np.mean([slip.flagged for slip in slips])
    assert abs(share - receiver.flagged_share) < 0.12


def test_cycles_change_with_the_pass_alone():
    passes = np.array([[0, 1], [0, 1], [1, 1]])
    cycles = first_cycles(np.random.default_rng(1), passes)
    assert cycles[0, 0] == cycles[1, 0] != cycles[2, 0]
    assert np.ptp(cycles[:, 1]) == 0


def test_reflections_show_the_height_in_strengths():
    receiver = Receiver(0.0, 0.0, reflection=0.4, slow_code_m=0.0, slow_phase_m=0.0)
    elevation = np.radians(np.linspace(5.0, 25.0, TIME_S.size))[:, None]
    wavelength, sine = 0.1903, np.sin(elevation[:, 0])
    for height in (1.2, 2.4):
        pairs = seen(elevation, height)
        _, _, strength = noise_of(np.random.default_rng(3), receiver, pairs, wavelength)
        wave = 10.0 ** (strength / 20.0)
        wave -= np.polyval(np.polyfit(sine, wave, 2), sine)
        trial = np.arange(0.6, 4.0, 0.01)
        turn = np.exp(4j * np.pi * trial[:, None] * sine / wavelength)
        # the frequency over sin(e) is 2 h / wavelength: Larson et al. (2009), equation 2
        assert trial[np.abs(turn @ wave).argmax()] == pytest.approx(height, abs=0.1)


def test_a_buried_antenna_has_no_detour():
    receiver = Receiver(0.0, 0.0, reflection=0.4, slow_code_m=0.0, slow_phase_m=0.0)
    code, phase, _ = noise_of(np.random.default_rng(3), receiver, seen(high(), -0.3), 0.19)
    assert np.abs(code).max() == np.abs(phase).max() == 0.0


def test_half_cycles_come_and_are_found_out():
    receiver = Receiver(slips_a_day=400.0, dropout_share=0.0, half_share=0.5, half_known_share=0.8)
    recorded, passes, _ = tracked(np.random.default_rng(1), receiver, TIME_S, high())
    time_ns = (TIME_S * 1e9).astype(np.int64)
    satellites = np.arange(1, 7)
    slips = slips_of(np.random.default_rng(2), receiver, time_ns, satellites, recorded, passes)
    back = {(s.time_ns, s.satellite) for s in slips if set(s.cycles) == {0, -0.5}}
    own = [s for s in slips if set(s.cycles) != {0, -0.5}]
    halves = [s for s in own if any(2 * c % 2 for c in s.cycles)]
    assert all(2 * c == round(2 * c) for s in slips for c in s.cycles)
    assert abs(len(halves) / len(own) - 0.5) < 0.1  # four sigmas of a binomial share
    known = [s for s in halves if s.half is not None]
    assert abs(len(known) / len(halves) - 0.8) < 0.12
    for slip in known:
        assert slip.half_until_ns > slip.time_ns
        assert slip.half_until_ns > time_ns[-1] or (slip.half_until_ns, slip.satellite) in back
    assert [s.time_ns for s in slips] == sorted(s.time_ns for s in slips)


def test_slow_multipath_keeps_its_size_and_takes_on_its_memories():
    quiet = {"reflection": 0.0, "slow_code_m": 0.0}
    receiver = Receiver(0.0, 0.0, slow_phase_m=0.01, slow_memory_s=(600.0, 3600.0), **quiet)
    elevation = np.full((TIME_S.size, 60), np.radians(30.0))
    _, phase, _ = noise_of(np.random.default_rng(7), receiver, seen(elevation), 0.19)
    phase = phase.reshape(60, -1).T / np.exp(-1.0)  # it falls off by 30 deg of elevation
    # 60 days of a process of 1 h memory: 720 independent values, sigma to 3 %
    np.testing.assert_allclose(phase.std(), 0.01, rtol=0.1)
    lag = 40  # epochs: 20 min; the mean of exp(-2) and exp(-1/3)
    found = np.mean(phase[:-lag] * phase[lag:]) / np.mean(phase**2)
    np.testing.assert_allclose(found, 0.5 * (np.exp(-2.0) + np.exp(-1.0 / 3.0)), atol=0.08)
