"""Tables and sentences of passing times and of the water's speed between lakes."""

import numpy as np

from ..constants import NS_PER_S
from ..formats.plain_table import write_plain_table
from ..lakes.event_record import LEVEL, interval
from ..time import iso

_WORDS = ("low", "median", "high")
_MINUTE_NS = 60 * NS_PER_S
_DECIMALS = {"probability": 3, "speed_low_m_s": 3, "speed_high_m_s": 3}


def passings_csv(passings):
    """Return the bytes of the table: a line for each event, station and range of speeds."""
    columns = {
        "event": [one.told["event"] for one in passings],
        "lake": [one.told["lake"] for one in passings],
        "station": [one.station for one in passings],
        "probability": [one.probability for one in passings],
        "through": [" and ".join(one.through) for one in passings],
        "speed_low_m_s": [one.speed_m_s[0] for one in passings],
        "speed_high_m_s": [one.speed_m_s[1] for one in passings],
    }
    decimals = dict(_DECIMALS)
    for k, word in enumerate(_WORDS):
        columns[f"along_{word}_m"] = [one.along_m[k] for one in passings]
        decimals[f"along_{word}_m"] = 0
    for name in ("front_ns", "peak_ns"):
        spans = [span(getattr(one, name)) for one in passings]
        for k, word in enumerate(_WORDS):
            columns[f"{name[:-3]}_{word}_gps"] = [times[k] for times in spans]
    for k, word in enumerate(_WORDS):
        columns[f"delay_{word}_h"] = [interval(one.delay_h)[k] for one in passings]
        decimals[f"delay_{word}_h"] = 2
    return write_plain_table({k: np.array(v) for k, v in columns.items()}, decimals)


def speeds_csv(speeds):
    """Return the bytes of the table: a line for each draining and filling below."""
    columns = {
        "event": [one.told["event"] for one in speeds],
        "below": [one.below["event"] for one in speeds],
        "probability": [one.probability for one in speeds],
        "along_m": [one.along_m for one in speeds],
        "later": [later(one) for one in speeds],
    }
    decimals = {"probability": 3, "along_m": 0, "later": 3}
    for name in ("delay_h", "speed_m_s"):
        ranges = [interval(getattr(one, name)[np.isfinite(one.speed_m_s)]) for one in speeds]
        for k, word in enumerate(_WORDS):
            columns[f"{name}_{word}"] = [found[k] for found in ranges]
            decimals[f"{name}_{word}"] = 3
    return write_plain_table({k: np.array(v) for k, v in columns.items()}, decimals)


def later(one):
    """Return the share of samples in which the filling begins after the draining."""
    return float(np.isfinite(one.speed_m_s).mean())


def span(samples_ns):
    """Return low, median, high of times as ISO 8601, to the minute."""
    first = int(samples_ns[0])
    found = interval((samples_ns - first).astype(float))
    return tuple(iso((first + round(v)) // _MINUTE_NS * _MINUTE_NS) for v in found)


def passing_words(one):
    """Return a sentence on one draining at one station."""
    front, peak = span(one.front_ns), span(one.peak_ns)
    low, high = one.speed_m_s
    through = f", through {' and '.join(one.through)}" if one.through else ""
    return (
        f"{one.told['lake']}, drain of {one.told['onset_median_gps'][:10]}: would pass "
        f"{one.station} ({one.along_m[1] / 1e3:.1f} km on, probability {one.probability:.2f}"
        f"{through}) from {_hour(front[1])} ({_hour(front[0])} to {_hour(front[2])}), most of it "
        f"{_hour(peak[1])} ({_hour(peak[0])} to {_hour(peak[2])}) GPS, at {low:g} to {high:g} m/s"
    )


def speed_words(one):
    """Return a sentence on the water's speed between two lakes."""
    known = np.isfinite(one.speed_m_s)
    low, middle, high = interval(one.speed_m_s[known])
    hours = interval(one.delay_h[known])
    return (
        f"{one.told['lake']}, drain of {one.told['onset_median_gps'][:10]}: {one.below['lake']} "
        f"began to fill {hours[1]:.0f} h later ({hours[0]:.0f} to {hours[2]:.0f}), "
        f"{one.along_m / 1e3:.1f} km on: {middle:.2g} m/s ({low:.2g} to {high:.2g}, "
        f"{LEVEL:.0%}), if its water came from there ({1.0 - later(one):.0%} of samples have it "
        "begin before and are left out)"
    )


def _hour(text):
    return text[:16].replace("T", " ")
