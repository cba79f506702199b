"""Table and sentences of the best places on a lake."""

from dataclasses import dataclass

import numpy as np

from ..earth.projection import projection
from ..formats.plain_table import write_plain_table
from ..lakes.carried import OFF_MAP
from ..lakes.network_sight import CORRELATION
from ..lakes.outline import Outline
from ..lakes.placement import Drift, Place, seen_amplitude_m
from ..station.cautions import ESTIMATE, GROUND

BEST, CONTROL, STANDS = "best place", "control", "stands there"
PLANNED, TOGETHER = "planned", "together"
SPEED_SIGMA = 0.1  # -, of the speed, by which the lake's may differ from the station's; choice
SPEED_OFF = 1.645 * SPEED_SIGMA  # -; of the speed, between 5 and 95 % and the middle
_RANGES = (  # of the table, of a Place, unit
    ("share", "share", ""),
    ("stay_share", "stay_share", ""),
    ("inside", "margin_m", "_m"),
    ("dwell", "dwell_d", "_d"),
)
_ENDS = ("_low", "", "_high")
_DECIMALS = dict.fromkeys(("latitude_deg", "longitude_deg"), 5)
_DECIMALS |= {f"inside{end}_m": 0 for end in _ENDS} | {f"dwell{end}_d": 0 for end in _ENDS}
_DECIMALS |= {"seen_km3": 4, "onset_1m_h": 2, "left_by_map_d": 0, "strain_per_a": 5}
_DECIMALS |= {f"limit{end}_d": 0 for end in _ENDS}
_A_D = 365.25
_SIDES = ("east", "north-east", "north", "north-west", "west", "south-west", "south", "south-east")


@dataclass(frozen=True)
class Together:
    """What stations over one lake tell together: the least change of the roof, onset of 1 m."""

    stations: tuple
    seen_m: float
    onset_h: float


@dataclass(frozen=True, eq=False)
class Placed:
    """What was found for one lake: (role, station or '', place), and how it was judged.

    ``change_sigma_m``: of one change of height from one station's series; ``onset_sigma_d``: of the
    onset of a change of 1 m; ``taken``: sentences. ``carried``: by row, where a map of the ice's
    motion leads, None where there is none; ``together``: None for fewer than two stations.
    """

    outline: Outline
    rows: tuple[tuple[str, str, Place], ...]
    change_sigma_m: float
    onset_sigma_d: float
    drift: Drift
    taken: tuple
    carried: tuple = ()
    together: Together | None = None

    @property
    def lake(self):
        """Its name."""
        return self.outline.name

    def degrees(self, place):
        """Return latitude and longitude of a place. [deg]"""
        return np.degrees(projection(self.outline.epsg).inverse(*place.map_m))

    def onset_h(self, place):
        """Return the sigma of the onset of a change of the roof by 1 m, as it is told there. [h]"""
        share = abs(place.stay_share[1])
        return 24.0 * self.onset_sigma_d / share if share > 0.0 else np.inf

    def seen_m(self, place, part):
        """Return the least mean change of the roof that is seen there (low, middle, high). [m]"""
        shares = place.stay_share[::-1]
        return seen_amplitude_m(shares, self.change_sigma_m, part.false_alarm, part.power)


def placement_table(placed, part):
    """Return the bytes of ``placement.csv``: a row for each place."""
    ways = placed.carried or (None,) * len(placed.rows)
    rows = [
        _row(placed, part, *one) | _carried_row(way)
        for one, way in zip(placed.rows, ways, strict=True)
    ]
    both = placed.together
    if both is not None:
        row = {name: "" if isinstance(value, str) else np.nan for name, value in rows[0].items()}
        rows.append(row | {
            "lake": placed.lake, "role": TOGETHER, "station": " ".join(both.stations),
            "onset_1m_h": both.onset_h, "seen_m": both.seen_m,
            "seen_km3": both.seen_m * placed.outline.area_m2 / 1e9,
        })  # fmt: skip
    columns = {name: np.array([row[name] for row in rows]) for name in rows[0]}
    return write_plain_table(columns, _DECIMALS)


def _row(placed, part, role, station, place):
    latitude, longitude = placed.degrees(place)
    row = {"lake": placed.lake, "role": role, "station": station}
    row |= {"latitude_deg": float(latitude), "longitude_deg": float(longitude)}
    for name, attribute, unit in _RANGES:
        values = getattr(place, attribute)
        row |= {f"{name}{end}{unit}": float(v) for end, v in zip(_ENDS, values, strict=True)}
    seen = float(placed.seen_m(place, part)[1])
    row |= {"onset_1m_h": placed.onset_h(place)}
    return row | {"seen_m": seen, "seen_km3": seen * placed.outline.area_m2 / 1e9}


def _carried_row(way):
    """Return the columns of where a map leads a place."""
    if way is None:
        names = (*(f"limit{end}_d" for end in _ENDS), "left_by_map_d", "strain_per_a")
        return dict.fromkeys(names, np.nan)
    ends = limit_range_d(way)
    row = {f"limit{end}_d": value for end, value in zip(_ENDS, ends, strict=True)}
    return row | {"left_by_map_d": way.left_d, "strain_per_a": way.here_per_a}


def limit_range_d(way):
    """Return the days to the limit (low, middle, high), for a speed that is off by a tenth. [d]

    NaN where the map ends before.
    """
    if np.isinf(way.limit_d) and way.end == OFF_MAP:
        return (np.nan,) * 3
    return tuple(way.limit_d / (1.0 + off) for off in (SPEED_OFF, 0.0, -SPEED_OFF))


def sentences(placed, part):
    """Return what was found, in sentences, and then how."""
    ways = placed.carried or (None,) * len(placed.rows)
    lines = [
        f"{_of_place(placed, part, *row)}{_of_way(row[0], way, part)}"
        for row, way in zip(placed.rows, ways, strict=True)
    ]
    both = placed.together
    if both is not None:
        lines.append(
            f"{placed.lake}: {', '.join(both.stations)} together see changes of the roof from "
            f"{_amount(both.seen_m)} on, and tell the onset of one of 1 m to {both.onset_h:.1f} h "
            f"(1 sigma, errors alike by {CORRELATION:g})."
        )
    lines.append(
        f"Taken: {'; '.join(placed.taken)}. Seen: a change over {part.change_d:g} d in a record of "
        f"{part.record_d:g} d before and after, {part.power:.0%} sure, noise alone looks like it "
        f"in {part.false_alarm:.1%} of cases. Tide and weather are taken to be alike where places "
        "are near."
    )
    if any(way is not None for way in ways):
        lines.append(
            "Strain rates are those of the map's cells: crevasses are narrower, may be older, and "
            f"lie where it shows none. {GROUND} {ESTIMATE}"
        )
    return lines


def _of_place(placed, part, role, station, place):
    """Return a sentence about one place."""
    latitude, longitude = placed.degrees(place)
    where = f"{latitude:.4f}, {longitude:.4f}"
    if role == CONTROL:
        best = next(p for r, _, p in placed.rows if r == BEST)
        away, side = _beside(place.true_m - best.true_m, placed, longitude)
        return (
            f"{placed.lake}: a control would stand well at {where}, {away / 1e3:.1f} km {side} of "
            f"that; it shows at most {max(np.abs(place.stay_share)):.2f} of the roof's change."
        )
    low, share, high = place.stay_share
    seen = placed.seen_m(place, part)[1]
    begin = (
        f"{placed.lake}: a station would see most at {where}" if role == BEST
        else f"{placed.lake}: {station} stands at {where}"
    )  # fmt: skip
    return (
        f"{begin}, {place.margin_m[1] / 1e3:.1f} km inside the margin "
        f"({place.margin_m[0] / 1e3:.1f} to {place.margin_m[2] / 1e3:.1f}). Over {part.stay_d:g} d "
        f"the surface does {share:.2f} of what the roof does ({low:.2f} to {high:.2f}); one "
        f"station sees changes of the roof from {_amount(seen)} on, and tells the onset of one of "
        f"1 m to {placed.onset_h(place):.1f} h (1 sigma). {_dwell(place)}"
    )


def _of_way(role, way, part):
    """Return a sentence about where a map of the ice's motion leads a place; '' without one."""
    if way is None or role == CONTROL:
        return ""
    limit = f"{part.strain_limit_per_a:g} a year"
    low, middle, high = (days / _A_D for days in limit_range_d(way))
    left = f" By the map it is out of the lake after {way.left_d / _A_D:.1f} years."
    left = left if np.isfinite(way.left_d) else ""
    if way.limit_d == 0.0:
        return (
            f"{left} The map's strain rate there is {way.here_per_a:.3f} a year, above {limit}: "
            "crevasses may be open or bridged."
        )
    if np.isfinite(middle):
        return (
            f"{left} It comes to strain rates of {limit}, where crevasses may open, after "
            f"{middle:.1f} years ({low:.1f} to {high:.1f}), {way.limit_m / 1e3:.1f} km on."
        )
    return (
        f"{left} It meets no strain rate of {limit} on the {way.known_d / _A_D:.1f} years of its "
        f"way that the map shows (at most {way.most_per_a:.4f})."
    )


def _amount(seen_m):
    """Return a height as a person says it."""
    if not np.isfinite(seen_m):
        return "no size"
    return f"{100.0 * seen_m:.0f} cm" if seen_m < 1.0 else f"{seen_m:.1f} m"


def _dwell(place):
    low, middle, high = place.dwell_d
    if not np.isfinite(middle):
        return "The ice does not carry it away."
    return (
        f"The ice carries it out of the lake after {middle / _A_D:.1f} years "
        f"({low / _A_D:.1f} to {high / _A_D:.1f})."
    )


def _beside(step_m, placed, longitude_deg):
    """Return (distance, compass word) of a step in true metres along the map's axes. [m]"""
    chart = projection(placed.outline.epsg)
    angle = np.arctan2(step_m[1], step_m[0]) + chart.convergence(np.radians(longitude_deg))
    return float(np.hypot(*step_m)), _SIDES[int(np.round(angle / (0.25 * np.pi))) % 8]
