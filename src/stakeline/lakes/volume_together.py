"""One volume from stations and satellite passes, where they agree on the change of the level.

Stations see points, passes the mean of the surface over the outline. Each draw of outline, ice and
form of the event says by how much both must have moved for its roof; where what the passes measured
differs from that by no more than chance, all quantities are moved by their covariance with it.
"""

from dataclasses import dataclass

import numpy as np
from scipy.stats import norm

DISAGREE_P = 0.01  # -, of chance, below which stations and passes are not put together; choice
LEAST_SIGMA_M = 1e-4  # m; choice
FLOWS_M3_S = ("mean_m3_s", "peak_m3_s")
AGREE, DISAGREE = "agree", "disagree"


@dataclass(frozen=True, eq=False)
class TogetherVolume:
    """What stations and passes say of one event, and both; samples (s,).

    ``by_stations_m``, ``by_passes_m``: change of the mean of the surface over the outline.
    ``difference_m``, ``sigma_m``: passes less stations, and what it should be off by;
    ``p_value``: that chance makes it as large. ``verdict``: ``agree`` or ``disagree``.
    ``passes_m3``: volume by passes alone, with the same draws of outline and ice. ``together``:
    {quantity: samples}, empty where they disagree. ``gain``: share of what the passes add, 0 to 1.
    """

    by_stations_m: np.ndarray
    by_passes_m: np.ndarray
    difference_m: float
    sigma_m: float
    p_value: float
    verdict: str
    passes_m3: np.ndarray
    together: dict
    gain: float

    @property
    def over_sigma(self):
        """The difference over its sigma."""
        return self.difference_m / self.sigma_m


def together(volume, passes, rng):
    """Return the :class:`TogetherVolume` of one event.

    Parameters
    ----------
    volume : LakeVolume
        By stations, with its ``mean_share`` over the outline that the levels are of.
    passes : PassChange
        With a change.
    rng : numpy.random.Generator

    Notes
    -----
    The best linear combination by the covariance of the draws (Evensen 2003, Ocean Dynamics 53,
    343, section 3.4: the analysis of an ensemble with perturbed observations) of roof and area,
    from which the others follow. Exact for normal distributions. The mean level that stations say
    and what passes say both depend on the draw (share, onset); their covariance is in it.
    """
    stations = volume.roof_m * volume.mean_share
    told, spread = passes.change_m[volume.draw], passes.sigma_m[volume.draw]
    noise = spread * rng.standard_normal(len(told))
    rest = told - stations
    variance = float(rest.var() + np.mean(spread**2) + LEAST_SIGMA_M**2)
    sigma = float(np.sqrt(variance))
    p_value = float(2.0 * norm.sf(abs(rest.mean()) / sigma))
    agree = p_value >= DISAGREE_P
    measured = told + noise
    passes_m3 = volume.area_m2 * np.abs(measured / volume.mean_share)
    found = _combined(volume, rest, noise, variance) if agree else {}
    return TogetherVolume(
        stations, measured, float(rest.mean()), sigma, p_value, AGREE if agree else DISAGREE,
        passes_m3, found, float(rest.var() / variance),
    )  # fmt: skip


def _combined(volume, rest, noise, variance):
    """Return {quantity: samples}: roof and area moved by their gains, and what follows of them."""
    moved = {}
    for name in ("roof_m", "area_m2"):
        value = getattr(volume, name)
        gain = -np.mean((value - value.mean()) * (rest - rest.mean())) / variance
        moved[name] = value + gain * (rest + noise)
    water = moved["area_m2"] * np.abs(moved["roof_m"])
    flows = {name: water * getattr(volume, name) / volume.volume_m3 for name in FLOWS_M3_S}
    return {"volume_m3": water} | moved | flows
