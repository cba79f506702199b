"""What stations tell together: formulas against simulated series of known truth.

    python validation/plan_network.py

Noise is white, a Gauss-Markov course of two days and a velocity that walks, alike between stations
by 0.3, as plans take it. Exit code 1 where one falls short.
"""

import time

import numpy as np
from _measured import Table
from scipy.linalg import cholesky, solve_triangular
from scipy.optimize import least_squares

from stakeline.constants import DAYS_PER_YEAR
from stakeline.lakes import carried, network_sight, placement
from stakeline.lakes.outline import ellipse_outline
from stakeline.lakes.whitening import START
from stakeline.motion.strain import velocity_gradient

WHITE_M, STEP_D, RECORD_D = 0.004, 0.5, 30.0
BETWEEN_D = 0.13  # d; of an onset behind a row, as it falls
ALIKE = network_sight.CORRELATION
SIMULATED, OWN = 300, "own simulation; bar ours"


class Series:
    """Rows of several stations about one change, their noise, and least squares that know it."""

    def __init__(self, duration_d, stations, seed):
        self.day = np.arange(-RECORD_D, duration_d + RECORD_D + 0.5 * STEP_D, STEP_D)
        self.stations, self.rng = stations, np.random.default_rng(seed)
        since = self.day - self.day[0]
        first, last = np.minimum.outer(since, since), np.maximum.outer(since, since)
        one = START.acceleration_m2_d3 * first**2 * (last / 2.0 - first / 6.0)
        one += WHITE_M**2 * np.eye(since.size)
        for sigma, memory in zip(START.coloured_sigma_m, START.coloured_memory_d, strict=True):
            one += sigma**2 * np.exp(-(last - first) / memory)
        between = ALIKE + (1.0 - ALIKE) * np.eye(stations)
        self.root = cholesky(np.kron(between, one), lower=True)

    def white(self, rows):
        return solve_triangular(self.root, rows.ravel(), lower=True)

    def noise(self):
        drawn = self.root @ self.rng.standard_normal(len(self.root))
        return drawn.reshape(self.stations, -1)


def onset(table):
    """One draining under three stations that see 1, 0.7 and 0.4 of it: its onset, fitted whole."""
    size_m, length_d, shares = 1.0, 8.0, np.array([1.0, 0.7, 0.4])
    series, found = Series(length_d, 3, 1), []

    def course(x):
        begin, end, size = x[:3]
        lines = x[3:].reshape(2, 3, 1)
        ramp = np.clip((series.day - begin) / (end - begin), 0.0, 1.0)
        return lines[0] + lines[1] * series.day + size * shares[:, None] * ramp

    truth = np.concatenate([[BETWEEN_D, length_d + BETWEEN_D, size_m], np.zeros(6)])
    for _ in range(SIMULATED):
        seen = course(truth) + series.noise()
        fit = least_squares(lambda x, y: series.white(course(x) - y), truth + 0.01, args=(seen,))
        found.append(fit.x[0] - BETWEEN_D)
    one = placement.onset_sigma_d(START, WHITE_M, length_d, RECORD_D, RECORD_D, STEP_D)
    stated = network_sight.sigma_together(one / (size_m * shares))
    table.say(f"onset of 1 m: {24 * one:.2f} h by the best alone, {24 * stated:.2f} h together")
    table.line("onset of three stations: spread by stated, less 1",
               abs(np.std(found) / stated - 1.0), 0.15, "", OWN)  # fmt: skip
    table.line("its mean error by its spread", abs(np.mean(found)) / np.std(found), 0.2, "", OWN)


def water(table):
    """Ice that goes 10 % faster for 15 d as the water passes three stations: the water's speed."""
    along, speed_m_s, faster_m, length_d = np.array([0.0, 8e3, 20e3]), 0.3, 0.1 * 15.0, 15.0
    series = Series(length_d + 2.0, 3, 2)
    begins = along / speed_m_s / network_sight.DAY_S

    def course(x):
        onset, end, size = x[:9].reshape(3, 3, 1)
        lines = x[9:].reshape(2, 3, 1)
        ramp = np.clip((series.day - onset) / (end - onset), 0.0, 1.0)
        return lines[0] + lines[1] * series.day + size * ramp

    truth = np.concatenate([begins, begins + length_d, np.full(3, faster_m), np.zeros(6)])
    one = placement.onset_sigma_d(START, WHITE_M, length_d, RECORD_D, RECORD_D, STEP_D) / faster_m
    slowness = network_sight.slowness_sigma_d_m(along, np.full(3, one))
    band = network_sight.speed_sight(speed_m_s, slowness)
    design = np.column_stack([np.ones(3), along])
    weight = np.linalg.inv(network_sight.alike_covariance(np.full(3, one)))
    rows, inside = np.linalg.solve(design.T @ weight @ design, design.T @ weight)[1], 0
    found = []
    for _ in range(SIMULATED):
        seen = course(truth) + series.noise()
        fit = least_squares(lambda x, y: series.white(course(x) - y), truth + 0.01, args=(seen,))
        found.append(rows @ fit.x[:3])
        told = 1.0 / (found[-1] * network_sight.DAY_S) if found[-1] > 0.0 else np.inf
        inside += band.low_m_s < told < band.high_m_s
    table.say(f"water of {speed_m_s} m/s over 20 km, onsets to {24 * one:.1f} h: told as "
              f"{band.low_m_s:.2f} to {band.high_m_s:.2f} m/s; faster than "
              f"{network_sight.fastest_told_m_s(slowness):.1f} m/s has no upper bound")  # fmt: skip
    table.line("slowness of the water: spread by stated, less 1",
               abs(np.std(found) / slowness - 1.0), 0.15, "", OWN)  # fmt: skip
    table.line("speeds inside of 5 to 95 %, off 90 %", abs(100.0 * inside / SIMULATED - 90.0), 5.0,
               "%", OWN)  # fmt: skip


def strain(table):
    """Networks drawn at random: the spread of strain rates against what is stated."""
    rng, off = np.random.default_rng(3), []
    for count in (3, 4, 6, 9):
        at = rng.uniform(-5e3, 5e3, (count, 2))
        sight = network_sight.strain_sight(at, 0.002)
        one = cholesky(network_sight.alike_covariance(np.full(count, 0.002)), lower=True)
        rates = []
        for _ in range(1500):
            velocity = one @ rng.standard_normal((count, 2)) + [0.8, 0.0]
            found = velocity_gradient(at, velocity)
            rates.append((found.exx.value, found.eyy.value, found.exy.value))
        stated = np.array([sight.along_per_d, sight.across_per_d, sight.shear_per_d])
        off.append(np.abs(np.std(rates, axis=0) / stated - 1.0).max())
    table.line("strain rates of 3 to 9 stations: spread by stated, less 1", max(off), 0.1, "", OWN)


def carried_along(table):
    """A place in flow whose strain rises downstream: limit and way against the closed form."""
    speed, bend, scale = 1.2, 5e-9, 0.98
    x = np.linspace(-4e3, 30e3, 137) * scale
    y = np.linspace(-3e3, 3e3, 25) * scale
    east = np.broadcast_to(x / scale, (25, 137))
    velocity = np.stack([speed + 0.5 * bend * east**2, np.zeros_like(east)], axis=-1)
    strain_rate = carried.principal_strain_per_a(x, y, velocity, scale)
    ice = carried.IceField(x, y, velocity, strain_rate, scale)
    limit = bend * 12e3 * DAYS_PER_YEAR  # met 12 km on
    lake = ellipse_outline("Lower Halvard", (0.0, 0.0), (2e3 * scale, 2e3 * scale))
    begin = time.process_time()
    found = carried.carried(ice, (0.0, 0.0), limit, 50.0 * DAYS_PER_YEAR, lake)
    spent = time.process_time() - begin
    root = np.sqrt(2.0 * speed / bend)
    days = root / speed * np.arctan(np.array([12e3, 2e3]) / root)
    closed = "integral of 1 / (v0 + k x2 / 2)"
    table.line("days to the strain limit, off", 100 * abs(found.limit_d / days[0] - 1), 1.0, "%",
               closed)  # fmt: skip
    table.line("days to the margin, off one look of a quarter cell",
               abs(found.left_d - days[1]) * speed / (carried.STEP_CELLS * ice.cell_m), 1.1, "",
               closed)  # fmt: skip
    table.line("one place followed to the edge of the map", spent, 0.5, "s", "own aim")


if __name__ == "__main__":
    TABLE = Table("What stations tell together, and where the ice carries them")
    onset(TABLE)
    water(TABLE)
    strain(TABLE)
    carried_along(TABLE)
    TABLE.end()
