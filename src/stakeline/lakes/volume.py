"""From the change of the surface at stations to the volume of water and its discharge.

Volume is area times the mean change of the roof. Outline, thickness, viscosity, the bed's hold and
the course of the event are drawn together, and each draw counts by how well it makes the stations
over the lake agree; what is left is the range that the stations cannot narrow.

While the roof moves, the surface levels itself: what the stations show in the end is what each part
of the change has left by then, the mean of the shares over the course of the event.
"""

from dataclasses import dataclass, replace

import numpy as np

from ..constants import NS_PER_DAY, NS_PER_S
from ..errors import SettingsError
from .curve import peak_share, ramp, rate_at, reached
from .event_record import interval
from .response import FLOWS, METHODS, PLATES, UNIFORM
from .surface import judge_shares, mean_view, shares, view_of

DAY_S = NS_PER_DAY / NS_PER_S  # s/d; definition
MEASURED = "measured pattern"
OF_ICE = ("plate bulge", "ice flow")  # shapes that ask for the ice's thickness
SHAPES = ("uniform", *OF_ICE, MEASURED)
LEAST_SIGMA_M = 1e-4  # m, of a station's change; choice
AGES = 12  # equal parts of a change, over whose ages shares are averaged; choice
LEAST_DRAWS = 30.0  # effective number that must be left after weighing; choice


@dataclass(frozen=True)
class IceSpread:
    """How surely the ice is known; our choices.

    ``thickness_share``: sigma of the thickness over it. ``viscosity_log``, ``young_log``: sigmas of
    the natural logarithms. ``share_sigma``: what the models of the ice's answer leave open,
    relative, for each station by itself. ``beds``: flows that the bed may allow, each as likely.
    """

    thickness_share: float = 0.05
    viscosity_log: float = 0.7
    young_log: float = 0.5
    share_sigma: float = 0.03
    beds: tuple = FLOWS


@dataclass(frozen=True, eq=False)
class IceDraws:
    """The ice behind samples (s,): ``outline`` and ``method`` are numbers, of METHODS the latter.

    ``kept``: what levelling has left of the surface's change by its end, over what it would have
    been at once.
    """

    outline: np.ndarray
    thickness_m: np.ndarray
    viscosity_Pa_s: np.ndarray
    method: np.ndarray
    kept: np.ndarray


@dataclass(frozen=True, eq=False)
class LakeVolume:
    """Samples (s,) of one event: volumes leave positive for a draining, come for a filling.

    ``roof_m``: mean change of the roof; ``share``: {station: samples of surface over roof};
    ``effective``: number of independent draws behind them. ``draw``: which sample of the event each
    follows from; ``mean_share``: samples of the mean of the surface over roof, where it was asked
    for. ``ice``: what each was drawn with.
    """

    lake: str
    kind: str
    volume_m3: np.ndarray
    roof_m: np.ndarray
    area_m2: np.ndarray
    mean_m3_s: np.ndarray
    peak_m3_s: np.ndarray
    share: dict
    effective: float
    notes: tuple
    draw: np.ndarray
    mean_share: np.ndarray | None = None
    ice: IceDraws | None = None

    def row(self, level=0.95):
        """Return a line of a table: low, median, high of each quantity."""
        names = ("volume_m3", "roof_m", "area_m2", "mean_m3_s", "peak_m3_s")
        found = {"lake": self.lake, "kind": self.kind}
        for name in names:
            low, middle, high = interval(getattr(self, name), level)
            found |= {f"{name}_low": low, f"{name}_median": middle, f"{name}_high": high}
        return found


def flat_volume_m3(area_m2, change_m):
    """Return the volume of a roof that moves as a block: area times change. [m3]"""
    area, change = np.asarray(area_m2, float), np.asarray(change_m, float)
    if not (area > 0.0).all():
        raise SettingsError(f"area is {area_m2} m2; expected more than 0")
    return area * change


def event_volume(
    event, outlines, station_m, ice, rng, spread=None, shape="ice flow", over=None, pattern=None
):
    """Return the :class:`LakeVolume` of a :class:`~.event_record.LakeEvent`.

    Parameters
    ----------
    event : LakeEvent
    outlines : sequence of Outline
        Draws of what the margin may be (:func:`~.outline.drawn_outlines`), all of one map.
    station_m : dict
        Map coordinates (2,) of each station over the lake at the time of the event. [m]
    ice : Ice
    rng : numpy.random.Generator
    spread : IceSpread, optional
    shape : str
        ``ice flow``: stuck or sliding bed by chance, levelling over the event's own course, and
        the plate where the event has not ended; ``plate bulge``: plate with either surround;
        ``uniform``: surface as the roof; ``measured pattern``: the mean of the surface, by what
        stations do of it. The last three do not level.
    over : Outline, optional
        Over which the mean of the surface is wanted as well; the samples stay the same.
    pattern : dict, optional
        {station: (change over that of the mean of the surface, sigma)}; stations without one do
        not count for the shape ``measured pattern``.

    Raises
    ------
    SolutionError
        Where the lake is too small under too much ice to be judged from these stations.
    SettingsError
        For another shape, or an event none of whose stations has a place.
    """
    spread = spread or IceSpread()
    names = [n for n in event.station_m if n in station_m]
    if shape == MEASURED:
        names = [n for n in names if n in (pattern or {})]
    if shape not in SHAPES or not names:
        raise SettingsError(
            f"shape '{shape}' of {', '.join(SHAPES)}; stations of the event "
            f"{', '.join(event.station_m)}, with a place {', '.join(station_m)}"
        )
    count = len(event.change_m)
    point = np.array([station_m[n] for n in names], float)
    seen = [_seen(outline, point, over, ice) for outline in outlines]
    which = rng.integers(0, len(seen), count)
    ages = ages_s(event)
    if shape == MEASURED:
        shape = np.array([pattern[n] for n in names])
    drawn = [_drawn(event, *seen[k], old, ice, rng, spread, shape)
             for k, old in zip(which, ages, strict=True)]  # fmt: skip
    table = np.array([one[0] for one in drawn])
    share, mean_share = table[:, : len(names)], table[:, len(names) :]
    judge_shares(np.median(share, axis=0))
    change = np.array([event.station_m[n] for n in names]).T
    roof, weight = _roof(change, share, spread)
    weight, notes = _steadied(weight)
    chosen = rng.choice(count, count, p=weight)
    area = np.array([o.area_m2 for o in outlines])[which]
    volume = flat_volume_m3(area, np.abs(roof))[chosen]
    length = (event.length_d * DAY_S)[chosen]
    steep = rate_at(peak_share(event.rise, event.fall), event.rise, event.fall)[chosen]
    if event.end_bound:
        notes += (f"{event.end_bound}; the volume is that until the last row",)
    thickness, viscosity, method, kept = np.array([one[1] for one in drawn])[chosen].T
    return LakeVolume(
        event.lake, event.kind, volume, roof[chosen], area[chosen], volume / length,
        volume / length * steep, dict(zip(names, share[chosen].T, strict=True)),
        float(1.0 / (weight**2).sum()), notes, chosen,
        None if over is None else mean_share[chosen, 0],
        IceDraws(which[chosen], thickness, viscosity, method.astype(int), kept),
    )  # fmt: skip


def _seen(outline, point, over, ice):
    """Return (View of stations, MeanView or None) of a lake."""
    mean = None if over is None else mean_view(outline, over, ice)
    return view_of(outline, point), mean


def ages_s(event):
    """Return how old equal parts of each draw's change are at its end, or the last row (s, k). [s]

    Parts before the first row and after the last are not counted, as in the change.
    """
    rise, fall = event.rise[:, None], event.fall[:, None]
    onset, length = event.onset_d[:, None], event.length_d[:, None]
    first, last = ((day - onset) / length for day in event.rows_d)
    low, high = ramp(first, rise, fall), ramp(last, rise, fall)
    part = low + (high - low) * (np.arange(AGES) + 0.5) / AGES
    share = reached(part, rise, fall)
    return np.maximum(np.minimum(last, 1.0) - share, 0.0) * length * DAY_S


def _drawn(event, view, mean, ages, ice, rng, spread, shape):
    """Return (shares, (thickness, viscosity, method, kept)) of one draw of the ice.

    Shares are of each station, then of the mean if wanted. ``shape``: its name, or the measured
    shares and their sigmas (n, 2).
    """
    normal = rng.standard_normal(3)
    here = replace(
        ice,
        thickness_m=ice.thickness_m * max(0.2, 1.0 + spread.thickness_share * normal[0]),
        viscosity_Pa_s=ice.viscosity_Pa_s * np.exp(spread.viscosity_log * normal[1]),
        young_Pa=ice.young_Pa * np.exp(spread.young_log * normal[2]),
    )

    def of(method, lag_s=0.0):
        own = shares(view, here, method, lag_s)
        return own if mean is None else np.append(own, mean.share(here, method, lag_s))

    count, kept, method = len(view.point_m), 1.0, UNIFORM
    if not isinstance(shape, str):
        found = of(UNIFORM)
        found[:count] = shape[:, 0] + shape[:, 1] * rng.standard_normal(count)
    elif shape == "uniform":
        found = of(UNIFORM)
    elif shape == "plate bulge":
        method = PLATES[int(rng.integers(2))]
        found = of(method)
    else:
        method = spread.beds[int(rng.integers(len(spread.beds)))]
        found = of(method, ages)
        kept = found[:count].sum() / max(shares(view, here, method).sum(), 1e-9)
        if event.end_bound:
            found = found + here.unrelaxed(ages) * (of(PLATES[0]) - found)
    doubt = 1.0 + spread.share_sigma * rng.standard_normal(count)
    told = (here.thickness_m, here.viscosity_Pa_s, METHODS.index(method), kept)
    return found * (doubt if mean is None else np.append(doubt, 1.0)), told


def _roof(change, share, spread):
    """Return (mean roof change (s,), log weights (s,)) by the agreement of the stations."""
    sigma2 = change.var(axis=0) + (spread.share_sigma * np.median(change, axis=0)) ** 2
    sigma2 = sigma2 + LEAST_SIGMA_M**2
    roof = (share * change / sigma2).sum(axis=1) / (share**2 / sigma2).sum(axis=1)
    rest = ((change - share * roof[:, None]) ** 2 / sigma2).sum(axis=1)
    return roof, -0.5 * (rest - rest.min())


def _steadied(log_weight):
    """Return (weights of sum 1, notes), flattened where too few draws would be left."""
    power, notes = 1.0, ()
    flat = _normal(log_weight)
    while 1.0 / (flat**2).sum() < min(LEAST_DRAWS, 0.5 * len(flat)):
        power *= 0.7
        flat = _normal(power * log_weight)
        notes = ("the stations agree under few draws only: outline or ice are unlike those given",)
    return flat, notes


def _normal(log_weight):
    weight = np.exp(log_weight)
    return weight / weight.sum()
