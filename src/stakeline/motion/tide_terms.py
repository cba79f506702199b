"""Tides as regressors of the motion smoother, and as a table of constituents afterwards."""

from dataclasses import dataclass, replace

import numpy as np

from ..constants import NS_PER_DAY
from ..errors import StakelineError
from .constituents import NAMES, constituent, greenwich_terms, parted
from .likelihood import thinned
from .rows import covered_d
from .smoother import MotionModel, smooth
from .tide_inference import equilibrium_inference
from .tides import analyse

MAJOR = ("M2", "K1", "O1", "S2", "N2", "P1", "K2", "Q1")
LONGEST_PERIOD_H = 30.0  # h; slower tides cannot be told from a change of the ice's speed; ours
INFERRED = {"P1": "K1", "K2": "S2"}  # what short records cannot part, and from what it follows
SEEN = 4.0  # amplitude over sigma from which a minor constituent is kept: 0.03 % by chance; ours
ROUGH_ROWS = 8_000  # our choice
SPECTRUM_ROWS = 20_000  # in which the residual spectrum is taken; our choice
ROUGH_Q = 1e-4  # (m/d)^2/d, restlessness of the velocity before it is estimated; our choice
ROUGH_MEMORY_D = 0.2  # d; our choice
_NS_PER_H = NS_PER_DAY // 24


@dataclass(frozen=True)
class TideTerms:
    """Constituents estimated, and those that follow from one of them."""

    names: tuple = ()
    infer: tuple = ()

    def design(self, time_ns):
        """Return regressors (n, 2 k): real and minus imaginary part of each, inferred added."""
        time_ns = np.asarray(time_ns, np.int64)
        if not self.names or not time_ns.size:
            return np.zeros((time_ns.size, 2 * len(self.names)))
        terms = greenwich_terms((*self.names, *(i.name for i in self.infer)), time_ns)
        own = terms[:, : len(self.names)].copy()
        for column, i in enumerate(self.infer, len(self.names)):
            own[:, self.names.index(i.of)] += (
                i.ratio * np.exp(-1j * np.radians(i.lag_deg)) * terms[:, column]
            )
        return np.hstack([own.real, -own.imag])


def terms_of(time_ns, names=MAJOR):
    """Return the :class:`TideTerms` that a record can part, gaps not counted, of names offered."""
    span_h = 24.0 * covered_d(time_ns)
    interval_h = float(np.median(np.diff(time_ns))) / _NS_PER_H
    short = tuple(n for n in names if constituent(n).period_h < LONGEST_PERIOD_H)
    chosen, left = parted(span_h, interval_h, names=short)
    pairs = [(n, of) for n, of in INFERRED.items() if n in left and of in chosen]
    return TideTerms(chosen, tuple(equilibrium_inference(n, of) for n, of in pairs))


def major_tide(time_ns, position_m, sigma_m):
    """Return the tide (n,) of the major constituents, roughly; zeros where none can be parted."""
    terms = terms_of(time_ns)
    if not terms.names:
        return np.zeros(len(time_ns))
    return terms.design(time_ns) @ _slow(time_ns, position_m, sigma_m, terms)[0]


def rough_tide(time_ns, position_m, sigma_m):
    """Return (tide (n,), TideTerms with the minor constituents that are seen) of one axis.

    Parameters
    ----------
    time_ns, position_m, sigma_m : array (n,)
        Ascending and finite. [ns], [m]
    """
    terms = terms_of(time_ns)
    if not terms.names:
        return np.zeros(len(time_ns)), terms
    coefficient, quiet, rows = _slow(time_ns, position_m, sigma_m, terms)
    every = terms_of(time_ns, NAMES)
    try:
        found = analyse(rows[0], quiet, sigma=rows[1], names=every.names, infer=every.infer)
    except StakelineError:
        return terms.design(time_ns) @ coefficient, terms
    seen = [
        name
        for name, a, s in zip(found.names, found.amplitude, found.amplitude_sigma, strict=True)
        if name in terms.names or (name in every.names and a > SEEN * s)
    ]
    terms = TideTerms(tuple(seen), tuple(i for i in every.infer if i.of in seen))
    coefficient, _, _ = _slow(time_ns, position_m, sigma_m, terms)
    return terms.design(time_ns) @ coefficient, terms


def _slow(time_ns, position_m, sigma_m, terms):
    """Return coefficients, the series without its slow motion, and its (times, sigmas)."""
    rows = thinned(time_ns, position_m, sigma_m, None, ROUGH_ROWS)
    time_ns, position_m, sigma_m = rows[:3]
    design = terms.design(time_ns)
    model = MotionModel(ROUGH_Q, np.inf, (float(np.median(sigma_m)),), (ROUGH_MEMORY_D,))
    found = smooth(time_ns, position_m, sigma_m, model, design)
    return found.regression_value, position_m - found.position_m, (time_ns, sigma_m)


def tides_of(terms, time_ns, remainder_m, sigma_m, wave_parts, covariance):
    """Return the :class:`~stakeline.motion.tides.Tides` that the smoother has estimated.

    Parameters
    ----------
    terms : TideTerms
    time_ns, remainder_m, sigma_m : array (n,)
        The measurements without the smoothed motion: tide and noise. [ns], [m]
    wave_parts : array (2 k,)
        Coefficients of :meth:`TideTerms.design`. [m]
    covariance : array (2 k, 2 k)

    Notes
    -----
    Each covariance is that of the smoother, which knows how the motion and the noise of its model
    hide a tide, or that of the residual spectrum around the constituent, whichever is larger.
    """
    rows = thinned(time_ns, remainder_m, sigma_m, None, SPECTRUM_ROWS)
    found = analyse(
        rows[0], rows[1], sigma=rows[2], names=terms.names, infer=terms.infer, trend=False
    )
    k = len(terms.names)
    wave = found.wave.copy()
    wave[:k] = wave_parts[:k] + 1j * wave_parts[k:]
    spread = found.covariance.copy()
    for j in range(k):
        own = covariance[np.ix_((j, k + j), (j, k + j))]
        spread[j] = own * max(1.0, np.trace(spread[j]) / np.trace(own))
    for j, i in enumerate(terms.infer, k):
        source = terms.names.index(i.of)
        wave[j] = wave[source] * i.ratio * np.exp(-1j * np.radians(i.lag_deg))
        spread[j] = i.ratio**2 * np.trace(spread[source]) / 2.0 * np.eye(2)
    _, left = parted(found.span_h, float(np.median(np.diff(time_ns))) / _NS_PER_H, names=MAJOR)
    left = {name: why for name, why in left.items() if name not in found.names}
    return replace(found, wave=wave, covariance=spread, left_out=left)
