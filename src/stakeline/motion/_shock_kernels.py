"""Compiled loop of the search for steps. Plain arrays, no checks, nothing allocated."""

from ..compiling import njit
from ._kernels import measured_back, step_back


@njit
def shocks(steps, gains, innovations, totals, adjoint, weight, work, score, power):
    """Fill score (n, c) and power (n): what the rows from k on say of a step that begins at row k.

    With a step regressor x, the inverse covariance W and the columns Y (n, c) of regressors and
    data, score is ``x' W Y`` and power ``x' W x``: the adjoint and weight of the position on the
    way back (de Jong & Penzer 1998, J. Am. Stat. Assoc. 93, 796, section 2).
    """
    for k in range(totals.size - 1, -1, -1):
        if totals[k] > 0.0:
            measured_back(gains[k], innovations[k], totals[k], adjoint, weight, work)
        for c in range(adjoint.shape[1]):
            score[k, c] = -adjoint[0, c]
        power[k] = weight[0, 0]
        step_back(steps[k], adjoint, weight)
