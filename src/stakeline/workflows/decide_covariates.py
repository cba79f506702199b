"""Influences that the user gives as tables, and the fortnight of tides: regressors and causes."""

import numpy as np

from ..errors import SettingsError, StakelineError
from ..formats.plain_table import NOT_A_TIME, read_plain_table
from ..motion.constituents import constituent
from ..time import gps_from_utc
from .decide_melt import LEAST_SHARE, MELT, daily_means, melt_columns, melt_taken_off
from .lakes_places import floats
from .motion_results import number

FORTNIGHT = ("MSF", "MF")  # the greater one first: ice streams answer at MSF
TIDE_M = 0.01  # m, amplitude along the flow from which a fortnight is taken off; choice
TIDE_OVER_SIGMA = 4.0  # from which a tide is found, that of motion


def given_covariates(campaign, axis):
    """Return ({name: daily means (n,)}, files, sentences) of ``[[decide.covariate]]``.

    Days without a value stay NaN and are told: they are left out of what takes the influence off.

    Raises
    ------
    SettingsError
        Where a file, a column or its times are missing, or half of the days have no value.
    """
    found, files, said = {}, [], []
    for part in campaign.settings.decide.covariate or ():
        path = campaign.root / part.file
        where = f"campaign.toml: [[decide.covariate]] '{part.name}'"
        time_ns, values = _column(path, part, where)
        mean = daily_means(time_ns, values, axis)
        known = int(np.isfinite(mean).sum())
        if len(axis) and known < LEAST_SHARE * len(axis):
            raise SettingsError(
                f"{where}: {part.file} has a value on {known} of {len(axis)} days of the speeds; "
                f"expected {LEAST_SHARE:.0%} or more; check its times, or leave it out"
            )
        if len(axis) and not np.nanmax(mean) > np.nanmin(mean):
            raise SettingsError(f"{where}: {part.column} does not vary in the days of the speeds")
        found[part.name] = mean
        files.append(path)
        if known < len(axis):
            said.append(
                f"{part.name}: {len(axis) - known} of {len(axis)} days have no value; they, and "
                "the days after them, are left out where it is taken off"
            )
    return found, tuple(files), tuple(said)


def _column(path, part, where):
    """Return (GPS times (n,), values (n,)) of a covariate."""
    try:
        table = read_plain_table(path)
    except (StakelineError, OSError) as problem:
        raise SettingsError(f"{where}: {problem}") from None
    if part.column not in table.names:
        raise SettingsError(
            f"{where}: {part.file} has no column '{part.column}'; it has {', '.join(table.names)}"
        )
    if not table.scale:
        raise SettingsError(f"{where}: {part.file} has no time; expected time_utc or time_gps")
    values = np.asarray(table.column(part.column))
    if values.dtype.kind not in "iuf":
        raise SettingsError(f"{where}: text in column '{part.column}' of {part.file}")
    time_ns = np.asarray(table.time_ns)
    if table.scale == "UTC":
        there = time_ns != NOT_A_TIME
        time_ns = np.where(there, gps_from_utc(np.where(there, time_ns, 0)), NOT_A_TIME)
    return time_ns, values.astype(float)


def tide_of(result):
    """Return '' or how the tide moves a station: ``found`` along the flow, ``strong`` or afloat."""
    if floats(result):
        return "strong"
    rows = [
        (number(row["amplitude_m"]), number(row["amplitude_sigma_m"]))
        for row in result.tides
        if row["axis"] == "along" and row.get("by_geometry") != "yes" and "amplitude_sigma_m" in row
    ]
    seen = [size for size, sigma in rows if size > TIDE_OVER_SIGMA * sigma]
    if not seen:
        return ""
    return "strong" if max(seen) >= TIDE_M else "found"


def fortnight_periods(span_d):
    """Return the periods of the fortnight that a record can part. [d]

    MSF from two of its periods on; MF beside it from where both turn once against each other
    (Rayleigh's criterion).
    """
    first, second = (constituent(name).period_h / 24.0 for name in FORTNIGHT)
    if span_d < 2.0 * first:
        return ()
    apart = 1.0 / abs(1.0 / first - 1.0 / second)
    return (first, second) if span_d >= apart else (first,)


def fortnight_taken_off(part, question):
    """Say whether the fortnight is in the baseline: as the settings say, else where tides are."""
    if part.take_off_fortnight is not None:
        return part.take_off_fortnight
    return "strong" in question.tides


def influences_taken_off(part, question, less=""):
    """Return the columns (n, c) of melt and of what the user gave; None where there are none.

    ``less``: one of them that is left out.
    """
    columns = [melt_columns(question.causes[n]) for n in question.given if n != less]
    melt = None if less == MELT else melt_taken_off(part, question)
    columns = columns if melt is None else [melt, *columns]
    return np.hstack(columns) if columns else None
