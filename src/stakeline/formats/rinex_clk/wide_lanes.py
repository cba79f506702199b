"""Wide-lane biases of satellites that some centres write into the comments of clock files."""

import re

from ...tables import satellite_id

# WL, satellite, year month day hour minute second, count, cycles, the two bands
_TIME = r"\d{4}\s+\d+\s+\d+\s+\d+\s+\d+\s+[\d.]+\s+\d+"
_LINE = re.compile(rf"^WL\s+([GEC]\d\d)\s+{_TIME}\s+([+-]?[\d.]+(?:E[+-]?\d+)?)\s+0(\d)0(\d)")


def wide_lane_biases(comments):
    """Return {satellite: (cycles to add to the wide lane, bands such as "15")} from comments.

    The wide lane is the difference of both phases less the narrow lane of both codes, in cycles.
    With the sign turned the fractions of a day scatter (measured on a real day).
    """
    found = {}
    for comment in comments:
        match = _LINE.match(comment.strip())
        if match:
            found[satellite_id(match[1])] = float(match[2]), match[3] + match[4]
    return found
