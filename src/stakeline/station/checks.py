"""Refuse numbers that describe no station, by their names."""

import numpy as np

from ..errors import SettingsError


def positive(**numbers):
    """Raise SettingsError for a number that is not positive and finite, by its name."""
    for name, value in numbers.items():
        if not 0.0 < value < np.inf:
            raise SettingsError(f"{name} is {value}: expected a positive number")


def not_negative(**numbers):
    """Raise SettingsError for a number that is negative or not finite, by its name."""
    for name, value in numbers.items():
        if not 0.0 <= value < np.inf:
            raise SettingsError(f"{name} is {value}: expected 0 or more")
