"""Mistakes that show in series of positions: gaps, steps, waves, drifts."""

import numpy as np

from ..earth.ellipsoid import geodetic_from_xyz
from ..simulate.campaign import DAY_S
from .plant_desk import Case

SIDEREAL_S = 86164.0905  # s; mean sidereal day, IERS Conventions (2010), chapter 1


def _kept(columns, rows):
    return {name: values[rows] for name, values in columns.items()}


def _moved(columns, axes, enu_m):
    """Return the columns with east, north, up (n, 3) added to the positions. [m]"""
    xyz = np.stack([columns[f"{axis}_m"] for axis in "xyz"], axis=1) + enu_m @ axes
    latitude, longitude, height = geodetic_from_xyz(xyz)
    changed = {f"{axis}_m": xyz[:, k] for k, axis in enumerate("xyz")}
    changed |= {"latitude_deg": np.degrees(latitude), "longitude_deg": np.degrees(longitude)}
    return columns | changed | {"height_m": height}


def _days(time_s, first, last):
    return (time_s >= first * DAY_S) & (time_s < last * DAY_S)


def _gap(name, first, last, what):
    """Return a change that takes days ``first`` to ``last`` out of a station's positions."""

    def change(desk):
        if not desk.has(name) or desk.invented.days < last:
            return None
        path = desk.edit_positions(name, lambda c, t: _kept(c, ~_days(t, first, last)))
        return name, path, f"no positions from day {first} to {last}: {what}"

    return change


def _shift(name, least_days, what, enu_m):
    """Return a change that adds ``enu_m(time_s)`` (n, 3) to a station's positions."""

    def change(desk):
        if not desk.has(name) or desk.invented.days < least_days:
            return None
        axes = desk.invented.sites[name].place.axes
        path = desk.edit_positions(name, lambda c, t: _moved(c, axes, enu_m(t)))
        return name, path, what

    return change


def _together(least_days, what, enu_m):
    """Return a change that adds the same ``enu_m(time_s)`` to all stations."""

    def change(desk):
        if desk.invented.days < least_days:
            return None
        for name, site in desk.invented.sites.items():
            desk.edit_positions(name, lambda c, t, a=site.place.axes: _moved(c, a, enu_m(t)))
        return "all", "0-raw/positions", what

    return change


def _up(up_m):
    return np.stack([np.zeros_like(up_m), np.zeros_like(up_m), up_m], axis=1)


def _rimed(t):
    return _up(np.where(_days(t, 210, 219), 0.12, 0.0))


def _raised(t):
    return _up(np.where(t >= 300 * DAY_S, 1.0, 0.0))


def _fallen(t):
    down = t >= 470 * DAY_S
    return np.stack([down * 0.9, down * -1.2, down * -2.4], axis=1)


def _sidereal(t):
    angle = 2.0 * np.pi * t / SIDEREAL_S
    return np.stack(
        [0.006 * np.sin(angle), 0.005 * np.cos(angle), 0.014 * np.sin(2 * angle)], axis=1
    )


def _day_edges(t):
    chance = np.random.default_rng(26).normal(0.0, [0.008, 0.008, 0.02], (1200, 3))
    return chance[(t // DAY_S).astype(int)]


def _sun_wave(t):
    light = np.clip(np.sin(2.0 * np.pi * (t / DAY_S - 0.3)), 0.0, None) * _days(t, 0, 110)
    return np.stack([0.015 * light, 0.010 * light, 0.0 * light], axis=1)


def _base_jump(t):
    after = (t >= 250 * DAY_S) * 1.0
    return np.stack([0.021 * after, -0.013 * after, 0.034 * after], axis=1)


def _base_drift(t):
    return np.stack([0.020 * t, -0.012 * t, 0.0 * t], axis=1) / (365.25 * DAY_S)


def _static_pieces(desk):
    """For ten days one daily position stands for moving ice, off by what motion does to it."""
    if not desk.has("HV11") or desk.invented.days < 75:
        return None
    axes = desk.invented.sites["HV11"].place.axes

    def change(columns, t):
        noon = np.abs(t % DAY_S - DAY_S / 2) < 1800.0
        kept = ~_days(t, 60, 70) | noon
        moved = _days(t[kept], 60, 70) * 1.0
        return _moved(
            _kept(columns, kept), axes, np.stack([0.06 * moved, 0.13 * moved, 0.0 * moved], axis=1)
        )

    return (
        "HV11",
        desk.edit_positions("HV11", change),
        "days 60-70 are static daily solutions, biased",
    )


def _daily(desk):
    """A floating station comes as one position a day: the tide turns into a wave of 14.8 days."""
    if not desk.has("HV14") or desk.invented.days < 200:
        return None

    def change(columns, t):
        return _kept(columns, ~_days(t, 100, 200) | (t % DAY_S < 1.0))

    path = desk.edit_positions("HV14", change)
    return "HV14", path, "days 100-200 hold one position a day: the tide reads as 14.8 days"


def _noisy_nights(t):
    night = (t % DAY_S > 0.85 * DAY_S) & _days(t, 150, 160)
    burst = np.random.default_rng(35).normal(0.0, [0.05, 0.05, 0.12], (t.size, 3))
    return burst * night[:, None]


GAP = "more than a day"
POSITION_CASES = (
    Case(9, "intake", GAP, _gap("HV08", 1, 60, "the card kept the last weeks only")),
    Case(10, "intake", GAP, _gap("HV12", 268, 310, "receiver up, logging off after an outage")),
    Case(11, "intake", GAP, _gap("HV03", 320, 356, "asleep, and nothing to wake it")),
    Case(12, "intake", GAP, _gap("HV05", 90, 121, "ripple reads as a low battery")),
    Case(21, "motion", "", _shift("HV06", 219, "days 210-219: rime, 12 cm higher", _rimed)),
    Case(23, "motion", "", _shift("HV11", 300, "day 300: antenna raised 1 m, unlogged", _raised)),
    Case(25, "motion", "", _shift("HV04", 30, "multipath repeats each sidereal day", _sidereal)),
    Case(26, "motion", "", _shift("HV01", 30, "jumps at midnight", _day_edges)),
    Case(27, "motion", "", _static_pieces),
    Case(28, "motion", "", _daily),
    Case(30, "motion", "", _together(250, "day 250: all jump with their base", _base_jump)),
    Case(31, "motion", "", _together(200, "all drift with their base, 23 mm/a", _base_drift)),
    Case(35, "motion", "", _shift("HV12", 160, "days 150-160: noisy nights", _noisy_nights)),
    Case(37, "motion", "", _shift("HV14", 470, "day 470: the mast lies on the snow", _fallen)),
    Case(43, "motion", "", _shift("HV10", 110, "the mast bends with the Sun, 15 mm", _sun_wave)),
    Case(44, "intake", GAP, _gap("HV13", 440, 470, "mast gone, found again after a search")),
)
