"""Parts of a record measured much more often than the rest: brought to the interval of the rest.

Two days at 30 s in a year by the hour hold as many rows as eight months. Noise learnt from all rows
would be that of these two days, and what the hours hold beside it would pass for jumps. Such rows
become means before noise is learnt, and the shorter part gets the noise that it shows. Records of
one interval, also such as are taken in bursts, come back as they are.
"""

from dataclasses import dataclass, replace

import numpy as np
from scipy.ndimage import median_filter

from ..constants import NS_PER_DAY
from ..errors import SolutionError
from ..time import iso
from .shocks import MAD_TO_SIGMA, second_differences
from .steps import find_steps

NEAR = 25  # distances around one of which the median is the usual one there; our choice
SHARE = 0.1  # -, of the time, from which an interval is that of the whole; our choice
DENSE = 2.0  # -, so many times as often as the rest is dense; our choice
GAP_STEPS = 3.0  # usual distances that one distance counts for at most; our choice
SCATTER_ROWS = 40  # rows of a part from which its own scatter is taken; our choice
NOISIER = 1.25  # -, scatter over sigma, over that of the rest, that is noisier; our choice
FEWEST_BENDS = 20  # second differences from which a part's noise is taken; our choice
MOST_STEP_ROWS = 60_000  # rows of a part in which jumps are looked for; our choice: 3 s
PARTS_TOLD = 3
USUAL_H = 1.0  # h, of means that are safe beside hourly rows: the default of interval_h


@dataclass(frozen=True)
class Brought:
    """Rows (m,) of one interval, the tide that goes with them (m, 3), and what was done."""

    rows: object
    tide: np.ndarray
    notes: tuple = ()


def brought(rows, tide, longest_h, search_steps=True):
    """Return the :class:`Brought` rows of a series: dense parts as means over the rest's interval.

    Where the shorter part scatters more against its sigmas than the other does, they are enlarged.

    Parameters
    ----------
    rows : StationSeries
        In order of time, outliers put aside.
    tide : array, shape (n, 3)
        Rough tide of these rows, east, north, up; it is averaged with them. [m]
    longest_h : float
        No mean over more than this: the interval of the results. [h]
    search_steps : bool
        Look for jumps in the dense parts first, so that no mean holds rows of both sides.

    Notes
    -----
    The interval of the record is the longest at which a tenth of its time was measured, gaps left
    out.
    Means take rows by the inverse trace of their covariances. What scatters from row to row (a
    sixth of the robust variance of second differences) gets smaller in a mean, the rest of the
    covariance does not: errors of hours are common to its rows.
    """
    piece_ns, dense = dense_rows(rows.time_ns, longest_h)
    doubt = _doubt(rows.time_ns, piece_ns)
    if not dense.any():
        return Brought(rows, tide, doubt)
    parts = _parts(dense)
    cut = _cuts(rows, tide, parts, search_steps)
    origin = rows.time_ns[np.argmin(dense)]
    piece = np.floor((rows.time_ns - origin) / piece_ns + 0.5).astype(np.int64)
    begins = ~dense | cut
    begins[1:] |= ~dense[:-1] | (np.diff(piece) > 0)
    first = np.flatnonzero(begins)
    means, tide = _means(rows, tide, first, _white_shares(rows, parts))
    said = (_note(rows, parts, piece_ns), *doubt)
    means_are_few = 2 * dense[first].sum() < len(first)
    few = dense[first] if means_are_few else ~dense[first]
    return _with_own_noise(means, tide, int(piece_ns), few, said)


def record_interval_ns(time_ns):
    """Return the longest distance of rows at which a tenth of a record's time was measured. [ns]"""
    apart = np.diff(time_ns)
    usual = _usual(apart)
    weight = np.minimum(apart, GAP_STEPS * usual)
    order = np.argsort(usual, kind="stable")
    run = np.cumsum(weight[order])
    return float(usual[order][np.searchsorted(run, (1.0 - SHARE) * run[-1])])


def _usual(apart):
    """Return the usual distance around each distance."""
    return median_filter(apart, size=min(NEAR, len(apart)), mode="reflect")


def dense_rows(time_ns, longest_h):
    """Return (length of means [ns], which rows (n,) are dense); a limit of means [h]."""
    dense = np.zeros(len(time_ns), bool)
    if len(time_ns) < 2 * NEAR:
        return 0.0, dense
    usual = _usual(np.diff(time_ns))
    piece_ns = min(record_interval_ns(time_ns), longest_h * NS_PER_DAY / 24.0)
    near = DENSE * usual <= piece_ns
    dense[1:] = near
    dense[:-1] &= near
    dense[0] = near[0]
    return piece_ns, dense if not dense.all() else np.zeros(len(time_ns), bool)


def _doubt(time_ns, piece_ns):
    """Return the sentence on a part that stays denser than the rest, as the settings ask for it."""
    whole_ns, dense = dense_rows(time_ns, USUAL_H)
    if not dense.any() or DENSE * piece_ns > whole_ns:
        return ()
    return (
        f"{int(dense.sum())} positions stay denser than the rest, which lies "
        f"{whole_ns / 3.6e12:.3g} h apart, as interval_h is short: noise is mostly theirs, and "
        f"steps elsewhere may be false; compare with interval_h = {USUAL_H:g}",
    )


def _parts(dense):
    """Return slices of the dense rows that follow each other."""
    edges = np.flatnonzero(np.diff(np.concatenate([[False], dense, [False]]).astype(int)))
    return [slice(int(a), int(b)) for a, b in edges.reshape(-1, 2)]


def _with_own_noise(rows, tide, lag_ns, few, said):
    """Return the :class:`Brought` rows; the few get more sigma where they scatter more."""
    quiet, variance = rows.enu_m - tide, np.einsum("nii->ni", rows.covariance_m2)
    share = []
    for some in (few, ~few):
        bend = second_differences(rows.time_ns[some], quiet[some], lag_ns, lag_ns // 4)
        if len(bend) < FEWEST_BENDS:
            return Brought(rows, tide, said)
        share.append(np.median(np.abs(bend), axis=0) / np.median(np.sqrt(variance[some]), axis=0))
    own, rest = share
    factor = np.where((own > NOISIER * rest) & (rest > 0.0), own / np.where(rest > 0.0, rest, 1), 1)
    if (factor == 1.0).all():
        return Brought(rows, tide, said)
    whole = np.where(few[:, None], factor, 1.0)
    covariance = rows.covariance_m2 * whole[:, :, None] * whole[:, None, :]
    sizes = ", ".join(f"{f:.1f}" for f in factor)
    said = (*said, f"the {int(few.sum())} positions of the shorter part scatter more than the rest "
            f"against their sigmas: these were taken {sizes} times (east, north, up)")  # fmt: skip
    return Brought(replace(rows, covariance_m2=covariance), tide, said)


def _cuts(rows, tide, parts, search_steps):
    """Return which rows (n,) begin a mean: first ones, those after a jump, after a logged step."""
    cut = np.zeros(len(rows.time_ns), bool)
    for part in parts:
        cut[part.start] = True
        if search_steps:
            cut[part] |= _jumps(rows, tide, part)
    for times in rows.logged_ns:
        for time_ns in np.atleast_1d(times):
            cut[np.searchsorted(rows.time_ns, time_ns) :][:1] = True
    return cut


def _jumps(rows, tide, part):
    """Return which rows (k,) of a dense part come right after a jump."""
    after = np.zeros(part.stop - part.start, bool)
    if len(after) > MOST_STEP_ROWS:
        return after
    time_ns, quiet = rows.time_ns[part], (rows.enu_m - tide)[part]
    sigma = np.sqrt(np.einsum("nii->ni", rows.covariance_m2[part]))
    try:
        found = find_steps(time_ns, quiet, sigma)
    except SolutionError:  # too few rows for its noise
        return after
    sudden = [ns for ns, kind in zip(found.after_ns, found.kind, strict=True) if kind != "motion"]
    return np.isin(time_ns, sudden)


def _white_shares(rows, parts):
    """Return (n, 3): of each row's variances what scatters from row to row, over the variance."""
    shares = np.zeros((len(rows.time_ns), 3))
    for part in parts:
        bend = np.diff(rows.enu_m[part], n=2, axis=0)
        apart = np.diff(rows.time_ns[part])
        even = np.abs(np.diff(apart)) < 0.1 * apart[1:]
        if even.sum() >= SCATTER_ROWS:
            own = (MAD_TO_SIGMA * np.median(np.abs(bend[even]), axis=0)) ** 2 / 6.0
            said = np.median(np.einsum("nii->ni", rows.covariance_m2[part]), axis=0)
            shares[part] = own / said
    return shares


def _means(rows, tide, first, share):
    """Return (StationSeries, tide) of means of the rows from each of ``first`` to the next."""
    weight = 1.0 / np.einsum("nii->n", rows.covariance_m2)
    count = np.diff(np.append(first, len(weight)))
    weight /= np.repeat(np.add.reduceat(weight, first), count)
    alone = count == 1

    def mean(values, power=1):
        shaped = (weight**power).reshape(-1, *[1] * (values.ndim - 1))
        found = np.add.reduceat(shaped * values, first, axis=0)
        found[alone] = values[first[alone]]
        return found

    since = mean((rows.time_ns - rows.time_ns[0]).astype(float))
    time_ns = rows.time_ns[0] + np.round(since).astype(np.int64)
    time_ns[alone] = rows.time_ns[first[alone]]
    white = np.sqrt(share[first])[:, :, None] * np.sqrt(share[first])[:, None, :]
    stays = np.sqrt(np.maximum(1.0 - share[first], 0.0))
    stays = stays[:, :, None] * stays[:, None, :]
    covariance = white * mean(rows.covariance_m2, 2) + stays * mean(rows.covariance_m2)
    covariance[alone] = rows.covariance_m2[first[alone]]
    means = replace(rows, time_ns=time_ns, enu_m=mean(rows.enu_m), covariance_m2=covariance)
    return means, mean(tide)


def _note(rows, parts, piece_ns):
    """Return the sentence on what was averaged."""
    spans = [
        f"{iso(rows.time_ns[p.start])} to {iso(rows.time_ns[p.stop - 1])} every "
        f"{np.median(np.diff(rows.time_ns[p])) / 1e9:.0f} s"
        for p in parts[:PARTS_TOLD]
    ]
    more = f" and {len(parts) - PARTS_TOLD} parts more" if len(parts) > PARTS_TOLD else ""
    count = sum(p.stop - p.start for p in parts)
    return (
        f"{count} positions taken more often than the rest ({', '.join(spans)}{more}) were used as "
        f"means over {piece_ns / 3.6e12:.3g} h, so that noise is that of the whole record; an "
        "interval_h shorter than that takes shorter means"
    )
