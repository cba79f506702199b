"""Where a station sees most of a lake, what it can see there, and how long the ice leaves it there.

A place is judged by its share (what the surface does for 1 m of mean change of the roof, see
:mod:`~stakeline.lakes.response`) over the noise of a station. Outlines and the ice's answer are not
known exactly: every figure comes from a sample of outlines and methods, all alike likely.
"""

from dataclasses import dataclass

import numpy as np
from scipy import ndimage
from scipy.interpolate import RegularGridInterpolator
from scipy.special import ndtri

from ..errors import SettingsError
from .curve import ramp
from .outline import Outline
from .surface import share_map
from .whitening import Whitener, taken_out

RANGE = (0.05, 0.5, 0.95)  # -, shares of the sample that stand beside a figure; choice
LEVEL = 0.02  # -, of gain, within which places count as equal; choice
LEAST_OUTSIDE = 0.02  # -, share up to which a place shows nothing of a lake; choice
STAY_STEPS = 24  # of the way of a station during its stay; choice
UNLIKE_SPEED = 0.1  # -, difference of speed that weighs as much as UNLIKE_M of distance; choice
UNLIKE_M = 10e3  # m, over which tide and weather are much the same; choice


@dataclass(frozen=True, eq=False)
class ShareSample:
    """Maps of the share, one of each outline and method.

    Attributes
    ----------
    outline : Outline
        The best one: its map and its centre, from which true metres count.
    outlines : tuple of Outline
        That of each map.
    axis_m : array, shape (n,)
        True metres from the centre, the same along both axes of the map. [m]
    share : array, shape (k, n, n)
        By map, place along x, place along y.
    """

    outline: Outline
    outlines: tuple
    axis_m: np.ndarray
    share: np.ndarray

    def at(self, true_m):
        """Return the shares (k, p) at places (p, 2); 0 off the map."""
        return np.array([self._reader(one)(true_m) for one in self.share])

    def _reader(self, values):
        axes = (self.axis_m, self.axis_m)
        return RegularGridInterpolator(axes, values, bounds_error=False, fill_value=0.0)

    @property
    def place_m(self):
        """Places of the maps (n, n, 2), true metres from the centre. [m]"""
        return np.stack(np.meshgrid(self.axis_m, self.axis_m, indexing="ij"), axis=-1)


@dataclass(frozen=True)
class Drift:
    """How the ice carries a station: true metres a day along the axes of the map.

    ``velocity_m_d`` (2,): at the lake. ``sigma_m_d`` (2,): by how much it may be wrong; 0: known.
    """

    velocity_m_d: tuple = (0.0, 0.0)
    sigma_m_d: tuple = (0.0, 0.0)

    def __post_init__(self):
        numbers = np.array([*self.velocity_m_d, *self.sigma_m_d], float)
        if numbers.shape != (4,) or not np.isfinite(numbers).all() or (numbers[2:] < 0.0).any():
            raise SettingsError(
                f"{self}: expected two finite velocities and their sigmas of 0 or more, in m/d"
            )

    @property
    def speed_m_d(self):
        """Speed. [m/d]"""
        return float(np.hypot(*self.velocity_m_d))


@dataclass(frozen=True, eq=False)
class Place:
    """A place for a station, with what is known of it; ranges (3,) are quantiles ``RANGE``.

    Attributes
    ----------
    map_m, true_m : arrays, shape (2,)
        On the outline's map; true metres from its centre. [m]
    share, stay_share : arrays, shape (3,)
        At the beginning, and on average over the stay.
    margin_m : array, shape (3,)
        True distance inside the margin; negative outside. [m]
    dwell_d : array, shape (3,)
        Days until the ice has carried it over the margin; 0 outside, infinite where nothing
        moves. [d]
    """

    map_m: np.ndarray
    true_m: np.ndarray
    share: np.ndarray
    stay_share: np.ndarray
    margin_m: np.ndarray
    dwell_d: np.ndarray


def share_sample(outlines, ice, methods, cells=96):
    """Return the :class:`ShareSample` of outlines (the best one first), each by every method.

    Parameters
    ----------
    outlines : sequence of Outline
        Of one map, e.g. the best and some of :func:`~stakeline.lakes.outline.drawn_outlines`.
    ice : Ice
    methods : sequence of str
        Of :data:`~stakeline.lakes.response.METHODS`, but those that bend nothing.
    cells : int
        Of each map along a side.

    Raises
    ------
    SettingsError
        Without an outline or a method, or as :func:`~stakeline.lakes.surface.share_map`.
    """
    outlines, methods = tuple(outlines), tuple(methods)
    if not outlines or not methods:
        raise SettingsError(
            f"{len(outlines)} outlines and {len(methods)} methods; expected one or more of each"
        )
    best = outlines[0]
    maps = [(one, share_map(one, ice, m, cells=cells)) for m in methods for one in outlines]
    half = max(np.abs(np.concatenate(drawn[:2])).max() for _, drawn in maps)
    axis = np.linspace(-half, half, cells + 1 - cells % 2)
    place = np.stack(np.meshgrid(axis, axis, indexing="ij"), axis=-1)
    shares = []
    for one, (east, north, share) in maps:
        read = RegularGridInterpolator((east, north), share, bounds_error=False, fill_value=0.0)
        shares.append(read(one.true_m(best.map_m(place))))
    return ShareSample(best, tuple(one for one, _ in maps), axis, np.array(shares))


def best_place(sample, drift=None, stay_d=0.0, rng=None):
    """Return the :class:`Place` over a lake where a station sees most of it.

    The mean share over the stay, as the ice carries the station on, is greatest there in the mean
    of the sample. Among places that are equal within :data:`LEVEL` (a wide lake moves as a block)
    it is one in the middle of them, well inside.

    Parameters
    ----------
    sample : ShareSample
    drift : Drift, optional
    stay_d : float
        How long the station is to watch. [d]
    rng : numpy.random.Generator, optional
        For velocities that may be wrong.

    Raises
    ------
    SettingsError
        For a negative or infinite stay, or a lake that the surface shows nowhere.
    """
    drift = drift or Drift()
    mean = sample.share.mean(axis=0)
    gain = _over_the_stay(sample, mean, drift, stay_d)
    inside = sample.outline.contains(sample.outline.map_m(sample.place_m.reshape(-1, 2)))
    gain = np.where(inside.reshape(gain.shape), gain, -np.inf)
    best = gain.max()
    if not best > 0.0:
        raise SettingsError(
            f"lake '{sample.outline.name}': no place over it shows its roof in the sample of "
            "outlines and methods; look at outline and thickness"
        )
    return judged_place(sample, _middle_of_the_best(sample, gain, best), drift, stay_d, rng)


def _middle_of_the_best(sample, gain, best):
    """Return the place (2,) nearest to the middle of all equal ones, well inside them."""
    equal = gain >= (1.0 - LEVEL) * best
    inner = ndimage.distance_transform_edt(equal)
    place = sample.place_m[inner >= inner.max() - 1.0]
    away = np.hypot(*(place - sample.place_m[equal].mean(axis=0)).T)
    return place[np.argmin(away)]


def _over_the_stay(sample, mean, drift, stay_d):
    """Return the mean share (n, n) over a stay that begins at each place."""
    if not 0.0 <= stay_d < np.inf:
        raise SettingsError(f"a stay of {stay_d} days; expected 0 or more")
    read, total = sample._reader(mean), np.zeros_like(mean)
    for moved_m in _ways(drift, stay_d):
        total += read(sample.place_m + moved_m)
    return total / STAY_STEPS


def _ways(drift, stay_d):
    """Return how far the ice has gone (STAY_STEPS, 2) at even times of a stay. [m]"""
    time = stay_d * (np.arange(STAY_STEPS) + 0.5) / STAY_STEPS
    return time[:, None] * np.asarray(drift.velocity_m_d, float)


def judged_place(sample, true_m, drift=None, stay_d=0.0, rng=None):
    """Return the :class:`Place` of any place (2,), true metres from the centre."""
    drift, true = drift or Drift(), np.asarray(true_m, float)
    on_map = sample.outline.map_m(true)
    way = true + _ways(drift, stay_d)
    velocity = np.broadcast_to(np.asarray(drift.velocity_m_d, float), (len(sample.outlines), 2))
    if rng is not None:
        velocity = velocity + drift.sigma_m_d * rng.standard_normal(velocity.shape)
    margin = [one.margin_m(on_map)[0] for one in sample.outlines]
    dwell = [dwell_d(o, on_map, v) for o, v in zip(sample.outlines, velocity, strict=True)]
    return Place(
        on_map, true, np.quantile(sample.at(true[None])[:, 0], RANGE),
        np.quantile(sample.at(way).mean(axis=1), RANGE), np.quantile(margin, RANGE),
        np.quantile(dwell, RANGE, method="nearest"),
    )  # fmt: skip


def dwell_d(outline, map_m, velocity_m_d):
    """Return the days until the ice has carried a place (2,) over the margin of a lake.

    The length of the chord from the place along the flow over the speed, velocity held. 0 where
    the place lies outside; infinite where nothing moves. An island of grounded ice ends it too.

    Parameters
    ----------
    outline : Outline
    map_m : array, shape (2,)
        On the outline's map. [m]
    velocity_m_d : array, shape (2,)
        True metres a day along the axes of the map.
    """
    place, velocity = outline.true_m(map_m), np.asarray(velocity_m_d, float)
    speed = np.hypot(*velocity)
    if not outline.contains(map_m)[0]:
        return 0.0
    if speed == 0.0:
        return np.inf
    chords = [
        _first_crossing_m(outline.true_m(r), place, velocity / speed) for r in outline.rings_m
    ]
    return float(min(chords) / speed)


def _first_crossing_m(ring, place, along):
    """Return how far along a direction a ring (k, 2) is first met; infinite where it is not."""
    local = (ring - place) @ np.array([[along[0], -along[1]], [along[1], along[0]]])
    ahead = np.roll(local, -1, axis=0)
    crossed = (local[:, 1] > 0.0) != (ahead[:, 1] > 0.0)
    start, end = local[crossed], ahead[crossed]
    reach = start[:, 0] - start[:, 1] * (end[:, 0] - start[:, 0]) / (end[:, 1] - start[:, 1])
    return np.min(reach, where=reach > 0.0, initial=np.inf)


def control_place(sample, beside_m, drift=None, stay_d=0.0, *, speed_m_d=None, allowed=None):
    """Return the :class:`Place` for a control: it sees nothing of the lake but all the rest.

    Share at most :data:`LEAST_OUTSIDE` in 95 of 100 of the sample all through its stay, and then
    as like the station as can be: near, so that tide and weather are the same, and at its speed.

    Parameters
    ----------
    sample : ShareSample
    beside_m : array, shape (2,)
        The station that it is to control, true metres from the centre. [m]
    drift, stay_d
        As for :func:`best_place`.
    speed_m_d : function, optional
        From places (p, 2) in true metres to speeds (p,); NaN where there is no ice. Where it is
        given, a difference of 10 % weighs as much as 10 km. [m/d]
    allowed : function, optional
        From places (p, 2) to True where a station may stand, such as off the water's way.

    Raises
    ------
    SettingsError
        Where the map holds no such place.
    """
    drift, place = drift or Drift(), sample.place_m.reshape(-1, 2)
    seen = np.zeros(len(place))
    for moved_m in _ways(drift, stay_d)[:: STAY_STEPS // 6]:
        shares = np.abs(sample.at(place + moved_m))
        seen = np.maximum(seen, np.quantile(shares, RANGE[2], axis=0))
    inside = (np.abs(place + _ways(drift, stay_d)[-1]) <= sample.axis_m[-1]).all(axis=1)
    good = inside & (seen <= LEAST_OUTSIDE)
    good &= True if allowed is None else np.asarray(allowed(place), bool)
    unlike = (np.hypot(*(place - beside_m).T) / UNLIKE_M) ** 2
    if speed_m_d is not None:
        speed, own = speed_m_d(place), speed_m_d(np.asarray(beside_m, float)[None])[0]
        good &= np.isfinite(speed)
        unlike += (np.where(good, speed / own - 1.0, np.inf) / UNLIKE_SPEED) ** 2
    if not good.any():
        raise SettingsError(
            f"lake '{sample.outline.name}': every place within {sample.axis_m[-1] / 1e3:.0f} km "
            f"shows more than {LEAST_OUTSIDE:g} of it, or is not allowed: no control can be placed"
        )
    return judged_place(sample, place[np.argmin(np.where(good, unlike, np.inf))], drift, stay_d)


def change_sigma_m(model, white_sigma_m, duration_d, before_d, after_d, step_d=0.25):
    """Return the sigma of a change of height of known time, from one station's series. [m]

    Least squares with an offset, a line and an even ramp under the noise given, so that a drift of
    the ice's height is told from the change.

    Parameters
    ----------
    model : MotionModel
        Noise of the up axis, such as the verb ``motion`` finds.
    white_sigma_m : float
        Of one row, before the model's ``white_scale``. [m]
    duration_d, before_d, after_d : float
        Length of the change, and of the record about it. [d]
    step_d : float
        Between rows. [d]

    Raises
    ------
    SettingsError
        For lengths that are not positive, or fewer than two rows before or after.
    """
    day, whiten = _record(model, white_sigma_m, duration_d, before_d, after_d, step_d)
    columns = np.column_stack([np.ones(day.size), day, ramp(day / duration_d, 1.0, 1.0)])
    return _alone(whiten(columns))


def onset_sigma_d(model, white_sigma_m, duration_d, before_d, after_d, step_d=0.25):
    """Return the sigma of the onset of a change of 1 m of height, from one station's series. [d]

    Over the change it goes as one over it. As :func:`change_sigma_m`, with size, onset and end all
    unknown: to first order, for changes far above the noise.
    """
    day, whiten = _record(model, white_sigma_m, duration_d, before_d, after_d, step_d)
    inside = ((day > 0.0) & (day < duration_d)).astype(float)
    late = inside * day / duration_d  # what a later end does; the rest is what a later onset does
    columns = [np.ones(day.size), day, ramp(day / duration_d, 1.0, 1.0), late, inside - late]
    return duration_d * _alone(whiten(np.column_stack(columns)))


def _record(model, white_sigma_m, duration_d, before_d, after_d, step_d):
    """Return (days (n,) since the onset, Whitener of them); SettingsError for odd lengths."""
    lengths = np.array([duration_d, before_d, after_d, step_d, white_sigma_m], float)
    if not (np.isfinite(lengths) & (lengths > 0.0)).all() or min(before_d, after_d) < step_d:
        raise SettingsError(
            f"a change over {duration_d:g} d, {before_d:g} d of record before and {after_d:g} d "
            f"after, a row each {step_d:g} d, {white_sigma_m:g} m: expected positive numbers, and "
            "more than a row on either side"
        )
    day = np.arange(-before_d, duration_d + after_d + 0.5 * step_d, step_d)
    return day, Whitener(day, np.full(day.size, float(white_sigma_m)), model)


def _alone(white):
    """Return the sigma of the number of the last column (n, k), the others unknown."""
    _, rest = taken_out(white[:, :-1], white[:, -1:])
    return float(1.0 / np.linalg.norm(rest))


def seen_amplitude_m(share, sigma_m, false_alarm=0.01, power=0.9):
    """Return the least mean change of the roof that a station sees, where it is so sure. [m]

    ``(z(1 - false_alarm / 2) + z(power)) sigma / share``: the two-sided test of a normal value
    (textbook, e.g. Cohen 1988, Statistical Power Analysis, chapter 2). Infinite for no share.

    Parameters
    ----------
    share : array
        Of :attr:`Place.stay_share`.
    sigma_m : float
        Of :func:`change_sigma_m`. [m]
    false_alarm, power : float
        How often noise alone may look like it, and how often it is to be seen.
    """
    if not (0.0 < false_alarm < 1.0 and 0.0 < power < 1.0 and 0.0 <= sigma_m < np.inf):
        raise SettingsError(
            f"false alarm {false_alarm:g}, power {power:g}, sigma {sigma_m:g} m; expected shares "
            "between 0 and 1 and a sigma of 0 or more"
        )
    times = ndtri(1.0 - 0.5 * false_alarm) + ndtri(power)
    share = np.asarray(share, float)
    seen = share > 0.0
    return np.where(seen, times * sigma_m / np.where(seen, share, 1.0), np.inf)
