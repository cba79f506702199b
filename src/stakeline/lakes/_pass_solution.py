"""The least squares behind :mod:`~.altimetry`: tracks' surfaces are eliminated, passes left."""

from dataclasses import dataclass

import numpy as np
from scipy.linalg import cho_factor, cho_solve
from scipy.sparse import block_diag, csc_matrix, csr_matrix, diags, hstack, vstack
from scipy.sparse.linalg import splu

from .track_surface import FIRST_ROUGH_PER_M, LEAST_ROUGH_PER_M, tied

ROUNDS = 8  # of Gauss-Newton; choice
ROBUST_FROM = 2  # round from which odd points lose weight: not before the lake's motion is known
HUBER = 2.5  # -, sigmas within which a residual counts in full; choice
GONE = 6.0  # -, sigmas beyond which a point counts for nothing in the last rounds; choice
ROUGHER = 2.0  # -, sigma of curvature across over that seen along; choice
OWN = 5  # unknowns of a pass: level, bend, bias, place (2)
BEND_M, LEAST_BEND_M = 1.0, 0.02  # m, sigma of the bend of a pass beforehand: first, least; choice
STEP_M = 2.0  # m, over which slopes are taken; choice
AT_ONCE = 5000  # points whose weights of nodes are in memory; choice
GAUGE = 1e-3  # -, sigma of the pattern's mean about 1; choice
LAGS = 15  # points along a track over which correlation is looked for; choice


@dataclass(frozen=True, eq=False)
class PassSolution:
    """What was solved for; see :class:`~.altimetry.LakeLevels`."""

    level_m: np.ndarray
    bend_m: np.ndarray
    bias_m: np.ndarray
    nodes: np.ndarray
    covariance: np.ndarray  # of levels, bends, nodes
    misfit: float
    correlated: float
    wild: int


def solve_passes(near, place, number, sigma, surfaces, ties, pattern, settings):
    """Return the :class:`PassSolution` of points in true metres ``place`` (n, 2)."""
    order = np.lexsort((near.time_ns, near.track))
    problem = _Problem(
        place[order], near.height_m[order], number[order], near.track[order], sigma[order],
        surfaces, ties, pattern, near.point_m[order], settings,
    )  # fmt: skip
    for k in range(ROUNDS):
        problem.round(robust=k >= ROBUST_FROM, last=k >= ROUNDS - 3)
    return problem.solution()


class _Problem:
    """Unknowns: surfaces' coefficients; level, bend, bias, place (2) of passes; pattern's nodes."""

    def __init__(self, place, height, number, track, sigma, surfaces, ties, pattern, point,
                 settings):  # fmt: skip
        self.place, self.height, self.number, self.sigma = place, height, number, sigma
        self.track, self.surfaces, self.settings = track, surfaces, settings
        self.count, self.passes = len(height), int(number.max()) + 1
        self.base = pattern.base(point)
        pieces = np.array_split(point, max(1, len(point) // AT_ONCE))
        self.node_weight = vstack([csr_matrix(pattern.weights(p)) for p in pieces], format="csr")
        self.plate = pattern.bend(point)
        self.pattern = pattern
        self.level, self.bend, self.bias = np.zeros((3, self.passes))
        self.bend_sigma = np.full(self.passes, BEND_M)
        self.off = np.zeros((self.passes, 2))
        self.nodes = np.zeros(len(pattern.node_m))
        self.tie = tied(surfaces, ties, settings.tie_sigma_m)
        self._hold(FIRST_ROUGH_PER_M)
        self.weight = np.ones(self.count)
        self.scale = np.ones(self.passes)
        self.surface = np.zeros(self.prior.shape[0])
        self.residual = height

    def _hold(self, rough_per_m):
        """Set what is known of the surfaces beforehand."""
        fixed = block_diag([s.beforehand(rough_per_m) for s in self.surfaces], format="csr")
        self.prior = (fixed.T @ fixed + self.tie.T @ self.tie).tocsc()

    def roughness_per_m(self):
        """Return the root mean square of the curvature along tracks: so is that across."""
        ends = np.cumsum([sum(s.sizes) for s in self.surfaces])
        parts = np.split(self.surface, ends[:-1])
        found = [s.curvature(c) for s, c in zip(self.surfaces, parts, strict=True)]
        return max(LEAST_ROUGH_PER_M, float(np.sqrt(np.mean(np.concatenate(found) ** 2))))

    def _design(self, shift):
        """Return the surfaces' design (n, p) at places moved by each pass's error and ``shift``."""
        place = self.place + self.off[self.number] + shift
        parts = [s.design(place[self.track == k]) for k, s in enumerate(self.surfaces)]
        return block_diag(parts, format="csr")

    def round(self, robust, last):
        """Solve once about what is known."""
        design = self._design(0.0)
        slopes = [
            (self._design(np.array(s)) - design) @ self.surface / STEP_M
            for s in ((STEP_M, 0.0), (0.0, STEP_M))
        ]
        columns = self._columns(slopes)
        weight = self.weight / (self.sigma * self.scale[self.number]) ** 2
        rest = self.height - self._known(design)
        step, inverse = self._solve(design, columns, weight, rest)
        self._take(step, inverse)
        self._hold(ROUGHER * self.roughness_per_m())
        self.judge(robust, last)

    def _known(self, design):
        """Return heights (n,) as known so far."""
        moves = self.base + self.node_weight @ self.nodes
        number = self.number
        moved = moves * self.level[number] + self.plate * self.bend[number] + self.bias[number]
        return design @ self.surface + moved

    def _columns(self, slopes):
        """Return the design of all but the surfaces: sparse (n, 5 passes + nodes)."""
        rows, p = np.arange(self.count), self.passes
        moves = self.base + self.node_weight @ self.nodes
        own = [
            csr_matrix((column, (rows, self.number)), (self.count, p))
            for column in (moves, self.plate, np.ones(self.count), *slopes)
        ]
        return hstack([*own, diags(self.level[self.number]) @ self.node_weight], format="csr")

    def _solve(self, design, columns, weight, rest):
        """Return (steps of surfaces and of the others, covariance of the others)."""
        scaled = diags(weight) @ design
        own = csc_matrix(design.T @ scaled + self.prior)
        both = (scaled.T @ columns).toarray()
        right = scaled.T @ rest - self.prior @ self.surface
        factor = splu(own, permc_spec="MMD_AT_PLUS_A", options={"SymmetricMode": True})
        eliminated = factor.solve(np.ascontiguousarray(both))
        normal = (columns.T @ diags(weight) @ columns).toarray() + self._beforehand()
        reduced = normal - both.T @ eliminated
        aim = columns.T @ (weight * rest) - self._held()
        cholesky = cho_factor(0.5 * (reduced + reduced.T))
        other = cho_solve(cholesky, aim - eliminated.T @ right)
        surface = factor.solve(right) - eliminated @ other
        inverse = cho_solve(cholesky, np.eye(len(other)))
        return (surface, other), inverse

    def _beforehand(self):
        """Return the precision of all but the surfaces beforehand."""
        s, p = self.settings, self.passes
        same = (s.level_sigma_m, np.nan, s.bias_sigma_m, s.place_sigma_m, s.place_sigma_m)
        sigma = np.repeat(same, p)
        sigma[p : 2 * p] = self.bend_sigma
        own = OWN * p
        precision = np.zeros((own + len(self.nodes),) * 2)
        precision[:own, :own] = np.diag(sigma**-2.0)
        mean = self.pattern.mean_nodes / GAUGE
        precision[own:, own:] = self.pattern.precision + np.outer(mean, mean)
        return precision

    def _numbers(self):
        return np.concatenate([self.level, self.bend, self.bias, self.off.T.ravel(), self.nodes])

    def _held(self):
        return self._beforehand() @ self._numbers()

    def _take(self, step, inverse):
        p = self.passes
        surface, other = step
        numbers = self._numbers() + other
        self.surface = self.surface + surface
        self.level, self.bend, self.bias = numbers[: 3 * p].reshape(3, p)
        self.off = numbers[3 * p : OWN * p].reshape(2, p).T
        self.nodes, self.inverse = numbers[OWN * p :], inverse
        spread = np.diag(inverse)[p : 2 * p]
        self.bend_sigma = np.clip(np.sqrt(self.bend**2 + spread), LEAST_BEND_M, BEND_M)

    def judge(self, robust, last):
        """Find residuals, their scale in each pass, and weights of odd points."""
        design = self._design(0.0)
        self.residual = self.height - self._known(design)
        share = np.abs(self.residual) / self.sigma
        free = max(0.2, 1.0 - len(self.surface) / self.count)
        for k in range(self.passes):
            spread = 1.4826 * np.median(share[self.number == k]) / np.sqrt(free)
            self.scale[k] = max(1.0, spread) if robust else 1.0
        share = share / self.scale[self.number]
        if robust:
            self.weight = np.minimum(1.0, HUBER / np.maximum(share, 1e-9))
            self.weight[(share > GONE) & last] = 0.0

    def solution(self):
        """Return the :class:`PassSolution`, covariance widened by correlation along tracks."""
        p, widened = self.passes, self._correlated()
        kept = np.r_[: 2 * p, OWN * p : len(self.inverse)]
        covariance = self.inverse[np.ix_(kept, kept)] * widened
        used = self.weight > 0.0
        misfit = np.sqrt(np.mean((self.residual[used] / self.sigma[used]) ** 2))
        return PassSolution(
            self.level, self.bend, self.bias, self.nodes, covariance, float(misfit), widened,
            int((~used).sum()),
        )  # fmt: skip

    def _correlated(self):
        """Return 1 + 2 sum of correlations of residuals along tracks, up to where they vanish."""
        value = self.residual / (self.sigma * self.scale[self.number])
        value = np.where(self.weight > 0.0, np.clip(value, -HUBER, HUBER), 0.0)
        same = self.number * (self.track.max() + 1) + self.track
        order = np.lexsort((np.arange(self.count), same))
        value, same = value[order], same[order]
        total = 1.0
        for lag in range(1, LAGS + 1):
            pairs = same[lag:] == same[:-lag]
            found = (value[lag:] * value[:-lag])[pairs].sum() / max((value**2).sum(), 1e-9)
            if found <= 0.0:
                break
            total += 2.0 * found
        return float(total)
