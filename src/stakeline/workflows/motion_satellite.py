"""Speeds that satellites have seen beside those of stations over the same span of time."""

from dataclasses import dataclass

import numpy as np

from ..constants import DAYS_PER_YEAR, NS_PER_DAY
from ..errors import SettingsError
from ..formats.plain_table import write_plain_table
from ..time import from_iso, gps_from_utc, iso
from .lakes_carried import speeds_by_map
from .motion_results import ns

NEAR = 1.5  # steps of the table within which its row stands for the begin or end; our choice
NUMBERS = (
    "satellite_m_a", "satellite_sigma_m_a", "station_m_a", "station_sigma_m_a", "difference_m_a",
    "difference_sigma_m_a",
)  # fmt: skip


@dataclass(frozen=True)
class Compared:
    """One station in one span: speeds and sigmas [m/a], or why there is no difference."""

    station: str
    begin_ns: int
    end_ns: int
    source: str
    satellite: tuple
    own: tuple
    why: str = ""

    @property
    def numbers(self):
        """Speeds of satellite and station and their difference, each with its sigma (6,)."""
        apart = self.satellite[0] - self.own[0]
        return (*self.satellite, *self.own, apart, float(np.hypot(self.satellite[1], self.own[1])))


def compared(campaign, tables):
    """Return the :class:`Compared` of ``[[motion.satellite]]`` with stations, in order of both.

    Parameters
    ----------
    campaign : Campaign
    tables : dict
        By station (columns, metadata) of its motion table.

    Raises
    ------
    SettingsError
        Where a map that is named has no speed, or in another unit.
    """
    found = []
    for part in campaign.settings.motion.satellite:
        span = tuple(int(gps_from_utc(from_iso(text))) for text in (part.begin, part.end))
        for station, (columns, metadata) in tables.items():
            speed, source = part.speed_m_a.get(station, np.nan), "campaign.toml"
            if part.map is not None:
                place = [[metadata["latitude_deg"], metadata["longitude_deg"]]]
                seen, source = speeds_by_map(campaign, np.radians(np.array(place, float)), part.map)
                if not source:
                    raise SettingsError(
                        f"campaign.toml: [[motion.satellite]] map: {part.map} gives no speed; "
                        "expected a file in maps/ with a field speed, or velocity_x and velocity_y"
                    )
                speed = float(seen[0]) * DAYS_PER_YEAR
            elif station not in part.speed_m_a:
                continue
            own, why = way_over(ns(columns["time_gps"]), columns, span)
            why = why if np.isfinite(speed) else "not on the map"
            satellite = speed, part.sigma_m_a
            found.append(Compared(station, *span, source, satellite, own, why))
    return tuple(found)


def way_over(time_ns, columns, span_ns):
    """Return ((mean speed along the flow over a span, its sigma) [m/a], why there is none).

    The distance along the flow at the end less that at the begin, over the time: what a pair of
    images sees. Errors at both ends are taken as independent.
    """
    nothing = np.nan, np.nan
    if len(time_ns) < 2:
        return nothing, "no motion"
    ends = []
    for at in span_ns:
        row = int(np.argmin(np.abs(time_ns - at)))
        near = abs(int(time_ns[row]) - at) <= NEAR * np.median(np.diff(time_ns))
        if not near or not np.isfinite(columns["along_m"][row]):
            return nothing, f"no position of the station at {iso(at)}"
        ends.append(row)
    first, last = ends
    years = (time_ns[last] - time_ns[first]) / NS_PER_DAY / DAYS_PER_YEAR
    if years <= 0.0:
        return nothing, "the span is shorter than the interval of motion"
    way = columns["along_m"][last] - columns["along_m"][first]
    sigma = np.hypot(columns["along_sigma_m"][first], columns["along_sigma_m"][last])
    return (float(way / years), float(sigma / years)), ""


def satellite_csv(rows):
    """Return the bytes of the table of comparisons."""
    columns = {
        "station": [row.station for row in rows],
        "begin_gps": np.array([row.begin_ns for row in rows], np.int64),
        "end_gps": np.array([row.end_ns for row in rows], np.int64),
        "source": [row.source for row in rows],
    }
    for k, name in enumerate(NUMBERS):
        columns[name] = np.array([row.numbers[k] for row in rows], float)
    columns["left_out"] = [row.why for row in rows]
    return write_plain_table(columns, dict.fromkeys(NUMBERS, 4))


def satellite_words(rows):
    """Return the line of the summary on speeds of satellites; none without any."""
    told = np.array([row.numbers for row in rows if not row.why])
    left = sum(bool(row.why) for row in rows)
    more = f"; {left} without a station's speed or a satellite's" if left else ""
    if not len(told):
        return [f"  satellite speeds: none of {len(rows)} can be compared"] if rows else []
    apart, sigma = told[:, 4], told[:, 5]
    rms = float(np.sqrt(np.mean((apart / sigma) ** 2)))
    return [
        f"  satellite less station, {len(told)} spans: mean {apart.mean():+.2f} m/a, rms "
        f"{np.sqrt(np.mean(apart**2)):.2f} m/a, {rms:.1f} sigmas (1 is expected){more}; see "
        "satellite.csv"
    ]
