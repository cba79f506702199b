"""What missing antenna variations do to phases, learnt from the residuals by elevation.

Offsets alone leave a pattern over the elevation of several millimetres that all satellites of a
system share. Its mean in steps of elevation is taken out round by round. What a pattern has in
common with the height, the zenith delay and the clock cannot be seen and stays in them.
"""

import numpy as np

STEP_DEG = 5.0  # deg, of the nodes; our choice
ENOUGH_S = 9000.0  # s, of observations at a node that make its mean count half; our choice


class Pattern:
    """Means over elevation by group of satellites; grows with every :meth:`learn`.

    Parameters
    ----------
    elevation_rad : array
        Of each observation.
    group : int array
        The group of each, or of whole columns.
    interval_s : float
        Between epochs.
    """

    def __init__(self, elevation_rad, group, interval_s):
        self.node_deg = np.arange(STEP_DEG / 2, 90.0, STEP_DEG)
        nodes = len(self.node_deg)
        groups, row = np.unique(group, return_inverse=True)
        first = np.broadcast_to(row * nodes, elevation_rad.shape)
        steps = np.nan_to_num(np.degrees(elevation_rad), nan=45.0) / STEP_DEG
        self.mean_m = np.zeros((len(groups), nodes))
        self._enough = ENOUGH_S / interval_s
        self._cell = first + np.clip(steps.astype(int), 0, nodes - 1)
        below = np.clip((steps - 0.5).astype(int), 0, nodes - 2)
        self._below = first + below
        self._share = np.clip(steps - 0.5 - below, 0.0, 1.0)

    @classmethod
    def of(cls, elevation_rad, group, seconds):
        """Return the still empty pattern of observations at epochs (n,) [s]."""
        steps = np.diff(seconds)
        return cls(elevation_rad, group, float(np.median(steps)) if steps.size else ENOUGH_S)

    def learn(self, residual_m):
        """Add the means of residuals, NaN where unused; return this step's values."""
        known = np.isfinite(residual_m)
        cell, size = self._cell[known], self.mean_m.size
        count = np.bincount(cell, minlength=size)
        mean = np.bincount(cell, weights=residual_m[known], minlength=size) / (count + self._enough)
        self.mean_m += mean.reshape(self.mean_m.shape)
        return self._between(mean)

    def values(self):
        """Return all that was learnt of each observation. [m]"""
        return self._between(self.mean_m.ravel())

    def _between(self, mean_m):
        """Return values between the nodes, level beyond the outermost."""
        low = mean_m[self._below]
        return low + self._share * (mean_m[self._below + 1] - low)
