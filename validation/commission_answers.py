"""Answers to readings that are wrong: polarity, mV, season, hemisphere, missing, slips of a tape.

    python validation/commission_answers.py

Exit code 1 where one falls short.
"""

from dataclasses import replace
from itertools import product

import numpy as np
from _commission import good_entries, moment, planned, verdict
from _measured import Table

from stakeline.station.expectation import judge
from stakeline.station.light_band import light_band
from stakeline.workflows.commission_sheet import (
    build_sheet,
    conditions_of,
    expectations,
)
from stakeline.workflows.commission_verdict import HALF_YEAR_NS
from stakeline.workflows.sheet_parts import TICK

SEED, DRAWS = 20310429, 200
OWN = "simulation; own bar"
SLIPS = (
    ({"height_tape_m": 1.578}, "is the slope reading, not reduced"),
    ({"height_tape_m": 1.567}, "ended at the rim"),
    ({"height_tape_m": 60.31}, "inches typed as metres"),
    ({"height_tape_m": 5.026}, "feet typed as metres"),
    ({"height_tape_m": 153.2}, "centimetres typed as metres"),
    ({"height_tape_m": 1.632}, "read all three again"),
    ({"guy_1_N": 204.0}, "read in kg"),
    ({"heater_ohm": 7.2}, "a heater for half the voltage"),
    ({"battery_rest_V": 10.5}, "one cell is dead"),
    ({"battery_lowest_block_V": 12.36}, "V apart"),
    ({"panel_south_open_V": 0.02}, "no voltage"),
    ({"panel_south_open_V": 12.2}, "one half of the cells is dark"),
    ({"file_grows_kB": 0.0}, "it does not log"),
    ({"battery_rest_V": "twelve"}, "is no number"),
    ({"battery_rest_V": "12.7 A"}, "is no unit of this reading"),
)


def signs_and_units(table):
    """Each voltage and current that is as expected, with its sign turned, in mV, or both."""
    counts = {"swapped": [0, 0], "in mV or mA": [0, 0], "swapped and in mV": [0, 0]}
    rng = np.random.default_rng(SEED)
    for latitude, iso, sky in ((79.04, "2031-04-28T14:30", "clear"), (79.04, "2031-06-20T02:00",
                               "unknown"), (-84.3, "2031-11-10T09:00", "cloudy")):  # fmt: skip
        described = planned(("latitude_deg = 79.0412", f"latitude_deg = {latitude}"))
        for e in expectations(described, moment(iso, sky)):
            if not e.polar or e.least <= 0.0 or e.why_not:
                continue
            for value in rng.uniform(e.least, e.most, 20):
                said = {
                    "swapped": (judge(e, -value), "polarity is swapped"),
                    "in mV or mA": (judge(e, 1e3 * value), f"read in m{e.unit}"),
                    "swapped and in mV": (judge(e, -1e3 * value), "with swapped polarity"),
                }
                for name, (judgement, words) in said.items():
                    counts[name][0] += words in judgement.sentence
                    counts[name][1] += 1
    for name, (told, count) in counts.items():
        table.line(f"{name}: told, of {count}", 100.0 * told / count, 100.0, "%", OWN, least=True)


def flat(latitude):
    """Return the example station at a latitude, with a level skyline."""
    skyline = "horizon_deg = [[0, 2], [90, 6], [180, 1], [270, 5]]"
    return planned(
        ("latitude_deg = 79.0412", f"latitude_deg = {latitude}"), (skyline, "horizon_deg = []")
    )


def seasons(table):
    """Good panel readings under a date half a year off, or with the latitude's sign turned."""
    rng = np.random.default_rng(SEED + 1)
    wrong_date, wrong_side, false = [], [], []
    for latitude, hour in product((79.04, 70.0, -72.0, -84.3), range(0, 24, 3)):
        described, turned = flat(latitude), flat(-latitude)
        month, day = (5 if latitude > 0.0 else 11) + hour % 2, 1 + int(rng.integers(0, 28))
        when = moment(f"2031-{month:02d}-{day:02d}T{hour:02d}:00")
        sun = light_band(conditions_of(described, when).place, 0.0, 0.0)
        if np.degrees(sun.sun_elevation_rad) < 10.0:
            continue
        late = replace(when, utc_ns=when.utc_ns + HALF_YEAR_NS)
        wrong_date.append(told(verdict(described, late, panels(described, when))))
        wrong_side.append(told(verdict(turned, when, panels(described, when))))
        false.append(bool(verdict(described, when).season))
    share = 100.0 * np.mean(wrong_date)
    table.line(f"half a year off: told, of {len(wrong_date)}", share, 95.0, "%", OWN, least=True)
    share = 100.0 * np.mean(wrong_side)
    table.line(f"other hemisphere: told, of {len(wrong_side)}", share, 95.0, "%", OWN, least=True)
    table.line(f"right date and side: told wrongly, of {len(false)}", sum(false), 0, "", OWN)


def panels(described, when):
    """Return the panels' readings as they are on a date."""
    entries, _ = good_entries(described, when)
    return {k: v for k, v in entries.items() if k.startswith("panel") and "cable" not in k}


def told(said):
    """Whether the date, the latitude's sign or the dark is spoken of."""
    return any("look at" in note or "below the horizon" in note for note in said.season)


def missing(table):
    """Each thing that must not be missing stops the leave, and is named."""
    described, when = planned(), moment()
    whole = verdict(described, when)
    table.line("nothing missing: things to do first", len(whole.first), 0, "", OWN)
    sheet = build_sheet(described, when)
    _, photos = good_entries(described, when)
    heights = ("height_slope", "height_second", "height_tape")
    stopped = named = count = 0
    for item in sheet.items():
        if not item.must or item.key.startswith(heights):
            continue
        count += 1
        gone = {item.key: False if item.kind == TICK else None}
        said = verdict(described, when, gone, photos - {item.key})
        stopped += not said.may_leave
        first = item.label.split(",")[0].strip()
        named += any(first in line for line in said.first)
    table.line(f"one missing: no leave, of {count}", stopped, count, "", OWN, least=True)
    table.line("  and named", named, count, "", OWN, least=True)
    optional = [item.key for item in sheet.items() if not item.must]
    said = verdict(described, when, dict.fromkeys(optional))
    name = f"all {len(optional)} that may be left out: things to do first"
    source = "own bar: without the rim's height over the reference point the slopes disagree"
    table.line(name, len(said.first), 1, "", source)


def slips(table):
    """Slips that people make, each with the words that it must be answered with."""
    described, when = planned(), moment()
    told = 0
    for change, words in SLIPS:
        said = " | ".join(verdict(described, when, change).first)
        told += words in said
        table.say(f"{change}: {said[:150]}")
    table.line("slips answered in the words expected", told, len(SLIPS), "", OWN, least=True)


def main():
    table = Table("Answers to readings that are wrong")
    for part in (signs_and_units, seasons, missing, slips):
        part(table)
    table.end()


if __name__ == "__main__":
    main()
