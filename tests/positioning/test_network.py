"""The network's elimination in time order against one dense adjustment of all differences."""

from dataclasses import replace

import numpy as np
import pytest

from stakeline.errors import SolutionError
from stakeline.positioning.estimate import BIAS_SIGMA_M, PRIOR_SIGMA
from stakeline.positioning.network import Network, adjust, difference_sigma, place

N, M, R = 5, 6, 3
STEP_S, WALK = 30.0, 1e-5
NOISE = np.array([WALK**2, 0.0, 2e-9, 3e-11, 0.0])
BASE_NOISE = np.array([1e-9, 2e-9, 3e-11, 3e-11])


def invented(rng):
    """Return a :class:`Network` of a pivot, a rover and a base, two groups, one slip."""
    azimuth = np.tile(rng.uniform(0, 2 * np.pi, M), (N, 1))
    elevation = rng.uniform(0.3, 1.4, M) + 2e-3 * np.arange(N)[:, None]
    unit = -np.stack(
        [
            np.cos(elevation) * np.sin(azimuth),
            np.cos(elevation) * np.cos(azimuth),
            np.sin(elevation),
        ],
        axis=-1,
    )
    wet = np.stack([1.0 / np.sin(elevation + 0.01 * r) for r in range(R)])
    gradient = 1.0 / (np.sin(elevation) * np.tan(elevation) + 0.0032)
    arc = np.full((R, N, M), -1)
    arc[1:] = np.arange((R - 1) * M).reshape(R - 1, 1, M)
    arc[1, 3:, 2] = (R - 1) * M
    arc[2, 0, 4] = -1
    sigma = 0.004 * wet
    phase, code = rng.normal(0, 1.0, (R, N, M)) * sigma, rng.normal(0, 1.0, (R, N, M))
    phase[0] = code[0] = 0.0
    north, east = gradient * np.cos(azimuth), gradient * np.sin(azimuth)
    return Network(
        STEP_S * np.arange(N), phase, code, unit, wet, np.stack([north] * R), np.stack([east] * R),
        sigma, 100 * sigma, np.repeat([0, 1], M // 2), arc, np.tile(NOISE, (N, 1)), BASE_NOISE,
        (0.1, 0.02, 1e-3), True,
    )  # fmt: skip


class Dense:
    """All unknowns of all epochs at once, satellite clocks too."""

    local = 10 + 4 + 1

    def __init__(self, network):
        self.network = network
        self.arcs = network.arc.max() + 1
        self.clock0 = N * self.local + (R - 1) + self.arcs
        self.size = self.clock0 + 2 * N * M
        self.rows, self.values, self.weights = [], [], []

    def add(self, pairs, value, sigma):
        row = np.zeros(self.size)
        for index, partial in pairs:
            row[index] += partial
        self.rows.append(row)
        self.values.append(value)
        self.weights.append(1.0 / sigma)

    def receiver(self, r, k, s):
        """Return the pairs of a receiver's code."""
        w, at = self.network, k * self.local
        pairs = [(at + 14, w.wet[r, k, s])]
        if r:
            own = at if r == 1 else at + 10
            air = at + 7 if r == 1 else at + 11
            pairs += [(own, 1.0), (air, w.wet[r, k, s])]
            pairs += [(air + 1, w.north[r, k, s]), (air + 2, w.east[r, k, s])]
            if w.group[s]:
                pairs.append((N * self.local + r - 1, 1.0))
        if r == 1:
            pairs += [(at + 1 + i, w.unit[k, s, i]) for i in range(3)]
        return pairs

    def observations(self):
        w = self.network
        for r, k, s in np.ndindex(R, N, M):
            if r and w.arc[r, k, s] < 0:
                continue
            for kind in (0, 1):
                pairs = [*self.receiver(r, k, s), (self.clock0 + (kind * N + k) * M + s, 1.0)]
                if kind == 0 and r:
                    pairs.append((N * self.local + R - 1 + w.arc[r, k, s], 1.0))
                value = (w.phase_m, w.code_m)[kind][r, k, s]
                self.add(pairs, value, (w.phase_sigma_m, w.code_sigma_m)[kind][r, k, s])

    def priors_and_walks(self):
        sigma = np.array(
            [*PRIOR_SIGMA[:7], 0.02, 1e-3, 1e-3, PRIOR_SIGMA[0], 0.02, 1e-3, 1e-3, 0.1]
        )
        for i, s in enumerate(sigma):
            self.add([(i, 1.0)], 0.0, s)
        for i in range(R - 1):
            self.add([(N * self.local + i, 1.0)], 0.0, BIAS_SIGMA_M)
        walks = {7: NOISE[2], 8: NOISE[3], 9: NOISE[3], 14: BASE_NOISE[0]}
        walks |= {11 + i: BASE_NOISE[1 + i] for i in range(3)}
        for k in range(N - 1):
            a, b = k * self.local, (k + 1) * self.local
            for i in range(3):
                p, v, q = 1 + i, 4 + i, NOISE[0]
                step = [(b + p, 1), (a + p, -1), (b + v, -STEP_S / 2), (a + v, -STEP_S / 2)]
                self.add(step, 0.0, np.sqrt(q * STEP_S**3 / 12))
                self.add([(b + v, 1), (a + v, -1)], 0.0, np.sqrt(q * STEP_S))
            for i, rate in walks.items():
                self.add([(b + i, 1), (a + i, -1)], 0.0, np.sqrt(rate * STEP_S))

    def solve(self):
        """Return positions (N, 3) and covariances of the rover."""
        self.observations()
        self.priors_and_walks()
        w = np.array(self.weights)
        a, y = np.array(self.rows) * w[:, None], np.array(self.values) * w
        scale = np.linalg.norm(a, axis=0)
        scale[scale == 0] = 1.0
        q, r = np.linalg.qr(a / scale)
        x = np.linalg.solve(r, q.T @ y) / scale
        inverse = np.linalg.inv(r) / scale[:, None]
        c = inverse @ inverse.T
        where = [[k * self.local + 1 + i for i in range(3)] for k in range(N)]
        return x[where], np.array([c[np.ix_(i, i)] for i in where])


def labels(network):
    return np.arange(network.arc.max() + 1)


def test_it_equals_one_dense_adjustment_with_satellite_clocks_as_unknowns():
    network = invented(np.random.default_rng(3))
    found = adjust(network, labels(network), spread=True, rounds=1)
    assert found.phase_used[1:].sum() == (network.arc[1:] >= 0).sum()
    position, covariance = Dense(network).solve()
    micrometre = 1e-6
    np.testing.assert_allclose(found.smoothed.states[:, 1:4], position, atol=5 * micrometre)
    np.testing.assert_allclose(found.smoothed.covariance_m2, covariance, rtol=2e-3, atol=1e-9)


def test_what_all_receivers_share_of_a_satellite_drops_out():
    rng = np.random.default_rng(4)
    network = invented(rng)
    common = rng.normal(0.0, 5.0, (N, M))
    moved = replace(network, phase_m=network.phase_m + common, code_m=network.code_m - common)
    first, second = (adjust(w, labels(network), rounds=1) for w in (network, moved))
    micrometre = 1e-6
    apart = first.smoothed.states[:, 1:4] - second.smoothed.states[:, 1:4]
    assert np.abs(apart).max() < 5 * micrometre


def test_arcs_under_one_label_share_a_slot_from_the_first_to_the_last_epoch():
    network = invented(np.random.default_rng(5))
    label = labels(network)
    label[:4] = len(label)
    placed = place(network, label, always=len(labels(network)))
    shared = placed.slot[1, :, :4][network.arc[1, :, :4] >= 0]
    shared = shared[network.arc[1, :, :4][network.arc[1, :, :4] >= 0] < 4]
    assert len(set(shared.tolist())) == 1
    assert placed.at[len(label)] == shared[0]
    assert (placed.end_slot == shared[0]).sum() == 1
    assert placed.end_start[N - 1] <= np.flatnonzero(placed.end_slot == shared[0])[0]


def test_a_wrong_phase_is_left_out():
    network = invented(np.random.default_rng(6))
    phase = network.phase_m.copy()
    phase[1, 2, 5] += 2.0
    found = adjust(replace(network, phase_m=phase), labels(network))
    assert not found.phase_used[1, 2, 5]
    assert np.isnan(found.smoothed.residual_m[0, 1, 2, 5])


def test_differences_carry_the_noise_of_both_ends():
    network = invented(np.random.default_rng(7))
    sigma = difference_sigma(network, network.phase_sigma_m)
    expected = np.sqrt(network.phase_sigma_m[1] ** 2 + network.phase_sigma_m[0] ** 2)
    np.testing.assert_allclose(sigma[1], expected)


def test_nothing_in_common_is_a_sentence():
    network = invented(np.random.default_rng(8))
    alone = replace(network, arc=np.full_like(network.arc, -1))
    with pytest.raises(SolutionError, match="share no phase arc that is long enough"):
        adjust(alone, np.zeros(0, int))
