"""Known motion and known slips put into real observations, exactly."""

from dataclasses import replace

import numpy as np

from ..constants import FREQUENCY_HZ, GLONASS_STEP_HZ, SPEED_OF_LIGHT_M_S
from ..errors import SettingsError
from ..tables import SYSTEMS, satellite_name


def displace(observations, displacement_m, receiver_m, satellite_m):
    """Return the observations that the antenna would have made, had it been displaced.

    Parameters
    ----------
    observations : Observations
    displacement_m : array, shape (n, 3)
        Earth-fixed displacement at each epoch. [m]
    receiver_m : array, shape (3,) or (n, 3)
        Where the antenna stood, to some metres. [m]
    satellite_m : array, shape (rows, 3)
        Satellite of each row at transmission, Earth-fixed at reception, to some hundred metres;
        NaN where unknown: such a row becomes missing. [m]

    Returns
    -------
    Observations
        Codes and phases of all bands changed by the difference of the two straight distances. A
        kilometre of satellite error matters 5e-5 of the displacement. The light time changes by
        1e-9 s a third of a metre: nothing.

    Raises
    ------
    SettingsError
        Where shapes do not fit, or a GLONASS channel is not in the header.
    """
    epochs, rows = len(observations), len(observations.satellite)
    displacement = np.asarray(displacement_m, float)
    satellite = np.asarray(satellite_m, float)
    if displacement.shape != (epochs, 3) or satellite.shape != (rows, 3):
        raise SettingsError(
            f"displacements {displacement.shape} and satellites {satellite.shape} must be "
            f"({epochs}, 3), one for each epoch, and ({rows}, 3), one for each row"
        )
    epoch = np.repeat(np.arange(epochs), np.diff(observations.row_start))
    before = satellite - np.broadcast_to(np.asarray(receiver_m, float), (epochs, 3))[epoch]
    step = displacement[epoch]
    after = before - step
    # |a| - |b| = (a - b)(a + b) / (|a| + |b|) keeps all digits
    change = -np.sum(step * (after + before), axis=1)
    change /= np.linalg.norm(after, axis=1) + np.linalg.norm(before, axis=1)
    value = observations.value.copy()
    for number in np.unique(observations.satellite):
        here = observations.satellite == number
        letter = SYSTEMS[int(number) // 100]
        for column, code in enumerate(observations.codes.get(letter, ())):
            if code[0] == "C":
                value[here, column] += change[here]
            elif code[0] == "L":
                wavelength = wavelength_m(observations.header, int(number), code[1])
                value[here, column] += change[here] / wavelength
    return replace(observations, value=value)


def wavelength_m(header, satellite, band):
    """Return the wavelength of a band (RINEX digit) of a satellite. [m]

    Raises SettingsError for an unknown band or GLONASS channel.
    """
    key = SYSTEMS[satellite // 100] + band
    name = satellite_name(satellite)
    if key not in FREQUENCY_HZ:
        raise SettingsError(
            f"{name}: band {band} is not known; known are {', '.join(FREQUENCY_HZ)}"
        )
    frequency = FREQUENCY_HZ[key]
    if key in GLONASS_STEP_HZ:
        if satellite not in header.glonass_channels:
            raise SettingsError(f"{name}: its GLONASS channel is not in the header")
        frequency += header.glonass_channels[satellite] * GLONASS_STEP_HZ[key]
    return SPEED_OF_LIGHT_M_S / frequency


def insert_slips(observations, slips):
    """Return observations with cycle slips put in.

    Parameters
    ----------
    observations : Observations
    slips : sequence of (time_ns, satellite, code, cycles)
        From this epoch on, phase ``code`` (such as ``L1C``) of the satellite reads more by so many
        cycles. No flag is set.

    Raises
    ------
    SettingsError
        For a phase that the file does not hold.
    """
    value = observations.value.copy()
    time_of_row = np.repeat(observations.time_ns, np.diff(observations.row_start))
    for time_ns, satellite, code, cycles in slips:
        codes = observations.codes.get(SYSTEMS[int(satellite) // 100], ())
        if code not in codes or code[0] != "L":
            name = satellite_name(int(satellite))
            raise SettingsError(f"{name}: no phase '{code}'; the file holds {', '.join(codes)}")
        later = (observations.satellite == satellite) & (time_of_row >= time_ns)
        value[later, codes.index(code)] += cycles
    return replace(observations, value=value)
