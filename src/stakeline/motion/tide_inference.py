"""A constituent taken from its neighbour, where a record is too short to part them."""

from dataclasses import dataclass

from ..errors import SettingsError
from .constituents import constituent, equilibrium

SMOOTH_SHARE = 0.2  # -, by which neighbours at a coast differ from the ratio; our choice


@dataclass(frozen=True)
class Inference:
    """A constituent taken from another one, because the record is too short to part them.

    Attributes
    ----------
    name, of : str
        The inferred constituent and the one it is inferred from, such as P1 of K1.
    ratio : float
        Amplitude of the inferred over that of the other.
    lag_deg : float
        Greenwich phase lag of the inferred minus that of the other. [deg]
    share : float
        Sigma of the inferred wave, as ratio and lag are not exact, over its amplitude.
    """

    name: str
    of: str
    ratio: float
    lag_deg: float = 0.0
    share: float = 0.0


def equilibrium_inference(name, of):
    """Return the :class:`Inference` with the ratio of the potential and no lag.

    Good where no measured ratio is at hand: neighbours in frequency are answered alike (Munk &
    Cartwright 1966, the credo of smoothness), at a coast to some 20 % and 11 deg, as is taken here.

    >>> round(equilibrium_inference("K2", "S2").ratio, 3)
    0.272
    """
    if constituent(name).species != constituent(of).species:
        raise SettingsError(f"{name} and {of} are of different species: no inference between them")
    return Inference(name, of, equilibrium(name) / equilibrium(of), share=SMOOTH_SHARE)
