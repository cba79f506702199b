"""Harmonic analysis of an uneven, gappy series: tides with an uncertainty from coloured noise."""

from dataclasses import dataclass, field

import numpy as np

from ..constants import NS_PER_DAY, NS_PER_S
from ..errors import SettingsError, SolutionError
from ._tide_noise import band_noise
from .constituents import (
    NAMES,
    SIDEREAL_DAY_H,
    constituent,
    greenwich_terms,
    parted,
)

_NS_PER_H = 3600 * NS_PER_S
_BLOCK = 20_000  # epochs at once; bounds the memory
_UNKNOWN_PHASE_DEG = 180.0 / np.sqrt(3.0)  # deg; sigma of a phase of which nothing is known
_BADLY_PARTED = 3.0  # ratio of variances with and without the others
_TOLD_APART = 1e-6  # least eigenvalue of the scaled normal matrix: sigmas 1000 times too large
GEOMETRY = (
    "errors of satellite geometry and reflections repeat after a sidereal day and look like K1 and "
    "K2: compare them with a station on rock"
)


@dataclass(frozen=True)
class Tides:
    """Constituents of one series; arrays (k,) run along ``names``; inferred ones stand last.

    A constituent is f A cos(V + u - g), with amplitude A and Greenwich phase lag g; ``wave`` is
    A exp(-i g).

    Attributes
    ----------
    wave : complex array, shape (k,)
        In the unit of the series.
    covariance : array, shape (k, 2, 2)
        Of the real and imaginary part of each, from the residual spectrum around it: honest for
        noise that is stationary and smooth in frequency over the band.
    mean, trend_per_day, mean_sigma, trend_sigma : float
        Level at ``middle_ns`` and slope, in the unit of the series and per day.
    noise : array, shape (k,)
        Sigma of one sample of white noise as strong as the residuals near the constituent.
    left_out : dict
        Name of each constituent that could not be told apart, and why.
    """

    names: tuple
    wave: np.ndarray
    covariance: np.ndarray
    mean: float
    trend_per_day: float
    mean_sigma: float
    trend_sigma: float
    middle_ns: int
    noise: np.ndarray
    residual_rms: float
    samples: int
    span_h: float
    inferred: tuple = ()
    left_out: dict = field(default_factory=dict)
    warnings: tuple = ()

    @property
    def amplitude(self):
        """Amplitudes (k,); in noise alone they are not zero but about 1.25 of their sigma."""
        return np.abs(self.wave)

    @property
    def phase_deg(self):
        """Greenwich phase lags (k,), 0 to 360. [deg]"""
        return np.degrees(-np.angle(self.wave)) % 360.0

    @property
    def amplitude_sigma(self):
        """Standard deviations (k,) of the amplitudes, to first order; inference counts in."""
        return np.sqrt(self._variance_along(0.0))

    @property
    def phase_sigma_deg(self):
        """Standard deviations (k,) of the phases; at most 104, that of an unknown one. [deg]"""
        with np.errstate(divide="ignore"):
            sigma = np.degrees(np.sqrt(self._variance_along(0.5 * np.pi)) / self.amplitude)
        return np.minimum(sigma, _UNKNOWN_PHASE_DEG)

    def _variance_along(self, turn_rad):
        """Return the variances (k,) in the direction of the waves turned by an angle.

        What an inferred wave is off by is off in its source too, with the other sign.
        """
        angle = np.angle(self.wave) + turn_rad
        unit = np.stack([np.cos(angle), np.sin(angle)], axis=-1)
        variance = np.einsum("ki,kij,kj->k", unit, self.covariance, unit)
        for i in self.inferred:
            off = (i.share * self.amplitude[self.names.index(i.name)]) ** 2
            variance[[self.names.index(i.name), self.names.index(i.of)]] += off
        return variance

    def index(self, name):
        """Return the place of a constituent; SettingsError where it was not estimated."""
        if name in self.names:
            return self.names.index(name)
        why = self.left_out.get(name, "not asked for")
        raise SettingsError(f"{name} is not among the tides estimated: {why}")


def analyse(
    time_ns, value, *, sigma=None, names=None, infer=(), rayleigh=1.0, shallow=True, trend=True
):
    """Return the :class:`Tides` of a series by least squares, with a mean and a linear trend.

    Parameters
    ----------
    time_ns : int64 array, shape (n,)
        GPS time, in any order, with any gaps. [ns]
    value : array, shape (n,)
        The series, in any unit; NaN is missing.
    sigma : array, shape (n,), optional
        Relative standard deviations; the size of the noise is taken from the residuals.
    names : sequence of str, optional
        Constituents to estimate; without it those that the record can part.
    infer : sequence of Inference
        What cannot be parted but is known relative to another.
    rayleigh : float
        Least separation, in cycles over the record, where ``names`` are chosen here.
    shallow : bool
        Whether shallow-water constituents are offered.
    trend : bool
        Whether a linear trend is estimated too.

    Raises
    ------
    SolutionError
        Where there are fewer samples than unknowns, or two constituents cannot be told apart.
    SettingsError
        For an unknown name, or an inference from what is not estimated.

    Notes
    -----
    Model: Foreman (1977), sections 2.1-2.3; Pawlowicz et al. (2002), equation 2; nodal
    corrections at each time and exact inference (as part of the design matrix): Foreman et al.
    (2009), J. Atmos. Ocean. Tech. 26, 806.
    """
    time_ns, value, weight = _good(time_ns, value, sigma)
    span_h = float(np.ptp(time_ns)) / _NS_PER_H
    interval_h = float(np.median(np.diff(np.unique(time_ns)))) / _NS_PER_H
    offered = NAMES if names is None else tuple(names)
    chosen, left = parted(span_h, interval_h, rayleigh=rayleigh, shallow=shallow, names=offered)
    if names is not None:
        chosen, left = tuple(dict.fromkeys(names)), {}
    infer = tuple(i for i in infer if i.name not in chosen or names is None)
    chosen = tuple(name for name in chosen if name not in {i.name for i in infer})
    _check_inferences(infer, chosen)
    middle_ns = int(time_ns.min() + np.ptp(time_ns) // 2)
    model = _Model(chosen, infer, middle_ns, trend)
    normal, right = model.normal_equations(time_ns, value, weight)
    unknown, inverse = _solved(normal, right, len(value))
    residual = value - model.predicted(time_ns, unknown)
    speed = np.array([constituent(name).speed_deg_h / 360.0 for name in chosen])
    noise = band_noise((time_ns - middle_ns) / _NS_PER_H, residual, weight, speed)
    left = {name: why for name, why in left.items() if name not in {i.name for i in infer}}
    warnings = _warnings(chosen, infer, left, normal, inverse, span_h)
    tides = _tides(model, unknown, inverse, noise)
    return Tides(
        **tides,
        residual_rms=float(np.sqrt(np.mean(residual**2))),
        samples=len(value),
        span_h=span_h,
        left_out=left,
        warnings=warnings,
    )


def predict(tides, time_ns, *, names=None, level=False):
    """Return the tide at times (n,), in the unit of the series.

    Parameters
    ----------
    tides : Tides
    time_ns : int64 array, shape (n,)
        GPS time. [ns]
    names : sequence of str, optional
        Only these constituents.
    level : bool
        Whether mean and trend are added.
    """
    time_ns = np.atleast_1d(np.asarray(time_ns, np.int64))
    chosen = [tides.index(name) for name in (tides.names if names is None else names)]
    total = np.zeros(time_ns.size)
    if level:
        total += tides.mean + tides.trend_per_day * (time_ns - tides.middle_ns) / NS_PER_DAY
    if not chosen:
        return total
    for part in _blocks(time_ns.size):
        terms = greenwich_terms([tides.names[k] for k in chosen], time_ns[part])
        total[part] += (terms @ tides.wave[chosen]).real
    return total


def prediction_sigma(tides, time_ns):
    """Return the standard deviation (n,) of the predicted tide, without mean and trend.

    Constituents count as independent of each other, inferred ones as tied to their source; the
    ratios given for inference count as exact.
    """
    time_ns = np.atleast_1d(np.asarray(time_ns, np.int64))
    fitted = len(tides.names) - len(tides.inferred)
    model = _Model(tides.names[:fitted], tides.inferred, tides.middle_ns)
    variance = np.zeros(time_ns.size)
    for part in _blocks(time_ns.size):
        terms = model.terms(time_ns[part])
        unit = np.stack([terms.real, -terms.imag], axis=-1)
        variance[part] = np.einsum("nki,kij,nkj->n", unit, tides.covariance[:fitted], unit)
    return np.sqrt(variance)


@dataclass
class _Model:
    """The design: two columns for each fitted constituent, one for the mean, one for the trend."""

    names: tuple
    infer: tuple
    middle_ns: int
    trend: bool = True

    def terms(self, time_ns):
        """Return complex terms (n, k) of the fitted ones with what is inferred from them."""
        every = (*self.names, *(i.name for i in self.infer))
        terms = greenwich_terms(every, time_ns)
        out = terms[:, : len(self.names)]
        for column, i in enumerate(self.infer, len(self.names)):
            out[:, self.names.index(i.of)] += _factor(i) * terms[:, column]
        return out

    def design(self, time_ns):
        """Return the design matrix (n, 2 k + 2), one column less without a trend."""
        days = (time_ns - self.middle_ns) / NS_PER_DAY
        level = np.stack([np.ones(days.size), days], axis=1)[:, : 1 + self.trend]
        if not self.names:
            return level
        terms = self.terms(time_ns)
        return np.hstack([terms.real, -terms.imag, level])

    def normal_equations(self, time_ns, value, weight):
        """Return normal matrix and right side of all epochs."""
        size = 2 * len(self.names) + 1 + self.trend
        normal, right = np.zeros((size, size)), np.zeros(size)
        for part in _blocks(time_ns.size):
            a = self.design(time_ns[part])
            normal += a.T @ (a * weight[part, None])
            right += a.T @ (value[part] * weight[part])
        return normal, right

    def predicted(self, time_ns, unknown):
        """Return the model (n,) of estimated unknowns."""
        blocks = [self.design(time_ns[part]) @ unknown for part in _blocks(time_ns.size)]
        return np.concatenate(blocks)


def _blocks(count):
    return [slice(first, first + _BLOCK) for first in range(0, count, _BLOCK)]


def _factor(inference):
    return inference.ratio * np.exp(-1j * np.radians(inference.lag_deg))


def _good(time_ns, value, sigma):
    """Return times, values and weights (mean 1) of the samples that are there."""
    time_ns, value = np.asarray(time_ns, np.int64), np.asarray(value, float)
    sigma = np.ones(value.shape) if sigma is None else np.asarray(sigma, float)
    if not time_ns.shape == value.shape == sigma.shape or value.ndim != 1:
        raise SolutionError(
            f"tides of {time_ns.shape} times, {value.shape} values, {sigma.shape} sigmas: give one "
            "value and one sigma for each time"
        )
    good = np.isfinite(value) & np.isfinite(sigma) & (sigma > 0.0)
    if good.sum() < 3 or np.ptp(time_ns[good]) == 0:
        raise SolutionError(f"tides need at least 3 samples at different times; {good.sum()} given")
    weight = sigma[good] ** -2
    return time_ns[good], value[good], weight / weight.mean()


def _check_inferences(infer, chosen):
    for i in infer:
        constituent(i.name)
        if i.of not in chosen or not (i.ratio >= 0.0 and np.isfinite(i.lag_deg)):
            raise SettingsError(
                f"{i.name} cannot be inferred from {i.of} with ratio {i.ratio}, lag {i.lag_deg}: "
                f"the source must be estimated (here {', '.join(chosen) or 'none'}), the ratio "
                "a number from 0"
            )


def _solved(normal, right, samples):
    """Return (unknowns, inverse of the normal matrix)."""
    if samples <= right.size:
        raise SolutionError(
            f"{samples} samples for {right.size} unknowns of the tides: give a longer record or "
            "fewer constituents"
        )
    scale = 1.0 / np.sqrt(np.diag(normal))
    unit = normal * np.outer(scale, scale)
    if np.linalg.eigvalsh(unit)[0] < _TOLD_APART:
        raise SolutionError(
            "the constituents asked for cannot be told apart in this record: ask for fewer, or "
            "infer one from the other"
        )
    inverse = np.linalg.inv(unit) * np.outer(scale, scale)
    return inverse @ right, inverse


def _tides(model, unknown, inverse, noise):
    """Return the fields of :class:`Tides` that follow from the solution."""
    k = len(model.names)
    wave = unknown[:k] + 1j * unknown[k : 2 * k]
    pair = np.stack([np.arange(k), np.arange(k, 2 * k)], axis=-1)
    covariance = inverse[pair[:, :, None], pair[:, None, :]] * noise[:k, None, None] ** 2
    level_sigma = noise[k] * np.sqrt(np.diag(inverse)[2 * k :])
    noise = noise[:k]
    for i in model.infer:
        source = model.names.index(i.of)
        wave = np.append(wave, wave[source] * _factor(i))
        turn = np.radians(-i.lag_deg)
        turned = i.ratio * np.array([[np.cos(turn), -np.sin(turn)], [np.sin(turn), np.cos(turn)]])
        covariance = np.append(covariance, [turned @ covariance[source] @ turned.T], axis=0)
        noise = np.append(noise, noise[source])
    return {
        "names": (*model.names, *(i.name for i in model.infer)),
        "wave": wave,
        "covariance": covariance,
        "mean": float(unknown[2 * k]),
        "trend_per_day": float(unknown[2 * k + 1]) if model.trend else 0.0,
        "mean_sigma": float(level_sigma[0]),
        "trend_sigma": float(level_sigma[1]) if model.trend else 0.0,
        "middle_ns": model.middle_ns,
        "noise": noise,
        "inferred": model.infer,
    }


def _warnings(chosen, infer, left, normal, inverse, span_h):
    """Return sentences a person should read beside the table."""
    said = []
    inflation = np.diag(normal) * np.diag(inverse)
    k = len(chosen)
    worst = np.maximum(inflation[:k], inflation[k : 2 * k])
    loose = [name for name, x in zip(chosen, worst, strict=True) if x > _BADLY_PARTED]
    if loose:
        said.append(f"gaps or a short record part these badly: {', '.join(loose)}")
    for name in ("P1", "K2"):
        source = {"P1": "K1", "K2": "S2"}[name]
        if name in left and source in chosen:
            said.append(f"{source} holds {name} too: {left[name]}; infer it or read them as a sum")
    names = {*chosen, *(i.name for i in infer)}
    near = [n for n in names if n in ("K1", "K2") or _near_sidereal(n, span_h)]
    if near:
        said.append(f"{', '.join(sorted(near))}: {GEOMETRY}")
    return tuple(said)


def _near_sidereal(name, span_h):
    """Whether a record cannot part a constituent from one or two turns a sidereal day."""
    cycles_h = constituent(name).speed_deg_h / 360.0
    apart = [abs(cycles_h - n / SIDEREAL_DAY_H) * span_h for n in (1, 2)]
    return min(apart) < 1.0
