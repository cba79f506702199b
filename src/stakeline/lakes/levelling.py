"""Water by a surface that levels itself: what lies between the roof and weeks to years of heights.

A hollow above a lake that has drained fills by the weight of the ice about it. A surface that stays
low for a year therefore tells of a roof that goes on sinking, and one that rises may hide a lake
that does not fill. The response is undone by draws of outline, ice and bed, those of the volumes.
"""

from dataclasses import dataclass, replace

import numpy as np

from .response import METHODS, Ice
from .surface import shares, undone

NODES = 24  # lags at which what is left of a change is worked out; choice
FIRST_D = 2.0  # d, the shortest of them after none; choice
GRID_D = 1.0  # d, steps by which the response is undone; choice


@dataclass(frozen=True, eq=False)
class Levelling:
    """The lake as its stations see it: ``views`` of each outline that was drawn, usual ``ice``."""

    views: tuple
    ice: Ice

    def kept(self, draws, pick, lag_d):
        """Return what is left of a sudden change of the surface after lags (k, n), 1 at first.

        ``draws``: :class:`~.volume.IceDraws`, of which the numbers ``pick`` (k,) are taken.
        """
        nodes = np.append(0.0, np.geomspace(FIRST_D, max(lag_d[-1], 2.0 * FIRST_D), NODES - 1))
        found = np.empty((len(pick), len(lag_d)))
        for row, k in enumerate(pick):
            here = replace(
                self.ice,
                thickness_m=float(draws.thickness_m[k]),
                viscosity_Pa_s=float(draws.viscosity_Pa_s[k]),
            )
            view, method = self.views[draws.outline[k]], METHODS[draws.method[k]]
            left = [shares(view, here, method, np.array([day * 86400.0])).sum() for day in nodes]
            found[row] = np.interp(lag_d, nodes, np.array(left) / max(left[0], 1e-9))
        return found


def metre_draws(events, volumes, rng, count):
    """Return draws of the volume of a metre of the surface that moved at once (count,). [m2]

    By all events together, whose outline and ice are those of one lake: quantiles of each, in the
    mean. Also (volume, number of its sample) of each draw. None, () where there is no volume.
    """
    place = (np.arange(count) + 0.5) / count
    columns, samples = [], []
    for event, volume in zip(events, volumes, strict=True):
        if volume is None:
            continue
        per_m = volume.volume_m3 * volume.ice.kept / abs(float(np.median(event.change_m)))
        order = np.argsort(per_m)
        columns.append(np.quantile(per_m, place))
        samples.append((volume, order[(place * len(order)).astype(int)]))
    if not columns:
        return None, ()
    mixed = rng.permutation(count)
    which = np.arange(count) % len(samples)
    found = [(samples[which[k]][0], int(samples[which[k]][1][k])) for k in mixed]
    return np.mean(columns, axis=0)[mixed], found


def kept_of(levelling, samples, lag_d):
    """Return what is left of a sudden change (k, n) for (volume, number of its sample) (k)."""
    return np.concatenate(
        [levelling.kept(volume.ice, np.array([k]), lag_d) for volume, k in samples]
    )


def hidden_m(day, surface_m, kept, grid_d):
    """Return what levelling hides of the surface's change: (metres (k, n), its rate [m/d]).

    Parameters
    ----------
    day : array (n,)
        Ascending, from the first row on. [d]
    surface_m : array (k, n)
        What the surface has done, in k draws; straight between rows.
    kept : array (k, m)
        What is left of a sudden change at the lags ``grid_d`` (m,), even steps of which the last is
        not before that of the last row.
    """
    hidden, rate = np.empty(surface_m.shape), np.empty(surface_m.shape)
    for k, surface in enumerate(surface_m):
        seen = np.interp(grid_d + day[0], day, surface) - surface[0]
        more = undone(kept[k], seen) - seen
        hidden[k] = np.interp(day - day[0], grid_d, more)
        rate[k] = np.interp(day - day[0], grid_d, np.gradient(more, grid_d))
    return hidden, rate


def grid_of(day):
    """Return even lags from none to the length of the record, at least. [d]"""
    return GRID_D * np.arange(int(np.ceil((day[-1] - day[0]) / GRID_D)) + 2)
