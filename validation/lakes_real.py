"""Real records of lakes and of heights on ice: series, outlines, volumes, motion put into heights.

    python validation/lakes_real.py

Exit code 1 where one falls short. The records are read from the folder in STAKELINE_REFERENCE_DATA
or ../shared/data.

No open record of heights over a draining lake was found; so a known course is added to the real
heights of a station on a tidewater glacier (what its motion leaves of height), and must be found.
The course is added behind the solution of the motion: what that would keep of it is not tested.
"""

import csv
import json
import tempfile
from pathlib import Path

import numpy as np
import shapefile
from _measured import Table, real_data
from motion_bowdoin import SETTINGS, record

from stakeline.campaign.altimetry_map import AltimetryMap
from stakeline.constants import NS_PER_DAY
from stakeline.errors import FormatError
from stakeline.formats.outlines import read_outlines, read_rings
from stakeline.lakes.combined import StationUp
from stakeline.lakes.curve import ramp
from stakeline.lakes.event_record import interval
from stakeline.lakes.events import find_events
from stakeline.lakes.outline import drawn_outlines, recognised_outline
from stakeline.lakes.volume import flat_volume_m3
from stakeline.motion.solve import solve_motion
from stakeline.time import from_iso, iso, utc_from_gps
from stakeline.workflows.altimetry_series import level_series

README = "README of the real data"
MONTHLY = {  # range, greatest and its year, least and its year; None: not quoted
    "Mac1": (6.10, (3.39, 2012.12), (-2.71, 2013.04)),
    "Mac2": (2.53, None, None),
    "SubglacialLakeConway": (5.44, (1.35, 2012.96), (-4.08, 2014.21)),
    "SubglacialLakeMercer": (7.13, (3.82, 2012.54), (-3.32, 2014.88)),
}
METHODS = {"evolving": (75.0, 0.08, -0.89), "stationary": (0.5, 0.16, -0.80)}
FILES = {
    "stationary": "prior_stationary_outlines_epsg3031_metres.geojson",
    "evolving": "evolving_outlines_union_epsg3031_metres.geojson",
}
POLAR_3031 = (  # well-known text, OGC 01-009
    'PROJCS["WGS 84 / Antarctic",GEOGCS["WGS 84",UNIT["degree",0.0174532925199433]],'
    'PROJECTION["Polar_Stereographic"],PARAMETER["latitude_of_origin",-71],'
    'PARAMETER["central_meridian",0],UNIT["metre",1]]'
)
PLACEMENTS = (  # day, length [d], size [m]; the first five were run before bars were set
    *((20.0, 4.0, -0.6), (12.0, 6.0, -0.25), (28.0, 3.0, -0.15), (15.0, 8.0, 0.4)),
    *((30.0, 5.0, -1.5), (33.0, 4.0, -0.3), (8.0, 5.0, -0.8), (24.0, 10.0, 0.6)),
)
RISE, FALL = 2.0, 3.0  # of the course that is added
DRAWN = 24  # outlines of a lake; a ring of thousands of points takes a second
WHITE_M = 0.005  # m, of a height that stands for an hour; own figure


def rows_of(*parts):
    """Return the rows of a CSV table as dicts."""
    with real_data("ice", "lakes", *parts).open(encoding="utf-8") as text:
        return list(csv.DictReader(text))


def series(name, **told):
    """Return the ready series of a file, read as a campaign would."""
    said = AltimetryMap.model_validate(told)
    return level_series(real_data("ice", "lakes", name), said)


def years(time_ns):
    """Return UTC decimal years of GPS times (n,)."""
    day = utc_from_gps(time_ns).astype("datetime64[ns]")
    begin = day.astype("datetime64[Y]")
    length = (begin + 1).astype("datetime64[ns]") - begin.astype("datetime64[ns]")
    return 1970.0 + begin.astype(int) + (day - begin) / length


def monthly(table):
    for lake, (width, *ends) in MONTHLY.items():
        time = {"column": "decimal_year", "scale": "UTC", "written": "decimal years"}
        level = {"column": "inside_adjusted_m", "less": "outside_adjusted_m"}
        sigma = {"column": "inside_stderr_m"}
        (read,) = series(f"{lake}_monthly.csv", time=time, level=level, sigma=sigma, lake=lake)
        year, height = years(read.time_ns), read.level_m
        # quoted to a centimetre and a hundredth of a year
        off = abs(np.ptp(height) - width)
        table.line(f"{lake}: range, off {width} m", off, 0.0051, "m", README)
        for name, at, end in (("greatest", np.argmax(height), ends[0]),
                              ("least", np.argmin(height), ends[1])):  # fmt: skip
            if end:
                off = abs(height[at] - end[0])
                table.line(f"{lake}: {name}, off {end[0]} m", off, 0.0051, "m", README)
                table.line(f"{lake}: its year, off {end[1]}", abs(year[at] - end[1]), 0.0051, "a",
                           README)  # fmt: skip


def quarters(method, level):
    """Return the series of a file of quarters, by lake."""
    time = {"column": "mid_time", "scale": "UTC"}
    name = f"series_2010_2024_{method}.csv"
    return series(name, time=time, level=level, lake_column="lake")


def quarterly(table):
    ranges = {}
    for method, (bar_m3, greatest, least) in METHODS.items():
        rows = rows_of(f"series_2010_2024_{method}.csv")
        told = [r for r in rows if r["dV_corrected_m3"]]
        area, change, volume = (
            np.array([float(r[n]) for r in told])
            for n in ("area_m2", "dh_corrected_m", "dV_corrected_m3")
        )
        worst = np.abs(flat_volume_m3(area, change) - volume).max()
        table.line(f"{method}: volume is area times height, off", worst, bar_m3, "m3", README)
        apart = np.concatenate(
            [one.level_m - told.level_m for one, told in zip(
                *(quarters(method, level) for level in (
                    {"column": "dh_m", "less": "region_dh_m"}, {"column": "dh_corrected_m"},
                )), strict=True)]
        )  # fmt: skip
        table.line(f"{method}: height is lake less region, off", np.nanmax(np.abs(apart)), 0.0051,
                   "m", README)  # fmt: skip
        for lake in sorted({r["lake"] for r in rows}):
            own = [r for r in rows if r["lake"] == lake]
            total = np.cumsum([float(r["dV_corrected_m3"] or 0.0) for r in own]) / 1e9
            ranges.setdefault(lake, {})[method] = np.ptp(total)
            if lake == "MercerSubglacialLake":
                extremes(table, method, own, total, (greatest, least))
    ratio = {n: max(r.values()) / min(r.values()) for n, r in ranges.items()}
    table.say("cumulative range of volume by the two outlines, larger over smaller: "
              + ", ".join(f"{n} {v:.2f}" for n, v in ratio.items()))  # fmt: skip


def extremes(table, method, rows, total_km3, ends):
    for name, at, end, day in (("greatest", np.argmax(total_km3), ends[0], "2012-04-01"),
                               ("least", np.argmin(total_km3), ends[1], "2014-07-02")):  # fmt: skip
        quantity = f"Mercer, {method}: {name} sum, off {end} km3"
        table.line(quantity, abs(total_km3[at] - end), 0.0051, "km3", README)
        away = abs(from_iso(rows[at]["mid_time"].replace(" ", "T")) - from_iso(day)) / NS_PER_DAY
        table.line(f"Mercer, {method}: its day, away from {day}", away, 1.0, "d", README)


def as_shapefile(table, own):
    """Write outlines as a shapefile in metres of EPSG:3031, read it, compare what is taken."""
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "lakes.shp"
        with shapefile.Writer(str(path), shapeType=shapefile.POLYGON) as sink:
            sink.field("name", "C", size=80)
            for one in own:
                rings = [r[:: -1 if k == 0 else 1] for k, r in enumerate(one.rings_m)]
                sink.poly([np.vstack([r, r[:1]]).tolist() for r in rings])
                sink.record(one.name)
        path.with_suffix(".prj").write_text(POLAR_3031, encoding="ascii")
        read = read_rings(path)
    odd = sum(not one.in_metres or one.epsg != 3031 for one in read)
    table.line("shapefile: outlines not known as metres of EPSG:3031", odd, 0, "", "definition")
    again = [recognised_outline(r.name, r.outer, r.epsg, r.holes, r.metres)[0] for r in read]
    pairs = zip(own, again, strict=True)
    off = max(abs(b.area_m2 / a.area_m2 - 1.0) for a, b in pairs)
    table.line(f"shapefile: area of {len(own)} outlines, off", 1e6 * off, 1e-3, "ppm", "round trip")


def outlines(table):
    """Return {lake: {kind: Outline}} of the files of outlines in metres."""
    found, worst = {}, 0.0
    for kind, name in FILES.items():
        path = real_data("ice", "lakes", name)
        refused(table, path, kind)
        for feature in json.loads(path.read_text(encoding="utf-8"))["features"]:
            if feature["geometry"]["type"] != "Polygon":
                continue
            told = feature["properties"]
            ring, *holes = feature["geometry"]["coordinates"]
            outline, said = recognised_outline(told["name"], ring, 3031, holes)
            if "metres of EPSG:3031" not in said:
                table.line(f"{kind} {told['name']}: taken as degrees", 1, 0, "", "definition")
            lake = told["name"][0].upper() + told["name"][1:]
            found.setdefault(lake, {})[kind] = outline
            published = told["area (m^2)"]
            if published != 1e7 and lake == outline.name:  # a round number: not measured
                whole = recognised_outline(told["name"], ring, 3031)[0].area_m2
                worst = max(worst, abs(whole / published - 1.0))
    as_shapefile(table, [kinds["evolving"] for kinds in found.values() if "evolving" in kinds])
    table.say("the files count islands to the area of a lake; compared are outer rings")
    table.line("true areas of outlines in metres, off the file's", 1e6 * worst, 10.0, "ppm",
               "areas in the files")  # fmt: skip
    return found


def refused(table, path, kind):
    """Readers must say that these are metres, or read them as such."""
    try:
        degrees = sum(bool((np.abs(o.ring_deg) <= 360.0).all()) for o in read_outlines(path))
    except FormatError as problem:
        degrees = int("metres" not in str(problem) and "MultiPolygon" not in str(problem))
    table.line(f"{kind}: metres taken for degrees", degrees, 0, "", "RFC 7946, section 4")
    if kind == "stationary":  # the other file holds a feature of two polygons, which is refused
        taken = [recognised_outline(o.name, o.outer, o.epsg, o.holes)[1] for o in read_rings(path)]
        odd = sum("metres of EPSG:3031" not in said for said in taken)
        table.line("read as rings: taken as other than metres", odd, 0, "", "crs in the file")


def choice_of_outline(table, found):
    rng = np.random.default_rng(1)
    for lake, kinds in found.items():
        if len(kinds) < 2:
            continue
        drawn = drawn_outlines(list(kinds.values()), None, 200.0, rng, DRAWN)
        volume = flat_volume_m3(np.array([o.area_m2 for o in drawn]), 1.0) / 1e6
        single = [flat_volume_m3(o.area_m2, 1.0) / 1e6 for o in kinds.values()]
        low, _, high = interval(volume)
        outside = sum(not low <= v <= high for v in single)
        table.line(f"{lake}: outlines outside the drawn 95 %", outside, 0, "", "own bar")
        table.say(f"{lake}: 1 m is {low:.0f} to {high:.0f} hm3; by one outline {single[0]:.0f}, by "
                  f"the other {single[1]:.0f}")  # fmt: skip


def hand_example(table):
    volume = flat_volume_m3(22.6e6, 49.0) / 1e9
    table.line("22.6 km2 sinking by 49 m, off 1.11 km3", abs(volume - 1.11), 0.005, "km3",
               "hand calculation")  # fmt: skip


def added_motion(table):
    motion = solve_motion(record("ice_2015"), SETTINGS)
    time_ns, up = motion.time_ns, motion.vertical.raw_residual_m
    day = (time_ns - time_ns[0]) / NS_PER_DAY
    table.say(f"heights from {iso(time_ns[0])}, {day[-1]:.0f} d, "
              f"spread {100 * np.nanstd(up):.1f} cm")  # fmt: skip
    none = _found(time_ns, up, 0)
    table.line("nothing added: changes found", len(none), 0, "", "real heights")
    misses = {"found": 0, "size": 0, "onset": 0, "end": 0}
    for k, (onset, length, size) in enumerate(PLACEMENTS):
        course = ramp((day - onset) / length, np.full(len(day), RISE), np.full(len(day), FALL))
        events = _found(time_ns, up + size * course, k + 1)
        if len(events) != 1:
            misses["found"] += 1
            table.say(f"{size} m on day {onset}: {len(events)} changes found")
            continue
        _compare(table, events[0], time_ns[0], (onset, length, size), misses)
    count = len(PLACEMENTS)
    source = "own bar: 95 % intervals, 8 courses"
    table.line("courses that are not found as one change", misses.pop("found"), 0, "", source)
    for name, missed in misses.items():
        # of eight, two or more miss a 95 % interval with probability 0.06
        table.line(f"{name} outside its interval, of {count}", missed, 1, "", source)


def _found(time_ns, up, seed):
    heights = StationUp("BOWD", time_ns, up, np.full(len(up), WHITE_M))
    return find_events("added", [heights], np.random.default_rng(seed)).events


def _compare(table, event, start_ns, added, misses):
    onset, length, size = added
    shift = (event.origin_ns - start_ns) / NS_PER_DAY
    told = {"size": (event.change_m, size), "onset": (event.onset_days() + shift, onset)}
    told["end"] = (event.end_days() + shift, onset + length)
    words = []
    for name, (samples, truth) in told.items():
        low, middle, high = interval(samples)
        misses[name] += not low <= truth <= high
        words.append(f"{name} {truth:g}: {middle:.2f} ({low:.2f} to {high:.2f})")
    table.say("; ".join(words))


def main():
    table = Table("Real lakes and real heights")
    hand_example(table)
    monthly(table)
    quarterly(table)
    choice_of_outline(table, outlines(table))
    added_motion(table)
    table.end()


if __name__ == "__main__":
    main()
