"""Outlines of lakes and the ice above them, from the folder ``maps/`` of a campaign."""

from dataclasses import dataclass

import numpy as np

from ..campaign.folders import LAKES
from ..campaign.store import sha256_file
from ..errors import SettingsError
from ..formats.outlines import outline_parts, read_rings
from ..lakes.motion_pattern import places_over
from ..lakes.outline import recognised_outline
from ..lakes.volume import MEASURED
from .lakes_altimetry_tables import SUMMARY
from .lakes_parts import file_name
from .map_fields import map_fields, thickness_maps
from .motion_ground import MAPS, NORTH, SOUTH, SURFACE, outline_files
from .motion_results import csv_rows, number

LEAST_THICKNESS_SHARE = 0.05  # -, of the thickness, by which a map of the bed is trusted; choice
LEAST_COVER = 0.5  # -, of a lake, that a map of the thickness must cover; choice
WHOLE = 0.995  # -, from which a lake counts as covered; choice
_OTHER_KINDS = {".gpkg": "a GeoPackage", ".kml": "KML", ".kmz": "KML"}


@dataclass(frozen=True)
class LakeOutlines:
    """The lakes of a campaign, all on one map.

    ``lakes``: {name: tuple of :class:`Outline`}, several where the files hold variants of one lake
    (the same name more than once). ``files``: what was read, as (path below the campaign,
    checksum). ``notes``: what was taken how, in sentences; ``unread``: files that were not.
    """

    epsg: int | None
    lakes: dict
    files: tuple
    notes: tuple
    unread: tuple = ()


def lake_outlines(campaign):
    """Return the :class:`LakeOutlines` of the GeoJSON files and shapefiles of ``maps/``.

    The map is ``map_epsg`` of ``[lakes]``, else that of the first grid with a surface, else that a
    file names, else that of the lakes' hemisphere.

    Raises
    ------
    FormatError
        Where a file holds no polygons that can be read.
    SettingsError
        For a ring that crosses itself, or metres of a map that nothing names.
    """
    paths = outline_files(campaign)
    rings = [(path, one) for path in paths for one in read_rings(path)]
    epsg = _map(campaign, [one for _, one in rings]) if rings else None
    lakes, notes = {}, []
    for path, one in rings:
        outline, said = _outline(campaign, path, one, epsg)
        lakes.setdefault(outline.name, []).append(outline)
        notes.append(said)
    names = [file_name(name) for name in lakes]
    if len(set(names)) < len(names):
        raise SettingsError(f"lakes {', '.join(lakes)}: two would share one folder; rename one")
    parts = [part for path in paths for part in outline_parts(path)]
    files = tuple((campaign.relative(part), sha256_file(part)[1]) for part in parts)
    variants = {name: tuple(own) for name, own in lakes.items()}
    return LakeOutlines(epsg, variants, files, tuple(notes), tuple(_unread(campaign)))


def _unread(campaign):
    """Yield a sentence for each file of a kind of outlines that is not read."""
    for path in sorted(campaign.folder(MAPS).glob("*")):
        kind = _OTHER_KINDS.get(path.suffix.lower())
        if kind:
            yield (
                f"{campaign.relative(path)}: {kind} is not read; save it as GeoJSON (RFC 7946, "
                "Polygon features with a name) in maps/"
            )


def _map(campaign, rings):
    chosen = campaign.settings.lakes.map_epsg
    if chosen:
        return chosen
    surface = map_fields(campaign, (SURFACE,)).get(SURFACE)
    if surface:
        return surface[0].grids.epsg
    named = [ring.epsg for ring in rings if ring.epsg in (NORTH, SOUTH)]
    if named:
        return named[0]
    degrees = [ring.outer for ring in rings if not ring.in_metres]
    if degrees:
        latitude = np.median([np.median(outer[:, 1]) for outer in degrees])
        return NORTH if latitude > 0.0 else SOUTH
    raise SettingsError(
        "the outlines are in metres and nothing names their map; set map_epsg = 3031 (south) or "
        "3413 (north) in [lakes]"
    )


def _outline(campaign, path, rings, epsg):
    """Return (:class:`Outline`, sentence); errors say the file and the feature."""
    where = f"{campaign.relative(path)}, feature {rings.number}"
    if rings.in_metres and rings.epsg not in (None, epsg):
        raise SettingsError(
            f"{where}: outline '{rings.name}' is in metres of EPSG:{rings.epsg}, the campaign's "
            f"map is EPSG:{epsg}; save it in degrees (RFC 7946)"
        )
    try:
        return recognised_outline(rings.name, rings.outer, epsg, rings.holes, rings.metres)
    except SettingsError as problem:
        raise SettingsError(f"{where}: {problem}") from None


@dataclass(frozen=True)
class Thickness:
    """Thickness of the ice above a lake, its sigma, and where both come from. [m]"""

    value_m: float
    sigma_m: float
    source: str


def ice_thickness(campaign, outline):
    """Return the :class:`Thickness` of the ice above a lake.

    That of ``[[lakes.lake]]`` where it stands there; else the mean along the outline of the maps'
    ``thickness``, or ``surface`` less ``bed``, each in NetCDF or GeoTIFF. Its sigma: the spread
    along the outline, and a twentieth of the thickness. A map that covers a part of the lake says
    so in its source; one that covers less than half of it is not taken.

    Raises
    ------
    SettingsError
        Where neither settings nor maps have it.
    """
    own = campaign.settings.lakes.of(outline.name)
    if own.thickness_m is not None:
        sigma = own.thickness_sigma_m
        sigma = LEAST_THICKNESS_SHARE * own.thickness_m if sigma is None else sigma
        return Thickness(own.thickness_m, sigma, "campaign.toml")
    within, short = places_over(outline), ""
    for one in thickness_maps(campaign):
        along = one.at(outline.ring_m, outline.epsg)
        along = along[np.isfinite(along)]
        covers = float(np.isfinite(one.at(within, outline.epsg)).mean())
        if along.size and covers >= LEAST_COVER:
            mean = float(along.mean())
            sigma = float(np.hypot(along.std(), LEAST_THICKNESS_SHARE * mean))
            part = f", which covers {covers:.0%} of the lake" if covers < WHOLE else ""
            return Thickness(mean, sigma, f"{one.words} along the outline{part}")
        if along.size or covers:
            short += f" ({one.words} covers {covers:.0%} of it, less than {LEAST_COVER:.0%})"
    raise SettingsError(
        f"the thickness of the ice above {outline.name} is not known{short}; set thickness_m in "
        "[[lakes.lake]], or lay a grid with thickness, or surface and bed, around it into maps/"
    )


def measured_pattern(campaign, lake):
    """Return {station: (its change over that of the mean of the surface, sigma)} by passes.

    From the table of agreement that an earlier run of the verb has left.

    Raises
    ------
    SettingsError
        Where there is none.
    """
    path = campaign.folder(LAKES) / file_name(lake) / SUMMARY
    if not path.is_file():
        raise SettingsError(
            f"there is no {MEASURED} of {lake}: {campaign.relative(path)} is missing; it is made "
            "from passes over the lake: give some and run 'stakeline lakes', then once more"
        )
    found = {}
    for row in csv_rows(path):
        share, sigma = number(row["share"]), number(row["share_sigma"])
        better = row["station"] not in found or sigma < found[row["station"]][1]
        if better and np.isfinite([share, sigma]).all():
            found[row["station"]] = share, sigma
    return found
