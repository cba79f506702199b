"""Integer least squares: published example, brute force, speed of a 40-dimensional search."""

import time

import numpy as np
from _measured import Table

from stakeline.positioning.integers import integer_least_squares

JT = "de Jonge & Tiberius (1996), LGR series 12, Delft"
Q = np.array([[6.290, 5.978, 0.544], [5.978, 6.292, 2.340], [0.544, 2.340, 6.288]])
A = np.array([5.450, 3.100, 2.970])
DISTANCES = np.array([0.2183310953369383, 0.3072725757902666])
CASES, LARGEST, MOST = 1000, 6, 300_000
OWN = "own bar"


def geometry(rng, n, epochs, sigma_cycles=0.02, code_cycles=3.0):
    """Return the covariance of float ambiguities of n + 1 satellites tracked for some epochs.

    Three coordinates and double differences of code and phase, satellites moving slowly.
    """
    azimuth, elevation = rng.uniform(0, 2 * np.pi, n + 1), rng.uniform(0.2, 1.5, n + 1)
    normal = np.zeros((3, 3))
    cross, weight = np.zeros((3, n)), np.zeros((n, n))
    differ = np.hstack([-np.ones((n, 1)), np.eye(n)])
    for k in range(epochs):
        e, a = elevation + 1e-3 * k, azimuth + 2e-3 * k
        unit = np.stack([np.cos(e) * np.sin(a), np.cos(e) * np.cos(a), np.sin(e)], axis=1)
        row = differ @ unit / 0.19
        w = np.linalg.inv(2.0 * sigma_cycles**2 * differ @ differ.T)
        normal += row.T @ w @ row * (1.0 + (sigma_cycles / code_cycles) ** 2)
        cross += row.T @ w
        weight += w
    return np.linalg.inv(weight - cross.T @ np.linalg.solve(normal, cross))


def brute_force(values, covariance, bound):
    """Return the two smallest distances of all integers in the box around an ellipsoid.

    None where the box holds more than MOST. The box holds every vector nearer than ``bound``.
    """
    reach = np.sqrt(bound * np.diag(covariance))
    sides = [np.arange(np.ceil(v - r), v + r) for v, r in zip(values, reach, strict=True)]
    if np.prod([float(len(side)) for side in sides]) > MOST:
        return None
    grid = np.stack(np.meshgrid(*sides, indexing="ij"), axis=-1).reshape(-1, len(values))
    apart = (values - grid) @ np.linalg.inv(np.linalg.cholesky(covariance)).T
    return np.partition((apart**2).sum(axis=1), 1)[:2]


def published(table):
    """The 3 x 3 example."""
    found = integer_least_squares(A, Q)
    table.say(f"best {found.vectors[0].astype(int).tolist()}, ratio {found.ratio:.5f}")
    table.line("integers other than 5, 3, 4", np.abs(found.vectors[0] - [5, 3, 4]).sum(), 0, "", JT)
    worst = np.abs(found.distances - DISTANCES).max()
    table.line("distances off the published ones", worst, 1e-12, "", JT)
    table.line("ratio, to be rejected at 2", found.ratio, 2.0, "", JT)


def against_brute_force(table):
    """Random cases up to dimension 6."""
    rng, worst, done, passed = np.random.default_rng(2031), 0.0, 0, 0
    while done < CASES:
        n = 1 + done % LARGEST
        common = rng.normal(0.0, 0.8, (n, 2))
        q = common @ common.T + np.diag(rng.uniform(0.02, 0.3, n))
        values = rng.uniform(-100.0, 100.0, n)
        found = integer_least_squares(values, q)
        best = brute_force(values, q, found.distances[1] * (1.0 + 1e-9))
        if best is None:
            passed += 1
            continue
        worst = max(worst, np.abs(found.distances / best - 1.0).max())
        done += 1
    table.say(f"{passed} further cases whose box held more than {MOST} vectors were passed over")
    table.line(f"{CASES} cases against brute force, worst", worst, 1e-6, "", OWN)


def speed(table):
    """A 40-dimensional case with the errors its covariance tells."""
    rng, seconds, wrong = np.random.default_rng(7), [], 0
    for _ in range(21):
        q = geometry(rng, 40, 20)
        values = np.linalg.cholesky(q) @ rng.standard_normal(40)
        begin = time.perf_counter()
        found = integer_least_squares(values, q)
        seconds.append(time.perf_counter() - begin)
        wrong += found.vectors[0].any()
    table.say(f"{wrong} of 21 with other integers than the true ones; success {found.success:.4f}")
    table.line("40 dimensions, decorrelation and search, median", 1e3 * np.median(seconds[1:]),
               10.0, "ms", "bar set for this work")  # fmt: skip


def main():
    table = Table("Integer least squares")
    published(table)
    against_brute_force(table)
    speed(table)
    table.end()


if __name__ == "__main__":
    main()
