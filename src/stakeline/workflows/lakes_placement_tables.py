"""Table and sentences of the best places on a lake."""

from dataclasses import dataclass

import numpy as np

from ..earth.projection import projection
from ..formats.plain_table import write_plain_table
from ..lakes.outline import Outline
from ..lakes.placement import Drift, Place, seen_amplitude_m

BEST, CONTROL, STANDS = "best place", "control", "stands there"
_RANGES = (  # of the table, of a Place, unit
    ("share", "share", ""),
    ("stay_share", "stay_share", ""),
    ("inside", "margin_m", "_m"),
    ("dwell", "dwell_d", "_d"),
)
_ENDS = ("_low", "", "_high")
_DECIMALS = dict.fromkeys(("latitude_deg", "longitude_deg"), 5)
_DECIMALS |= {f"inside{end}_m": 0 for end in _ENDS} | {f"dwell{end}_d": 0 for end in _ENDS}
_DECIMALS |= {"seen_km3": 4, "onset_1m_h": 2}
_A_D = 365.25
_SIDES = ("east", "north-east", "north", "north-west", "west", "south-west", "south", "south-east")


@dataclass(frozen=True, eq=False)
class Placed:
    """What was found for one lake: (role, station or '', place), and how it was judged.

    ``change_sigma_m``: of one change of height from one station's series; ``onset_sigma_d``: of the
    onset of a change of 1 m; ``taken``: sentences.
    """

    outline: Outline
    rows: tuple[tuple[str, str, Place], ...]
    change_sigma_m: float
    onset_sigma_d: float
    drift: Drift
    taken: tuple

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
    rows = [_row(placed, part, *one) for one in placed.rows]
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


def sentences(placed, part):
    """Return what was found, in sentences, and then how."""
    lines = [_of_place(placed, part, *row) for row in placed.rows]
    lines.append(
        f"Taken: {'; '.join(placed.taken)}. Seen: a change over {part.change_d:g} d in a record of "
        f"{part.record_d:g} d before and after, {part.power:.0%} sure, noise alone looks like it "
        f"in {part.false_alarm:.1%} of cases. Tide and weather are taken to be alike where places "
        "are near."
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
