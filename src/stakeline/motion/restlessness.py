"""How restless a velocity is, part by part of a record: calm winters, floods, summers.

One intensity for a whole record is too stiff for a flood and too loose for calm, and what does not
fit it is then taken for noise of the positions. Filters of several intensities run side by side;
the path through them, piece of time by piece, that is likeliest at a fixed chance of change is
found by dynamic programming (Viterbi 1967, IEEE Trans. IT-13, 260). Linear in the rows.
"""

from dataclasses import replace

import numpy as np

from ..constants import NS_PER_DAY
from .likelihood import thinned
from .smoother import likelihood_by_part

PIECE_D = 4.0  # d, in each of which the intensity is one; our choice: a flood's rise and fall
FACTOR = 4.0  # between neighbouring intensities, half that of velocities; our choice
LEVELS = np.arange(-6, 7)  # powers of the factor about the middle; our choice: 2e-8 to 0.4
MIDDLE_Q = 1e-4  # (m/d)^2/d; our choice
CHANGE = 0.1  # -, chance of another intensity in the next piece; our choice
FEWEST_PIECES, MOST_PIECES = 3, 1_000  # our choice; in records above 11 a pieces are longer
ROWS = 2_000  # the series is thinned to; our choice: 0.03 s


def in_parts(time_ns, position_m, sigma_m, model, design):
    """Return the model with the intensity q of each part of the record.

    Parameters
    ----------
    time_ns, position_m, sigma_m, design
        As for :func:`stakeline.motion.smoother.smooth`.
    model : MotionModel
        Its noise is kept; intensities are its own times powers of 4, from 2e-8 to 0.4 (m/d)^2/d.

    Returns
    -------
    MotionModel
        Without changes where one intensity serves the whole record, or that is below 12 d.
    """
    time_ns, position, sigma, design, _ = thinned(time_ns, position_m, sigma_m, design, ROWS)
    piece = max(round(PIECE_D * NS_PER_DAY), int(time_ns[-1] - time_ns[0]) // MOST_PIECES)
    edges = np.arange(time_ns[0] + piece, time_ns[-1] - piece // 2, piece)
    if len(edges) + 1 < FEWEST_PIECES:
        return model.even
    own = model.acceleration_m2_d3
    levels = own * FACTOR ** (LEVELS + np.round(np.log(MIDDLE_Q / own) / np.log(FACTOR)))
    once = {"change_ns": tuple(edges.tolist()), "change_factor": (1.0,) * len(edges)}
    likelihood = [
        likelihood_by_part(
            time_ns, position, sigma, replace(model, acceleration_m2_d3=float(q), **once), design
        )
        for q in levels
    ]
    rows = np.bincount(np.searchsorted(edges, time_ns, side="right"), minlength=len(edges) + 1)
    path = through_gaps(likeliest_path(np.transpose(likelihood)), rows)
    return _with_levels(model, edges, levels[path])


def through_gaps(path, rows):
    """Return the path (n,) where pieces without rows have the level of the one after them.

    Its first row is what tells how far the velocity went meanwhile.
    """
    there = np.where(np.asarray(rows) > 0, np.arange(len(path)), len(path) - 1)
    return path[np.minimum.accumulate(there[::-1])[::-1]]


def likeliest_path(likelihood, change=CHANGE):
    """Return the level (n,) of each piece by the log likelihoods (n, k) of all levels there.

    A change to any other level from one piece to the next has the chance ``change``, shared out
    evenly.
    """
    count = likelihood.shape[1]
    step = np.full((count, count), np.log(change / (count - 1)))
    np.fill_diagonal(step, np.log(1.0 - change))
    best, origins = likelihood[0], []
    for here in likelihood[1:]:
        total = best[:, None] + step
        origins.append(total.argmax(axis=0))
        best = total.max(axis=0) + here
    path = [int(best.argmax())]
    for origin in reversed(origins):
        path.append(int(origin[path[-1]]))
    return np.array(path[::-1])


def _with_levels(model, edges, q):
    """Return the model with the intensities (n,) of pieces; neighbours of one kind are joined."""
    changed = np.flatnonzero(np.diff(q)) + 1
    return replace(
        model,
        acceleration_m2_d3=float(q[0]),
        change_ns=tuple(edges[changed - 1].tolist()),
        change_factor=tuple((q[changed] / q[0]).tolist()),
    )


def usual_part(model, first_ns, last_ns):
    """Return the model, without changes, of the intensity that holds for most of a record."""
    ends = np.array([first_ns, *model.change_ns, last_ns], np.int64)
    factors, place = np.unique((1.0, *model.change_factor), return_inverse=True)
    longest = np.bincount(place, np.diff(ends).clip(0)).argmax()
    return _times(model, factors[longest])


def restless_part(model):
    """Return the model, without changes, of the largest intensity."""
    return _times(model, max((1.0, *model.change_factor)))


def _times(model, factor):
    q = model.acceleration_m2_d3 * factor
    return replace(model.even, acceleration_m2_d3=float(q))
