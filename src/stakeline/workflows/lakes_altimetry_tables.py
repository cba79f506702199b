"""Tables of what altimetry tells of a lake."""

import numpy as np

from ..constants import NS_PER_S
from ..formats.plain_table import write_plain_table
from ..time import iso
from .lakes_altimetry import MAPS, PASSES, SERIES

LEVELS, AGREEMENT = "altimetry_levels.csv", "altimetry_agreement.csv"
OF_MAPS, OF_SERIES = "altimetry_maps.csv", "altimetry_series.csv"
SUMMARY, CURVE = "altimetry_summary.csv", "level_curve.csv"
SEEN = "satellite_alone.csv"


def altimetry_files(found):
    """Return {name: bytes} of the tables of a :class:`LakeAltimetry`; times are GPS time.

    A table without rows is left out.
    """
    tables = {
        LEVELS: _levels_table(found),
        OF_MAPS: _maps_table(found),
        OF_SERIES: _series_table(found),
        AGREEMENT: _agreement_table(found),
        SUMMARY: _summary_table(found),
        SEEN: _seen_table(found),
    }
    tables |= {side_name(CURVE, found, side): _curve_table(side) for side in found.sides}
    decimals = {"p_value": 4, "slope": 4, "slope_sigma": 4, "over_sigma": 2, "delay_d": 2}
    decimals |= {"interval_d": 2, "chi_square": 2, "difference_over_sigma": 2}
    return {
        name: write_plain_table(columns, dict.fromkeys(columns, 4) | decimals)
        for name, columns in tables.items()
        if columns and len(next(iter(columns.values())))
    }


def side_name(name, found, side):
    """Return the name of a file of one side: that of the first is ``name`` itself."""
    stem, dot, end = name.rpartition(".")
    own = "" if side is found.first else f"_{side.source.replace(' ', '_')}"
    return f"{stem}{own}{dot}{end}"


def _levels_table(found):
    for side in found.sides:
        if side.source == PASSES:
            return _passes_table(side.levels)
    return {}


def _passes_table(levels):
    level, sigma = levels.since()
    return {
        "time_gps": seconds(levels.time_ns), "cycle": levels.cycle, "level_m": level,
        "sigma_m": sigma,
        "points_inside": levels.inside, "points_around": levels.around,
        "pass_bias_m": levels.bias_m, "bend_m": levels.bend_m,
        "tracks": np.array(levels.tracks, object),
    }  # fmt: skip


def _maps_table(found):
    if not found.maps:
        return {}
    names = ("change_m", "sigma_m", "inside_m", "around_m", "seen")
    columns = {n: np.concatenate([getattr(m, n) for m in found.maps]) for n in names}
    columns["volume_m3"] = np.concatenate([m.volume_m3(found.area_m2) for m in found.maps])
    time_ns = np.concatenate([m.time_ns for m in found.maps])
    count = [len(m.time_ns) for m in found.maps]
    columns["source"] = np.repeat(_names(MAPS, len(count)), count)
    return {"time_gps": seconds(time_ns)} | columns


def _names(kind, count):
    return [f"{kind} {k + 1}" if count > 1 else kind for k in range(count)]


def _series_table(found):
    sides = [side for side in found.sides if side.source.startswith(SERIES)]
    if not sides:
        return {}
    level, sigma = np.concatenate([side.levels.since() for side in sides], axis=1)
    count = [len(side.levels) for side in sides]
    return {
        "time_gps": seconds(np.concatenate([side.levels.time_ns for side in sides])),
        "level_m": level, "sigma_m": sigma, "volume_m3": found.area_m2 * level,
        "source": np.repeat([side.source for side in sides], count),
    }  # fmt: skip


def _agreement_table(found):
    rows = [
        (side.source, station, *row)
        for side in found.sides
        for station, a in side.agreements.items()
        for row in zip(a.time_ns, a.difference_m, a.sigma_m, strict=True)
    ]
    if not rows:
        return {}
    source, station, time_ns, difference, sigma = map(np.array, zip(*rows, strict=True))
    return {
        "station": station, "time_gps": seconds(time_ns), "altimetry_minus_station_m": difference,
        "sigma_m": sigma, "difference_over_sigma": difference / sigma, "source": source,
    }  # fmt: skip


def _summary_table(found):
    items = [(side, name, a) for side in found.sides for name, a in side.agreements.items()]
    if not items:
        return {}
    columns = {"station": [n for _, n, _ in items], "passes": [len(a.time_ns) for *_, a in items]}
    columns["share"] = [side.shares[n][0] for side, n, _ in items]
    columns["share_sigma"] = [side.shares[n][1] for side, n, _ in items]
    names = ("offset_m", "offset_sigma_m", "slope", "slope_sigma", "chi_square", "freedom")
    columns |= {n: [getattr(a, n) for *_, a in items] for n in (*names, "p_value")}
    columns["source"] = [side.source for side, *_ in items]
    return {n: np.array(v) for n, v in columns.items()}


def _curve_table(side):
    return {
        "time_gps": side.curve.time_ns, "level_m": side.curve.level_m,
        "sigma_m": side.curve.sigma_m, f"{word(side)}_alone_m": side.alone.level_m,
        f"{word(side)}_alone_sigma_m": side.alone.sigma_m,
    }  # fmt: skip


def word(side):
    """Return the kind of a side without its number."""
    return side.source.partition(" ")[0]


def _seen_table(found):
    columns = {name: [] for name in (*_SEEN_NAMES, "source")}
    for side, s in [(one, s) for one in found.sides for s in one.seen]:
        times = side.levels.time_ns
        passes = [None if k is None else times[k] for k in (s.before, s.after, s.known)]
        row = [s.event.kind, s.event.onset_ns, s.event.end_ns, s.event.change_m, s.verdict, *passes]
        row += [s.change_m, s.sigma_m, s.over_sigma, s.delay_d, *(s.interval_ns or (None, None))]
        for name, value in zip(columns, [*row, s.width_d, side.source], strict=True):
            columns[name].append(value)
    return {n: _column(n, v) for n, v in columns.items()} if columns["source"] else {}


_SEEN_NAMES = (
    *("kind", "onset_gps", "end_gps", "change_m", "verdict"),
    *("last_pass_before_gps", "first_pass_after_gps", "known_with_pass_gps"),
    *("seen_change_m", "seen_sigma_m", "over_sigma", "delay_d"),
    *("onset_after_gps", "onset_before_gps", "interval_d"),
)


def _column(name, values):
    """Return an array of a column; times that are missing become empty."""
    if name.endswith("_gps") and any(v is None for v in values):
        texts = ["" if v is None else iso(seconds(v)) for v in values]
        return np.array(texts, object)
    return seconds(values) if name.endswith("_gps") else np.array(values)


def seconds(time_ns):
    """Return times to the second. [ns]"""
    return (np.asarray(time_ns, np.int64) + NS_PER_S // 2) // NS_PER_S * NS_PER_S
