"""Positions made ready for the smoother: outliers put aside, steps removed, flow coordinates."""

from dataclasses import dataclass, replace

import numpy as np
from scipy.stats import chi2

from ..earth.ellipsoid import geodetic_from_xyz, xyz_from_enu, xyz_from_geodetic
from ..errors import SolutionError, StakelineError
from .cleaning import ALONE, KEPT, PROTECTED, Cleaned, find_outliers
from .dense_parts import brought, dense_rows
from .flow import FlowPath, along_path, fixed_path, smooth_path, straight_path
from .likelihood import thinned
from .one_axis import LEAST_FOR_NOISE, too_short_for_tides, usual_model
from .station_series import StationSeries
from .steps import Steps, find_steps, moved_by_hand, rotated, step_design
from .tide_terms import major_tide, rough_tide

STEP_ROWS = 20_000  # rows in which steps are searched, above that means are taken; our choice
NOTHING_LEFT = 1e-3  # chance of so large a size by noise, above which it is no step; our choice
GONE = "estimated together with the motion nothing is left of it"
LEAST_USED = 8  # our choice


@dataclass(frozen=True)
class Prepared:
    """Rows used (n,) in flow coordinates, without equipment steps, and what was done to them."""

    rows: StationSeries
    flow_m: np.ndarray
    sigma_m: np.ndarray
    azimuth_rad: np.ndarray
    path: FlowPath
    steps: Steps
    cleaned: Cleaned
    warnings: tuple
    notes: tuple = ()


def prepared(rows, settings, refine):
    """Return the :class:`Prepared` of tidy rows (:func:`~stakeline.motion.station_series.tidied`).

    Parameters
    ----------
    rows : StationSeries
    settings : MotionSettings
    refine : callable
        ``refine(Prepared)`` returns three models. Where steps were found that no log names, they
        are judged again by these: a rough model takes fast motion, of a lake, for steps.

    Raises
    ------
    SolutionError
        Where fewer than eight positions are left.
    """
    keep, cleaned, tide = _cleaned(rows, settings)
    rows = replace(
        rows,
        time_ns=rows.time_ns[keep],
        enu_m=rows.enu_m[keep],
        covariance_m2=rows.covariance_m2[keep],
    )
    even = brought(rows, tide[keep], settings.interval_h, settings.find_steps)
    rows, tide = even.rows, even.tide
    rough = _steps(rows, tide, settings, None)
    first = replace(_in_flow(rows, tide, rough, cleaned, settings), notes=even.notes)
    if not (~first.steps.only("equipment").logged).any():
        return first
    tide = _tide_beside(rows, rough, settings)
    steps = _steps(rows, tide, settings, refine(first))
    return replace(_in_flow(rows, tide, steps, cleaned, settings), notes=even.notes)


def _tide_beside(rows, found, settings):
    """Return the tide (n, 3) east, north, up of rows whose equipment steps are taken off.

    A step of metres that stays in would pass for a tide of centimetres, and the tide put in with
    it for jumps each day.
    """
    if too_short_for_tides(rows.time_ns, settings):
        return np.zeros_like(rows.enu_m)
    enu = _without_equipment(rows, *found)
    sigma = np.sqrt(np.einsum("nii->ni", rows.covariance_m2))
    tides = [rough_tide(rows.time_ns, enu[:, k], sigma[:, k])[0] for k in range(3)]
    return np.stack(tides, axis=1)


def _in_flow(rows, tide, found, cleaned, settings):
    """Return the Prepared of rows from which equipment steps were taken."""
    steps, azimuth = found
    enu = _without_equipment(rows, steps, azimuth)
    path, said = _path(rows.time_ns, enu - tide, settings)
    flow = along_path(path, enu, rows.covariance_m2)
    sigma = np.sqrt(np.einsum("nii->ni", flow.covariance_m2))
    # the direction in which they were sought holds the resets themselves
    steps = rotated(steps, 0.5 * np.pi + azimuth - path.azimuth_rad)
    return Prepared(
        rows, flow.flow_m, sigma, flow.azimuth_rad, path, steps, cleaned, (*said, *path.warnings)
    )


def _without_equipment(rows, steps, azimuth):
    """Return east, north, up (n, 3) without the equipment's steps along a flow of this azimuth."""
    moved = rotated(steps.only("equipment"), azimuth).size_m
    return rows.enu_m - equipment_design(rows.time_ns, steps) @ moved


def places_of(ready, grid_ns, hidden):
    """Return latitude and longitude (m,) of the station's path at times; None where not known.

    Parameters
    ----------
    ready : Prepared
    grid_ns : array (m,)
        [ns]
    hidden : array (m,) of bool
        Times in gaps, at which the places are NaN.
    """
    rows = ready.rows
    origin = rows.latitude_rad, rows.longitude_rad, rows.height_m
    if not np.isfinite(origin).all():
        return None
    enu = _without_equipment(rows, ready.steps, ready.path.azimuth_rad)
    at = np.stack([np.interp(grid_ns, rows.time_ns, enu[:, k]) for k in range(3)], axis=1)
    xyz = xyz_from_geodetic(*origin) + xyz_from_enu(at, *origin[:2])
    latitude, longitude, _ = geodetic_from_xyz(xyz)
    return np.where(hidden, np.nan, latitude), np.where(hidden, np.nan, longitude)


def equipment_design(time_ns, steps):
    """Return the regressors (n, k) of the steps that the equipment made."""
    return step_design(time_ns, steps.only("equipment"))


def with_joint_sizes(steps, axes):
    """Return steps whose equipment sizes are those estimated together with the motion.

    Parameters
    ----------
    steps : Steps
    axes : sequence of AxisMotion
        Along, across and up; axes are taken as independent.
    """
    chosen = [j for j, kind in enumerate(steps.kind) if kind == "equipment"]
    size, covariance = steps.size_m.copy(), steps.covariance_m2.copy()
    for k, axis in enumerate(axes):
        rows = [3 * j + k for j in chosen]
        size[chosen, k] += axis.step_m
        covariance[rows, :] = covariance[:, rows] = 0.0
        covariance[np.ix_(rows, rows)] = axis.step_covariance_m2
    steps = replace(steps, size_m=size, covariance_m2=covariance)
    misfit = (size**2 / np.maximum(steps.sigma_m, 1e-12) ** 2).sum(axis=1)
    gone = [j for j in chosen if not steps.logged[j] and misfit[j] < chi2.isf(NOTHING_LEFT, 3)]
    return replace(
        steps,
        kind=tuple("undecided" if j in gone else kind for j, kind in enumerate(steps.kind)),
        reason=tuple(GONE if j in gone else why for j, why in enumerate(steps.reason)),
        chi_square=np.where(np.isin(np.arange(len(steps)), chosen), misfit, steps.chi_square),
    )


def _cleaned(rows, settings):
    """Return (rows to keep (n,), Cleaned, rough tide (n, 3)).

    Rows of hands are put aside, then spikes, then those that stand off once the tide is out.
    """
    options = {
        "longest_gap_d": settings.longest_gap_d,
        "threshold": settings.outlier_threshold,
        "largest_sigma_m": settings.largest_sigma_m,
        "dense": dense_rows(rows.time_ns, settings.interval_h)[1],
        "protect": moved_by_hand(rows.time_ns, rows.protect_ns) if rows.protect_ns else None,
    }
    time_ns, sigma = rows.time_ns, np.sqrt(np.einsum("nii->ni", rows.covariance_m2))
    held = moved_by_hand(time_ns, rows.by_hand_ns)
    position, tide = np.where(held[:, None], np.nan, rows.enu_m), np.zeros_like(rows.enu_m)
    found = find_outliers(time_ns, position, sigma, **options)
    if not too_short_for_tides(time_ns[found.keep], settings):
        good = found.keep
        for k in range(3):
            tide[good, k] = major_tide(time_ns[good], position[good, k], sigma[good, k])
        found = _both(found, time_ns, np.where(good[:, None], position - tide, np.nan), sigma,
                      options)  # fmt: skip
    if found.keep.sum() < LEAST_USED:
        raise SolutionError(
            f"{rows.station}: {int(found.keep.sum())} positions are left after outliers were put "
            f"aside; motion needs {LEAST_USED}"
        )
    return found.keep, found, tide


def _both(first, time_ns, quiet, sigma, options):
    """Return the Cleaned of a second look at what the first has kept."""
    second = find_outliers(time_ns, quiet, sigma, **options)
    counts = dict(second.counts)
    for name, count in first.counts.items():
        if name in ("missing", "uncertain"):
            counts[name] = count
        elif name in ("spike", "edge"):
            counts[name] += count
    saved = first.reason == PROTECTED
    reason = np.where(first.keep & ~saved, second.reason, first.reason)
    counts["protected"] += int((saved & (second.reason != PROTECTED)).sum())
    counts["kept"] -= int((saved & (second.reason == KEPT)).sum())
    counts["alone"] -= int((saved & (second.reason == ALONE)).sum())
    return replace(second, keep=second.keep & first.keep, reason=reason, counts=counts)


def _steps(rows, tide, settings, models):
    """Return (Steps along, across, up of the mean flow, its azimuth)."""
    path = _straight(rows.time_ns, rows.enu_m - tide, settings)
    flow = along_path(path, rows.enu_m - tide, rows.covariance_m2)
    time_ns, quiet = rows.time_ns, flow.flow_m
    sigma = np.sqrt(np.einsum("nii->ni", flow.covariance_m2))
    if len(time_ns) > STEP_ROWS:
        time_ns, quiet, sigma = _means(time_ns, quiet, sigma)
    usual = [usual_model(sigma[:, k], 1) for k in range(3)]
    many = len(time_ns) >= LEAST_FOR_NOISE
    options = {"logged_ns": rows.logged_ns, "search_unlogged": settings.find_steps and many}
    try:
        chosen = models if many else usual
        found = find_steps(time_ns, quiet, sigma, chosen, **options)
    except SolutionError:  # no rows at equal distances: the noise is taken as usual
        options["search_unlogged"] = False
        found = find_steps(time_ns, quiet, sigma, usual, **options)
    return found, path.azimuth_rad


def _means(time_ns, position, sigma):
    """Return means of equal pieces of time: times, positions, sigmas."""
    parts = [thinned(time_ns, position[:, k], sigma[:, k], None, STEP_ROWS)[:3] for k in range(3)]
    return (
        parts[0][0],
        np.stack([part[1] for part in parts], axis=1),
        np.stack([part[2] for part in parts], axis=1),
    )


def _straight(time_ns, enu_m, settings):
    if settings.path == "fixed":
        return fixed_path(np.radians(settings.azimuth_deg))
    return straight_path(time_ns, enu_m)


def _path(time_ns, enu_m, settings):
    """Return (FlowPath, notes): a bending path that cannot be followed becomes a straight one."""
    if settings.path != "bending":
        return _straight(time_ns, enu_m, settings), ()
    try:
        return smooth_path(time_ns, enu_m), ()
    except StakelineError as problem:
        return straight_path(time_ns, enu_m), (f"the mean direction is used: {problem}",)
