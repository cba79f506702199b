"""The NetCDF files of a release: positions, velocities, vertical, lakes, events."""

from dataclasses import replace

import numpy as np

from ..campaign.folders import LAKES, MOTION, POSITION
from ..campaign.store import read_table
from ..formats.series_netcdf import (
    PointFile,
    StationSeriesFile,
    write_points,
    write_series,
)
from ..time import from_iso
from . import lakes_together, motion_together
from .lakes_ground import lake_outlines
from .lakes_results import lake_results
from .release_attributes import attributes, content_types, extent

NAMES = {
    "x_m": "Earth-fixed x of the marker",
    "y_m": "Earth-fixed y of the marker",
    "z_m": "Earth-fixed z of the marker",
    "latitude_deg": "geodetic latitude of the marker",
    "longitude_deg": "geodetic longitude of the marker",
    "height_m": "height of the marker above the ellipsoid",
    "sigma_east_m": "standard deviation of the position east",
    "sigma_north_m": "standard deviation of the position north",
    "sigma_up_m": "standard deviation of the position up",
    "corr_en": "correlation of the errors east and north",
    "corr_eu": "correlation of the errors east and up",
    "corr_nu": "correlation of the errors north and up",
    "satellites": "number of satellites used; 0 where a table from elsewhere tells none",
}
UNITS = {name: name.rpartition("_")[2] for name in NAMES}
UNITS |= {"latitude_deg": "degrees_north", "longitude_deg": "degrees_east"}
UNITS |= dict.fromkeys(("corr_en", "corr_eu", "corr_nu", "satellites"), "1")
STANDARD = {"latitude_deg": "latitude", "longitude_deg": "longitude",
            "height_m": "height_above_reference_ellipsoid"}  # fmt: skip
UP = ("up_", "tide_up_", "residual_up_")
GPS = "Times are GPS time: ahead of UTC by the leap seconds since 1980. Gaps are not filled."
EVENT_TEXTS = ("event", "lake", "kind", "status", "reviewed_by", "reasons")


def position_files(campaign, day):
    """Yield (name, bytes, files it was made of) of each station's positions."""
    for station in (part.name for part in campaign.settings.station):
        folder = campaign.folder(POSITION) / station
        every = sorted(folder.glob(f"{station}_*.parquet"))
        every = [path for path in every if not path.stem.endswith("_snow")]
        for ending in ("", "_imported"):
            paths = [p for p in every if p.stem.endswith("_imported") == bool(ending)]
            if paths:
                made = [campaign.relative(path) for path in paths]
                yield (f"positions/{station}{ending}.nc",
                       _positions(campaign, day, station, paths, made), made)  # fmt: skip


def _positions(campaign, day, station, paths, made):
    tables = [read_table(path) for path in paths]
    columns = {name: np.concatenate([table[0][name] for table in tables]).astype(float)
               for name in NAMES}  # fmt: skip
    time_ns = np.concatenate([t[0]["time_gps"].astype("datetime64[ns]").view(np.int64)
                              for t in tables])  # fmt: skip
    order = np.argsort(time_ns, kind="stable")
    columns = {name: values[order] for name, values in columns.items()}
    frames = sorted({str(f) for t in tables for f in t[1].get("frames", {}).values()})
    place = [np.array([np.nanmedian(columns[name])])
             for name in ("latitude_deg", "longitude_deg", "height_m")]  # fmt: skip
    words = f"Positions of the marker of {station} in {', '.join(frames)}. {GPS}"
    series = StationSeriesFile(
        time_ns[order], (station,), *place,
        {name: values[np.newaxis] for name, values in columns.items()}, UNITS, NAMES,
    )  # fmt: skip
    wide = (columns["latitude_deg"], columns["longitude_deg"], place[2])
    return _released(campaign, day, series, wide, title=f"positions of {station}", words=words,
                     source=_short(made), level="positions with uncertainty")  # fmt: skip


def motion_files(campaign, day):
    """Yield (name, bytes, files it was made of) of velocities and of the vertical."""
    paths = sorted(campaign.folder(MOTION).glob("*/*_motion.parquet"))
    if not paths:
        return
    made = [campaign.relative(path) for path in paths]
    whole = motion_together.series_file({path.parent.name: read_table(path) for path in paths})
    place = (whole.latitude_deg, whole.longitude_deg, whole.height_m)
    for name, words, chosen in (
        ("velocities", "Distance, speed and tide along and across the flow.", False),
        ("vertical", "Motion, tide and residual up.", True),
    ):
        fields = {key: values for key, values in whole.fields.items()
                  if key.startswith(UP) == chosen}  # fmt: skip
        series = replace(whole, fields=fields, attributes={})
        comment = f"{words} {whole.attributes['comment']}. {GPS}"
        data = _released(campaign, day, series, place, title=name, words=comment,
                         source=_short(made), level="motion of the ice")  # fmt: skip
        yield f"motion/{name}.nc", data, made


def lake_files(campaign, day, records):
    """Yield (name, bytes, files it was made of) of the levels and the events of lakes.

    ``records``: rows of ``events.csv`` as :class:`~stakeline.workflows.report_sources.Record`.
    """
    results = lake_results(campaign)
    if not results:
        return
    series = lakes_together.series_file(results, lake_outlines(campaign))
    made = [campaign.relative(path)
            for path in sorted(campaign.folder(LAKES).glob("*/*_levels.parquet"))]  # fmt: skip
    place = (series.latitude_deg, series.longitude_deg, series.height_m)
    words = f"{series.attributes['comment']}. {GPS}"
    yield ("lakes/levels.nc",
           _released(campaign, day, replace(series, attributes={}), place, title="levels of lakes",
                     words=words, source=_short(made), level="levels and water"), made)  # fmt: skip
    centres = zip(series.latitude_deg, series.longitude_deg, strict=True)
    data = _events(campaign, day, records, dict(zip(series.stations, centres, strict=True)))
    if data is not None:
        yield "lakes/events.nc", data, (f"{LAKES}/events.csv",)


def _events(campaign, day, records, places):
    """Return the bytes of the events of lakes, ``places`` [deg] by lake; None without events."""
    records = sorted((r for r in records if r.values.get("onset_median_gps")),
                     key=lambda r: r.values["onset_median_gps"])  # fmt: skip
    if not records:
        return None
    names = [name for name in records[0].values if name not in EVENT_TEXTS]
    times = {n: [_time(r, n) for r in records] for n in names if n.endswith("_gps")}
    times = {n: np.array(v, np.int64) for n, v in times.items() if None not in v}
    fields = {name: [_number(record, name) for record in records] for name in names
              if not name.endswith("_gps")}  # fmt: skip
    fields = {n: np.array(v, float) for n, v in fields.items() if np.isfinite(v).any()}
    at = np.array([places[record.values["lake"]] for record in records], float)
    time_ns = times.pop("onset_median_gps")
    words = f"Time is the median onset; low and high hold 95 %. {GPS}"
    told = attributes(campaign.settings.release, campaign.settings.campaign, day,
                      title="events of lakes", words=words, source=(f"{LAKES}/events.csv",),
                      level="events with intervals")  # fmt: skip
    kinds = content_types((*fields, *times)) | {
        name: {"coverage_content_type": "auxiliaryInformation"} for name in EVENT_TEXTS
    }
    return write_points(PointFile(
        time_ns, at[:, 0], at[:, 1],
        {n: [r.values.get(n, "") for r in records] for n in EVENT_TEXTS}, times, fields,
        {name: event_unit(name) for name in fields},
        {name: name.replace("_", " ") for name in (*fields, *times, *EVENT_TEXTS)},
        told | extent(time_ns, at[:, 0], at[:, 1], np.zeros(0)), kinds,
    ))  # fmt: skip


def event_unit(name):
    """Return the unit of a column of ``events.csv`` as NetCDF writes it."""
    for part, unit in (("_m_d", "m day-1"), ("_m3_s", "m3 s-1"), ("_m3", "m3"), ("_m_", "m"),
                       ("_d_", "day"), ("_year_", "year-1")):  # fmt: skip
        if part in f"{name}_":
            return unit
    return "1"


def _released(campaign, day, series, place, **words):
    told = attributes(campaign.settings.release, campaign.settings.campaign, day, **words)
    told |= extent(series.time_ns, *place)
    kinds = content_types(series.fields)
    for name in STANDARD.keys() & series.fields.keys():
        kinds[name]["standard_name"] = STANDARD[name]
    return write_series(replace(series, attributes=told, named=kinds))


def _short(made, most=3):
    """Return a few names of the files something was made of; provenance.json has them all."""
    more = len(made) - most
    return [*made[:most], *((f"{more} more",) if more > 0 else ())]


def _time(record, name):
    value = record.values.get(name)
    return from_iso(value) if value else None


def _number(record, name):
    try:
        return float(record.values.get(name) or "nan")
    except ValueError:
        return np.nan
