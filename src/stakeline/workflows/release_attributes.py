"""What a released NetCDF file says of itself: CF 1.11 and ACDD 1.3, from settings and contents."""

import numpy as np

from .. import __version__
from ..time import iso, utc_from_gps

VOCABULARY = "CF Standard Name Table v93"
CONVENTIONS = "CF-1.11, ACDD-1.3"
LICENCES = {
    "CC-BY-4.0": "https://creativecommons.org/licenses/by/4.0/",
    "CC0-1.0": "https://creativecommons.org/publicdomain/zero/1.0/",
}
COORDINATES = ("time", "lat", "lon", "alt")


def attributes(part, campaign, day, *, title, words, source, level):
    """Return the global attributes that do not hang on the numbers.

    Parameters
    ----------
    part : ReleasePart
    campaign : CampaignPart
    day : datetime.date
        The day of the release.
    title, words : str
        Of this file; ``words`` stand behind the summary of the data set.
    source : sequence of str
        Files of the campaign that it was made of.
    level : str
        How far the data are processed.
    """
    creators = part.creator
    whole = part.title or campaign.name
    summary = f"{part.summary or campaign.note} {words}".strip()
    found = {
        "Conventions": CONVENTIONS,
        "title": f"{whole}: {title}",
        "summary": summary,
        "keywords": ", ".join(part.keywords),
        "id": part.doi or f"{whole}: {title}",
        "naming_authority": part.naming_authority or ("org.doi" if part.doi else ""),
        "history": f"{day.isoformat()}: released by Stakeline {__version__}",
        "source": f"Stakeline {__version__}, from {', '.join(source)}",
        "processing_level": level,
        "comment": words,
        "acknowledgement": part.acknowledgement,
        "license": licence(part),
        "standard_name_vocabulary": VOCABULARY,
        "date_created": day.isoformat(),
        "creator_name": "; ".join(one.name for one in creators),
        "creator_email": "; ".join(one.email for one in creators if one.email),
        "creator_url": "; ".join(one.url for one in creators if one.url),
        "institution": "; ".join(dict.fromkeys(c.institution for c in creators if c.institution)),
        "project": part.project,
        "product_version": part.version,
        "publisher_name": "; ".join(one.name for one in creators),
        "publisher_email": "; ".join(one.email for one in creators if one.email),
        "publisher_url": "; ".join(one.url for one in creators if one.url),
    }
    return {name: text for name, text in found.items() if text}


def licence(part):
    """Return the licence with the address of its text, where we know it."""
    address = LICENCES.get(part.licence, "")
    return f"{part.licence} ({address})" if address else part.licence


def extent(time_ns, latitude_deg, longitude_deg, height_m):
    """Return the ACDD attributes of where and when; times as UTC.

    Parameters
    ----------
    time_ns : int64 array (n,)
        GPS time. [ns]
    latitude_deg, longitude_deg, height_m : arrays
        NaN where not known.
    """
    found = {"geospatial_lat_units": "degrees_north", "geospatial_lon_units": "degrees_east",
             "geospatial_vertical_units": "m", "geospatial_vertical_positive": "up"}  # fmt: skip
    box = []
    for name, values in (("lat", latitude_deg), ("lon", longitude_deg), ("vertical", height_m)):
        known = np.asarray(values, float)
        known = known[np.isfinite(known)]
        if len(known):
            found |= {f"geospatial_{name}_min": f"{known.min():.6f}",
                      f"geospatial_{name}_max": f"{known.max():.6f}"}  # fmt: skip
            box.append((known.min(), known.max()))
    if len(box) > 2:
        found["geospatial_bounds_vertical_crs"] = "EPSG:4979"
    if len(box) > 1:
        (south, north), (west, east) = box[:2]
        ring = ((south, west), (north, west), (north, east), (south, east), (south, west))
        corners = ", ".join(f"{a:.6f} {b:.6f}" for a, b in ring)
        found["geospatial_bounds"] = f"POLYGON (({corners}))"
        found["geospatial_bounds_crs"] = "EPSG:4326"
    if len(time_ns):
        first, last = int(np.min(time_ns)), int(np.max(time_ns))
        found |= {"time_coverage_start": f"{iso(int(utc_from_gps(first)))}Z",
                  "time_coverage_end": f"{iso(int(utc_from_gps(last)))}Z",
                  "time_coverage_duration": f"PT{(last - first) / 1e9:.0f}S"}  # fmt: skip
        steps = np.diff(np.unique(time_ns))
        if len(steps):
            found["time_coverage_resolution"] = f"PT{float(np.median(steps)) / 1e9:.0f}S"
    return found


def content_types(fields):
    """Return attributes of variables by name: what kind of content ACDD takes each for."""
    kinds = {name: "coordinate" for name in COORDINATES}
    kinds |= {"station_name": "auxiliaryInformation"}
    for name in fields:
        kinds[name] = "qualityInformation" if "sigma" in name or name.startswith("corr") \
            else "physicalMeasurement"  # fmt: skip
    found = {name: {"coverage_content_type": kind} for name, kind in kinds.items()}
    for name, axis in (("time", "T"), ("lat", "Y"), ("lon", "X"), ("alt", "Z")):
        found[name]["axis"] = axis
    found["alt"] |= {"positive": "up", "long_name": "height above the ellipsoid"}
    found["lat"]["long_name"] = "latitude of the reference"
    found["lon"]["long_name"] = "longitude of the reference"
    found["station_name"]["long_name"] = "name"
    return found
