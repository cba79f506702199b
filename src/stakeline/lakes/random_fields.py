"""Errors of a bed or surface map as correlated Gaussian random fields, by the spectral method."""

from dataclasses import dataclass
from functools import cached_property

import numpy as np
from scipy import fft, ndimage

from ..errors import SettingsError
from .grid import MapGrid, checked_field

_FORGOTTEN = 0.01  # correlation below which the far side of the grid no longer matters; choice
KINDS = {"exponential": 1.0, "gaussian": 2.0}  # power of distance over length


@dataclass(frozen=True, eq=False)
class ErrorField:
    """What is known of a map's error: zero on average, Gaussian, correlated over a length.

    Attributes
    ----------
    grid : MapGrid
    sigma_m : float or array, shape (m, n)
        Standard deviation far from measurements, or a map of it; NaN only where the map of heights
        is missing too. [m]
    length_m : float
        Distance on the map at which the correlation has fallen to 1/e. [m]
    kind : str
        "exponential", correlation ``exp(-d / length)``, rough as beds are; or "gaussian",
        ``exp(-(d / length)^2)``, smooth.
    measured : array of bool, shape (m, n), optional
        Cells where the error is zero, such as those below flight lines. Elsewhere the standard
        deviation is that given the nearest of them, ``sigma sqrt(1 - correlation^2)`` (exact for
        one measurement; between several the true one is smaller, so it is on the safe side).

    Raises
    ------
    SettingsError
        For negative or infinite values, a length that is not positive, or shapes that differ.
    """

    grid: MapGrid
    sigma_m: float | np.ndarray
    length_m: float
    kind: str = "exponential"
    measured: np.ndarray | None = None

    def __post_init__(self):
        if self.kind not in KINDS:
            raise SettingsError(f"correlation '{self.kind}'; known are {', '.join(KINDS)}")
        if not 0.0 < self.length_m < np.inf:
            raise SettingsError(f"a correlation length of {self.length_m} m; expected more than 0")
        sigma = np.asarray(self.sigma_m, float)
        if sigma.ndim:
            sigma = checked_field(self.grid, sigma, "the error's sigma")
        if (sigma < 0.0).any() or np.isinf(sigma).any():
            raise SettingsError(
                f"the standard deviation of an error is {np.nanmin(sigma):g} to "
                f"{np.nanmax(sigma):g} m; expected finite ones of 0 or more"
            )

    def correlation(self, distance_m):
        """Return the correlation at a distance; no unit."""
        return np.exp(-((np.asarray(distance_m) / self.length_m) ** KINDS[self.kind]))

    @cached_property
    def deviation_m(self):
        """Standard deviation of every cell (m, n), zero where measured. [m]"""
        sigma = np.broadcast_to(np.asarray(self.sigma_m, np.float32), self.grid.shape)
        if self.measured is None:
            return sigma
        measured = checked_field(self.grid, self.measured, "measured cells", bool)
        if not measured.any():
            return sigma
        dx, dy = np.abs(self.grid.step_m)
        distance = ndimage.distance_transform_edt(~measured, sampling=(dy, dx))
        known = self.correlation(distance).astype(np.float32)
        return sigma * np.sqrt(1.0 - known**2)

    @cached_property
    def _torus(self):
        """Rows and columns of the grid and enough beyond it that its far sides do not touch."""
        reach = self.length_m * (-np.log(_FORGOTTEN)) ** (1.0 / KINDS[self.kind])
        dx, dy = np.abs(self.grid.step_m)
        rows, columns = self.grid.shape
        beyond = int(np.ceil(reach / dy)), int(np.ceil(reach / dx))
        return tuple(
            fft.next_fast_len(size + min(more, size), real=True)
            for size, more in zip((rows, columns), beyond, strict=True)
        )

    @cached_property
    def _amplitude(self):
        """Square root of the spectrum of a field of unit variance."""
        rows, columns = self._torus
        dx, dy = np.abs(self.grid.step_m)
        down = dy * np.minimum(np.arange(rows), rows - np.arange(rows))[:, None]
        right = dx * np.minimum(np.arange(columns), columns - np.arange(columns))
        spectrum = fft.rfft2(self.correlation(np.hypot(down, right))).real
        amplitude = np.sqrt(np.maximum(spectrum, 0.0))
        variance = fft.irfft2(amplitude**2, self._torus)[0, 0]  # more than 1 where some were cut
        return (amplitude / np.sqrt(variance)).astype(np.float32)

    def prepare(self):
        """Compute once what every draw needs, before several threads draw; return self."""
        _ = self.deviation_m, self._amplitude
        return self

    def draw(self, rng):
        """Return one error (m, n) in 32-bit numbers, from a numpy generator. [m]

        White noise is given the spectrum of the correlation on a torus (circulant embedding:
        Dietrich & Newsam 1997, SIAM J. Sci. Comput. 18), then the standard deviation of the cells.
        """
        white = rng.standard_normal(self._torus, dtype=np.float32)
        field = fft.irfft2(fft.rfft2(white) * self._amplitude, self._torus)
        rows, columns = self.grid.shape
        return field[:rows, :columns] * self.deviation_m
