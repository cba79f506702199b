"""Compiled scanners of fixed-column text: plain arrays in, output arrays filled, no validation."""

import numpy as np

from ..compiling import njit

_TENS = 10.0 ** np.arange(23)  # all exactly representable

_BLANK, _PLUS, _MINUS, _POINT, _ZERO = 32, 43, 45, 46, 48
_EPOCH_DAY = 719468  # days from 0000-03-01 to 1970-01-01 in the Gregorian calendar


@njit
def scale(mantissa, exponent):
    """Return mantissa * 10^exponent, rounded once where the mantissa or power is exact."""
    if mantissa == 0 or exponent < -360:
        return 0.0
    while (exponent > 22 or exponent < -22) and mantissa % 10 == 0:
        mantissa //= 10
        exponent += 1
    value = float(mantissa)
    while exponent > 22:
        value *= _TENS[22]
        exponent -= 22
    while exponent < -22:
        value /= _TENS[22]
        exponent += 22
    return value * _TENS[exponent] if exponent >= 0 else value / _TENS[-exponent]


@njit
def exponent_part(data, i, stop):
    """Return (exponent, well formed) of ``E-04``, ``D+00`` or ``D 00`` starting at ``i``."""
    letter = data[i] | 32
    if letter != 100 and letter != 101:
        return 0, False
    i += 1
    negative, exponent, digits = False, 0, 0
    while i < stop and digits == 0 and data[i] in (_BLANK, _PLUS, _MINUS):
        negative = negative or data[i] == _MINUS
        i += 1
    while i < stop and 0 <= np.int64(data[i]) - _ZERO <= 9 and digits < 4:
        exponent = 10 * exponent + np.int64(data[i]) - _ZERO
        digits += 1
        i += 1
    return (-exponent if negative else exponent), (digits > 0 and i == stop and exponent < 290)


@njit
def decimal(data, first, stop, shift):
    """Return (number times 10^shift, well formed) in bytes ``first:stop``; blank is (NaN, True)."""
    i = first
    while i < stop and data[i] == _BLANK:
        i += 1
    while stop > i and data[stop - 1] == _BLANK:
        stop -= 1
    if i >= stop:
        return np.nan, True
    negative = data[i] == _MINUS
    if negative or data[i] == _PLUS:
        i += 1
    mantissa, exponent, digits, behind = np.int64(0), shift, 0, False
    while i < stop:
        digit = np.int64(data[i]) - _ZERO
        if 0 <= digit <= 9:
            digits += 1
            if mantissa < 100_000_000_000_000_000:
                mantissa = 10 * mantissa + digit
                exponent -= behind
            elif not behind:
                exponent += 1
        elif data[i] == _POINT and not behind:
            behind = True
        else:
            break
        i += 1
    if digits == 0:
        return np.nan, False
    if i < stop:
        power, good = exponent_part(data, i, stop)
        if not good:
            return np.nan, False
        exponent += power
    value = scale(mantissa, exponent)
    return (-value if negative else value), value < np.inf


@njit
def read_numbers(data, first, stop, shift, value, good):
    """Fill ``value`` and ``good`` with the numbers in ``first[k]:stop[k]``, times 10^shift."""
    for k in range(first.size):
        value[k], good[k] = decimal(data, first[k], stop[k], shift[k])


@njit
def whole(data, first, stop):
    """Return the non-negative whole number in bytes ``first:stop``, blanks before it; else -1."""
    number, started = np.int64(0), False
    for i in range(first, stop):
        digit = np.int64(data[i]) - _ZERO
        if 0 <= digit <= 9:
            number = 10 * number + digit
            started = True
        elif started or data[i] != _BLANK:
            return np.int64(-1)
    return number if started else np.int64(-1)


@njit
def day_number(year, month, day):
    """Return days since 1970-01-01 (Gregorian), from years that start in March."""
    year -= month <= 2
    era = year // 400
    of_era = year - era * 400
    of_year = (153 * (month + (-3 if month > 2 else 9)) + 2) // 5 + day - 1
    return era * 146097 + of_era * 365 + of_era // 4 - of_era // 100 + of_year - _EPOCH_DAY


@njit
def calendar_time(data, first, second_stop):
    """Return [ns], or -1, of ``I4,4I3,F..`` from byte ``first``; seconds end at ``second_stop``."""
    year, month = whole(data, first, first + 4), whole(data, first + 4, first + 7)
    day, hour = whole(data, first + 7, first + 10), whole(data, first + 10, first + 13)
    minute = whole(data, first + 13, first + 16)
    second_ns, good = decimal(data, first + 16, second_stop, 9)
    if not (1971 <= year <= 2200 and 1 <= month <= 12 and 1 <= day <= 31 and 0 <= hour <= 24):
        return np.int64(-1)
    if not (0 <= minute <= 60 and good and 0.0 <= second_ns < 61e9):
        return np.int64(-1)
    if day > 28 and day_number(year, month, day) >= day_number(
        year + month // 12, month % 12 + 1, np.int64(1)
    ):
        return np.int64(-1)
    minutes = (day_number(year, month, day) * 24 + hour) * 60 + minute
    return minutes * 60_000_000_000 + np.int64(np.round(second_ns))


@njit
def read_clock_lines(data, start, stop, column, time_ns, value, sigma):
    """Fill time, bias and sigma of clock data lines.

    ``column`` receives the byte of the year within the line, 8 or 13 (the name stands before it),
    or 0 where the line is damaged. Values are left NaN where missing.
    """
    for k in range(start.size):
        first, end = start[k], stop[k]
        column[k] = 0
        value[k] = np.nan
        sigma[k] = np.nan
        year = 8
        if end - first < 59 or data[first + 7] != _BLANK or whole(data, first + 8, first + 12) < 0:
            year = 13
        if end - first < year + 40:
            continue
        time_ns[k] = calendar_time(data, first + year, first + year + 26)
        if time_ns[k] < 0:
            continue
        value[k], good = decimal(data, first + year + 29, min(end, first + year + 51), 0)
        if end > first + year + 51:
            sigma[k], fine = decimal(data, first + year + 51, min(end, first + year + 72), 0)
            good = good and fine
        if good and not np.isnan(value[k]):
            column[k] = year


@njit
def read_times(data, first, stop, time_ns):
    """Fill ``time_ns`` with calendar times starting at ``first``; seconds end at ``stop``."""
    for k in range(first.size):
        time_ns[k] = calendar_time(data, first[k], stop[k])
