"""How the surface over a lake moves where the lake's mean level moves by 1 m: a map with doubt.

Passes see lines, and each time other parts of them. The pattern is what the ice makes of a moving
roof; from pass to pass it is the same, and so the parts that one pass does not see are known from
the others. Beforehand it is that of flowing ice (:mod:`~.response`), or follows the distance to
the margin where the ice is not told; what differs is a normal field on nodes, correlated over a
share of the lake's size, which dies out away from it.

While a lake drains, the ice is still bent as a plate: lower over the lake, wider around. How much
of that *bend* a pass sees is its own; the bend has the mean 0 over the lake.
"""

from dataclasses import dataclass
from typing import Any

import numpy as np
from scipy.interpolate import RegularGridInterpolator
from scipy.spatial.distance import cdist

from .response import FLOWS, PLATES
from .surface import share_map

EDGE_M = 280.0  # m, over which motion falls off at the margin where the ice is not told; choice
MAP_CELLS = 128  # of the maps of the ice's answer along each side; choice
SPREAD = 0.25  # -, sigma of the pattern beforehand; choice
CORRELATED = 0.6  # -, of the lake's radius; choice
STEP = 0.35  # -, of the lake's radius: distance of nodes; choice
SAMPLES = 3000  # places over the lake for its mean; choice


@dataclass(frozen=True, eq=False)
class Pattern:
    """The pattern on nodes.

    ``flow``, ``plate``: functions of map points (n, 2), mean 1 over the lake; ``plate`` None where
    the ice is not told. ``node_m`` (k, 2): true metres from the outline's centre; ``step_m``;
    ``precision`` (k, k) of the nodes beforehand; ``mean_nodes`` (k,): the mean over the lake is
    ``1 + mean_nodes @ nodes``.
    """

    outline: Any
    apart_m: float
    flow: Any
    plate: Any
    node_m: np.ndarray
    step_m: float
    precision: np.ndarray
    mean_nodes: np.ndarray

    def base(self, point_m):
        """Return the pattern beforehand at map points (n, 2)."""
        return self.flow(np.atleast_2d(point_m))

    def bend(self, point_m):
        """Return what a bend of 1 m adds at map points (n, 2); 0 where the ice is not told."""
        point = np.atleast_2d(point_m)
        return self.plate(point) - self.flow(point) if self.plate else np.zeros(len(point))

    def weights(self, point_m):
        """Return what nodes do at map points: (n, k), bilinear; 0 beyond ``apart_m``."""
        within = self.outline.margin_m(point_m) > -self.apart_m
        return _bilinear(self.outline, self.node_m, self.step_m, point_m) * within[:, None]


def pattern_of(outline, apart_m, ice=None):
    """Return the :class:`Pattern` of a lake, mean 1 over its outline where all nodes are 0.

    Parameters
    ----------
    outline : Outline
    apart_m : float
        Distance from the margin beyond which the pattern is as beforehand. [m]
    ice : Ice, optional
    """
    place = places_over(outline)
    node, step, precision = _nodes(outline, apart_m)
    mean = _bilinear(outline, node, step, place).mean(axis=0)
    if ice is None:
        flow, plate = _fall(outline, place), None
    else:
        flow = _mapped(outline, ice, FLOWS, place)
        plate = _mapped(outline, ice, PLATES[:1], place)
    return Pattern(outline, float(apart_m), flow, plate, node, step, precision, mean)


def _nodes(outline, apart_m):
    """Return (nodes (k, 2), their distance, precision (k, k) beforehand)."""
    radius = outline.radius_m
    step = STEP * radius
    ring = outline.true_m(outline.ring_m)
    low, high = ring.min(axis=0) - apart_m, ring.max(axis=0) + apart_m
    axes = [np.arange(a, b + step, step) for a, b in zip(low, high, strict=True)]
    node = np.stack(np.meshgrid(*axes), axis=-1).reshape(-1, 2)
    margin = outline.margin_m(outline.map_m(node))
    node, margin = node[margin > -apart_m], margin[margin > -apart_m]
    sigma = SPREAD * np.exp(np.minimum(margin, 0.0) / (0.5 * apart_m))
    covariance = np.exp(-0.5 * (cdist(node, node) / (CORRELATED * radius)) ** 2)
    covariance = sigma[:, None] * (covariance + 1e-3 * np.eye(len(node))) * sigma
    return node, step, np.linalg.inv(covariance)


def _fall(outline, place):
    """Return the function that is 1 far inside, a half at the margin, 0 far outside; mean 1."""

    def raw(point_m):
        return 0.5 * (1.0 + np.tanh(0.5 * outline.margin_m(point_m) / EDGE_M))

    unit = raw(place).mean()
    return lambda point_m: raw(point_m) / unit


def _mapped(outline, ice, methods, place):
    """Return the function that reads the mean map of methods of the ice's answer; mean 1."""
    maps = [share_map(outline, ice, method, cells=MAP_CELLS) for method in methods]
    east, north, _ = maps[0]
    mean = np.mean([share for *_, share in maps], axis=0)
    look_up = RegularGridInterpolator((east, north), mean, bounds_error=False, fill_value=0.0)
    unit = look_up(outline.true_m(place)).mean()
    return lambda point_m: look_up(outline.true_m(point_m)) / unit


def _bilinear(outline, node_m, step_m, point_m):
    place = outline.true_m(np.atleast_2d(point_m))
    off = np.abs(place[:, None, :] - node_m[None]) / step_m
    return np.prod(np.maximum(1.0 - off, 0.0), axis=2)


def places_over(outline):
    """Return map points spread evenly over a lake (n, 2)."""
    ring = outline.ring_m
    low, high = ring.min(axis=0), ring.max(axis=0)
    share = outline.area_m2 * outline.scale**2 / np.prod(high - low)
    count = int(np.ceil(np.sqrt(SAMPLES / share)))
    axes = [a + (b - a) * (np.arange(count) + 0.5) / count for a, b in zip(low, high, strict=True)]
    place = np.stack(np.meshgrid(*axes), axis=-1).reshape(-1, 2)
    return place[outline.contains(place)]
