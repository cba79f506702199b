"""Signal strengths of a station's observations, by signal, as the search for reflections wants."""

from dataclasses import dataclass

import numpy as np

from ..constants import FREQUENCY_HZ, GLONASS_STEP_HZ, SPEED_OF_LIGHT_M_S
from ..tables import SYSTEMS

BANDS = {"G": "125", "R": "12", "E": "1578", "C": "26751", "J": "125"}  # the first two there are
CHANNELS = "CLSXQIBZAPWYDMN"  # civil ones first: codeless tracking is noisy; RINEX 3.05, table 4
ENOUGH = 0.5  # a preferred channel wins with this share of the fullest; our choice
MOST_SIGNALS = 2  # of each system: more bands of one pass are not more passes
DECIBELS = (15.0, 65.0)  # dB-Hz between which carriers are tracked; common practice, no source


@dataclass(frozen=True)
class Strengths:
    """One signal of one system, such as ``GS1C``: rows of the observations, arrays (k,).

    ``strength_dB_Hz`` and ``wavelength_m`` by row; ``rows`` index the observations' rows.
    """

    name: str
    rows: np.ndarray
    strength_dB_Hz: np.ndarray
    wavelength_m: np.ndarray


def signal_strengths(observations, rows, systems="GREC"):
    """Return (list of :class:`Strengths`, notes) of some rows of a station's observations.

    At most two bands of each system are taken, of each the civil channel that has at least half
    of what the fullest one has.

    Parameters
    ----------
    observations : Observations
    rows : int array, shape (k,)
        Rows looked at.
    systems : str
        Letters of the systems wanted.

    Notes
    -----
    A note names signals whose strengths are in no dB-Hz: RINEX leaves the unit to the receiver
    (RINEX 3.05, section 5.7), and without it a swing has no form.
    """
    system = observations.satellite[rows] // 100
    found, notes = [], []
    for letter in systems:
        own = rows[system == SYSTEMS.index(letter)]
        if letter not in BANDS or not own.size:
            continue
        taken = 0
        for band in BANDS[letter]:
            name, column = _fullest(observations, letter, band, own)
            if column < 0 or taken == MOST_SIGNALS:
                continue
            strength = observations.value[own, column]
            strength = np.where(strength > 0.0, strength, np.nan)  # a zero is a missing observation
            usual = float(np.nanmedian(strength))
            if not DECIBELS[0] < usual < DECIBELS[1]:
                notes.append(f"strengths {letter}{name} are no dB-Hz: half of them above {usual:g}")
                continue
            waves = _wavelengths(observations, letter + band, own)
            found.append(Strengths(letter + name, own, strength, waves))
            taken += 1
    return found, notes


def _fullest(observations, letter, band, rows):
    """Return (code, column) of the preferred strengths of a band; column -1 where there are none.

    A code of version 2 has no channel.
    """
    codes = observations.codes.get(letter, ())
    options = []
    for channel in (*CHANNELS, ""):
        code = f"S{band}{channel}"
        if code in codes:
            column = codes.index(code)
            options.append((int((observations.value[rows, column] > 0.0).sum()), code, column))
    most = max((count for count, *_ in options), default=0)
    if most == 0:
        return "", -1
    return next(option[1:] for option in options if option[0] >= ENOUGH * most)


def _wavelengths(observations, key, rows):
    """Return the wavelength by row; GLONASS without a known channel as of channel 0 (0.3 % off)."""
    frequency = np.full(rows.size, FREQUENCY_HZ[key])
    if key[0] == "R":
        channels = observations.header.glonass_channels
        satellites = observations.satellite[rows]
        for satellite, channel in channels.items():
            frequency[satellites == satellite] += channel * GLONASS_STEP_HZ[key]
    return SPEED_OF_LIGHT_M_S / frequency
