"""What missing antenna variations do to phases, learnt from the residuals by elevation.

Offsets alone leave a pattern over the elevation of several millimetres that all satellites of a
system share. Its mean in steps of elevation is taken out round by round. What a pattern has in
common with the height, the zenith delay and the clock cannot be seen and stays in them.
"""

import numpy as np

STEP_DEG = 5.0  # deg, of the nodes; our choice
ENOUGH_S = 9000.0  # s, of observations at a node that make its mean count half; our choice


class Pattern:
    """Means over elevation by group of satellites; grows with every :meth:`learn`."""

    def __init__(self, elevation_rad, group, interval_s):
        self.node_deg = np.arange(STEP_DEG / 2, 90.0, STEP_DEG)
        degrees = np.nan_to_num(np.degrees(elevation_rad), nan=45.0)
        self.groups = [np.flatnonzero(group == g) for g in np.unique(group)]
        self.mean_m = np.zeros((len(self.groups), len(self.node_deg)))
        self._degrees, self._enough = degrees, ENOUGH_S / interval_s
        self._node = np.clip((degrees / STEP_DEG).astype(int), 0, len(self.node_deg) - 1)

    @classmethod
    def of(cls, problem):
        """Return the still empty pattern of a problem."""
        steps = np.diff(problem.seconds)
        interval_s = float(np.median(steps)) if steps.size else ENOUGH_S
        return cls(problem.elevation_rad, problem.group, interval_s)

    def learn(self, residual_m):
        """Add the means of residuals (n, m), NaN where unused; return this step's values (n, m)."""
        step = np.zeros_like(residual_m)
        for g, columns in enumerate(self.groups):
            part = residual_m[:, columns]
            known = np.isfinite(part)
            node = self._node[:, columns][known]
            count = np.bincount(node, minlength=len(self.node_deg))
            total = np.bincount(node, weights=part[known], minlength=len(self.node_deg))
            mean = total / (count + self._enough)
            self.mean_m[g] += mean
            step[:, columns] = np.interp(self._degrees[:, columns], self.node_deg, mean)
        return step

    def values(self):
        """Return all that was learnt, (n, m) [m]."""
        total = np.zeros_like(self._degrees)
        for mean, columns in zip(self.mean_m, self.groups, strict=True):
            total[:, columns] = np.interp(self._degrees[:, columns], self.node_deg, mean)
        return total
