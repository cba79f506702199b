"""Phase wind-up: identities of Wu et al. (1993)."""

import numpy as np

from stakeline.satellites.windup import phase_windup

N = 9
ENU = np.eye(3)[None].repeat(N, axis=0)
RECEIVER = np.zeros((N, 3))
ABOVE = np.tile([0.0, 0.0, 2e7], (N, 1, 1))
EX, EY = np.tile([1.0, 0.0, 0.0], (N, 1, 1)), np.tile([0.0, -1.0, 0.0], (N, 1, 1))


def receiver_turned(angle):
    """Receiver axes turned clockwise seen from above, as azimuths grow."""
    c, s = np.cos(angle), np.sin(angle)
    turned = ENU.copy()
    turned[:, 0] = np.stack([c, -s, 0 * c], axis=1)
    turned[:, 1] = np.stack([s, c, 0 * c], axis=1)
    return turned


def test_a_quarter_turn_of_the_receiver_is_a_quarter_cycle():
    # Wu et al. (1993): a turn about the boresight by 90 deg changes the phase by 0.25 cycle
    angle = np.linspace(0.0, np.pi / 2, N)
    cycles = phase_windup(ABOVE, RECEIVER, EX, EY, receiver_turned(angle))[:, 0]
    np.testing.assert_allclose(np.abs(cycles - cycles[0]), angle / (2 * np.pi), atol=1e-12)


def test_whole_turns_are_counted_and_a_gap_does_not_matter():
    angle = np.linspace(0.0, 4 * np.pi, N)  # 90 deg a step: two turns
    position = ABOVE.copy()
    position[3] = np.nan
    cycles = phase_windup(position, RECEIVER, EX, EY, receiver_turned(angle * 0.9))[:, 0]
    assert np.isnan(cycles[3])
    assert abs(abs(cycles[-1] - cycles[0]) - 2 * 0.9) < 1e-12


def test_satellite_and_receiver_turning_together_cancel():
    # both turn by the same angle about the common line of sight: nothing changes
    angle = np.linspace(0.0, 2.0, N)
    c, s = np.cos(angle), np.sin(angle)
    ex = np.stack([c, -s, 0 * c], axis=1)[:, None, :]
    ey = np.stack([-s, -c, 0 * c], axis=1)[:, None, :]
    cycles = phase_windup(ABOVE, RECEIVER, ex, ey, receiver_turned(angle))[:, 0]
    np.testing.assert_allclose(cycles, cycles[0], atol=1e-12)


def test_the_sign_is_that_of_a_right_handed_wave():
    # x cos(wt - kr) + y sin(wt - kr) with x, y, k right-handed (IEEE Std 145): a satellite turned
    # right-handed about k by a sends each phase earlier by a, so the range by phase reads
    # a / 2 pi shorter. Here k points down and the satellite turns left-handed about it.
    angle = np.linspace(0.0, 1.0, N)
    c, s = np.cos(angle), np.sin(angle)
    ex = np.stack([c, s, 0 * c], axis=1)[:, None, :]
    ey = np.stack([s, -c, 0 * c], axis=1)[:, None, :]
    cycles = phase_windup(ABOVE, RECEIVER, ex, ey, ENU)[:, 0]
    np.testing.assert_allclose(cycles - cycles[0], angle / (2 * np.pi), atol=1e-12)
