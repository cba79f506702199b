"""Sentences about the snow below an antenna."""

from ..campaign.folders import STATIONS
from ..signals.snow_height import BURIED_M, WARN
from ..time import iso

HEADER_APART_M = 1.0  # m; a file does not tell when the station was set up; our choice


def nothing_words(reasons):
    """Return that no day has a height, and the reason of most days."""
    why = max(reasons, key=reasons.get)
    return f"no day has a height above the snow: {why}"


def contradiction_words(one, station):
    """Return what log and reflections say, how far apart that is, and what to look at."""
    apart = abs(one.found_m - one.logged_m)
    allowed = f"{apart:.2f} m apart, where no more than {WARN * one.sigma_m:.2f} m is likely"
    where = f"{STATIONS}/{station}.toml"
    if one.number == 0:
        return (
            f"on {_day(one.time_ns)} reflections put the antenna {one.found_m:.2f} m above the "
            f"snow, the log {one.logged_m:.2f} m above the marker: {allowed} "
            f"{one.apart_d:.0f} d after the set-up; check the height in {where}, and whether the "
            "marker lay at the snow"
        )
    return (
        f"by {_day(one.time_ns)} reflections find the antenna moved by {one.found_m:+.2f} m "
        f"against the snow, the log tells {one.logged_m:+.2f} m: {allowed} within "
        f"{one.apart_d:.0f} d; check height and marker_moved in {where}"
    )


def header_words(day, header_m):
    """Return that the antenna height of a header is far from what reflections find; '' else."""
    if not abs(day.height_m - header_m) > HEADER_APART_M:
        return ""
    return (
        f"on {_day(day.time_ns)} reflections put the antenna {day.height_m:.2f} m above the snow, "
        f"the header {header_m:.2f} m above the marker: more than {HEADER_APART_M:g} m of snow or "
        "melt since the set-up, or a wrong antenna height"
    )


def buried_words(time_ns, height_m, half_width_m):
    """Return that an antenna stands too near to the snow."""
    return (
        f"on {_day(time_ns)} the antenna stood {height_m:.2f} \N{PLUS-MINUS SIGN} "
        f"{half_width_m:.2f} m above the snow, less than {BURIED_M} m: it may be buried by the "
        "next storm"
    )


def trend_words(trend, when):
    """Return when a straight line comes down to the height that is warned of."""
    rate, half = 100.0 * trend.rate_m_d, 100.0 * trend.rate_half_width_m_d
    latest = "later than a year on" if when.latest_ns is None else _day(when.latest_ns)
    return (
        f"at the rate of the last {trend.span_d:.0f} d ({rate:+.1f} \N{PLUS-MINUS SIGN} "
        f"{half:.1f} cm/d) the antenna comes within {BURIED_M} m of the snow on "
        f"{_day(when.time_ns)} (95 %: {_day(when.earliest_ns)} to {latest}); a storm can be earlier"
    )


def _day(time_ns):
    return iso(time_ns)[:10]
