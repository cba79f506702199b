"""Surface and bed of ``maps/`` as one grid that water can be led over, with all that was done."""

from dataclasses import dataclass, replace

import numpy as np

from ..campaign.store import sha256_file
from ..errors import SettingsError
from ..lakes.grid import MapGrid
from ..lakes.map_input import (
    GEOID,
    bed_above_surface,
    brought_to,
    coarser,
    refuse_thickness,
    same_cells,
    same_heights,
    water_below,
)
from ..lakes.potential import afloat
from .map_fields import (
    BED,
    BED_SIGMA,
    GEOID_FIELD,
    THICKNESS,
    MapField,
    fields_by_name,
    map_fields,
)
from .motion_ground import MAPS, SURFACE, grid_files

CHANGE = "surface_change"
_FIELDS = (SURFACE, BED, THICKNESS, BED_SIGMA, GEOID_FIELD)


@dataclass(frozen=True, eq=False)
class WaterMaps:
    """All on one grid; fields (m, n), NaN missing.

    ``bed_sigma_m``: a number, or a field; ``geoid_m``: what to take off, 0.0 or a field; ``ends``:
    where the water's way below the ice ends; ``change_m``: of the surface, what if, or None.
    """

    grid: MapGrid
    surface_m: np.ndarray
    bed_m: np.ndarray
    bed_sigma_m: float | np.ndarray
    geoid_m: float | np.ndarray
    ends: np.ndarray
    change_m: float | np.ndarray | None
    notes: tuple


def map_files(campaign):
    """Return (path below the campaign, checksum) of every grid of ``maps/``."""
    return tuple((campaign.relative(p), sha256_file(p)[1]) for p in grid_files(campaign))


def water_maps(campaign):
    """Return the :class:`WaterMaps` of a campaign.

    The grid is that of the first ``surface``; what lies on other cells or another map is brought to
    it. A bed is ``bed``, else ``surface`` less ``thickness``.

    Raises
    ------
    SettingsError
        Without a surface or a bed, or where both cannot belong together.
    FormatError
        Where a file cannot be read.
    """
    part = campaign.settings.lakes.routes
    found = {k: v[0] for k, v in map_fields(campaign, _FIELDS, part.what_if_grid).items()}
    if SURFACE not in found or not {BED, THICKNESS} & set(found):
        names = ", ".join(sorted(found)) or "none"
        raise SettingsError(
            f"fields of the grids in {MAPS}/: {names}; the water's way needs 'surface', and 'bed' "
            "or 'thickness' (NetCDF, or GeoTIFF such as surface.tif and bed.tif)"
        )
    grids = found[SURFACE].grids
    grid = MapGrid(grids.x_m, grids.y_m, grids.epsg)
    fields, notes = {}, []
    for name, field in found.items():
        fields[name], said = _brought(grid, field)
        notes += said
    maps = _heights(grid, fields, {name: field.above for name, field in found.items()}, part)
    change = part.what_if_m
    if part.what_if_grid:
        change = _changed(campaign, part.what_if_grid, grid, maps.surface_m, notes)
    maps = replace(maps, change_m=change, notes=(*notes, *maps.notes))
    return _coarse_enough(maps, part.most_cells)


def _brought(grid, field):
    """Return (field on the cells of the grid, sentences)."""
    grids, values = field.grids, field.values
    if same_cells(grid, grids.x_m, grids.y_m, grids.epsg):
        return values, ()
    moved = brought_to(grid, grids.x_m, grids.y_m, grids.epsg, values)
    what = "other cells" if grids.epsg == grid.epsg else f"EPSG:{grids.epsg}"
    return moved, (
        f"{field.where}: {field.name} was brought from {what} to the cells of the surface",
    )


def _heights(grid, fields, above, part):
    """Return :class:`WaterMaps` with heights above the same, and what was said of them."""
    surface, geoid, notes = fields[SURFACE], fields.get(GEOID_FIELD), []
    said = [above.get(name, "") for name in (SURFACE, BED)]
    if BED in fields:
        refuse_thickness(fields[BED])
        surface, bed, above, sentence = same_heights(surface, fields[BED], said, geoid)
        notes += [sentence] if sentence else []
    else:
        bed, above = surface - fields[THICKNESS], said[0]
        notes.append("the bed is the surface less the thickness: below floating ice it is its base")
    count, most = bed_above_surface(surface, bed)
    if count:
        notes.append(
            f"{count} cells hold a bed above the surface, by up to {most:.1f} m: counted as ice of "
            "no thickness"
        )
    take_off = 0.0 if geoid is None or above == GEOID else geoid
    notes += _geoid_words(above, geoid)
    ends, sentence = _ends(fields, surface, bed, above, take_off, part)
    sigma = fields.get(BED_SIGMA, part.bed_sigma_m)
    notes += [sentence, f"bed error: {_sigma_words(sigma)}"]
    return WaterMaps(grid, surface, bed, sigma, take_off, ends, None, tuple(notes))


def _geoid_words(above, geoid):
    if above == GEOID:
        return ["heights are above the geoid"]
    if geoid is not None:
        what = "" if above else " are not said to be above anything, so they are taken to be"
        return [f"heights{what} above the ellipsoid: the geoid was taken off"]
    if above:
        return [
            "heights are above the ellipsoid and no geoid is given: its slope, some metres in "
            "100 km, is left in the head"
        ]
    return ["the maps do not say what heights are above; surface and bed are taken as alike"]


def _sigma_words(sigma):
    if np.ndim(sigma) == 0:
        return f"{sigma:g} m everywhere (bed_sigma_m)"
    return f"that of the map, median {np.nanmedian(sigma):.0f} m"


def _ends(fields, surface, bed, above, geoid, part):
    """Return (True (m, n) where the way below the ice ends, sentence)."""
    ends, said = np.zeros(surface.shape, bool), []
    if BED in fields and THICKNESS in fields:
        ends |= water_below(surface, bed, fields[THICKNESS])
        said.append("the ice is thinner than surface less bed")
    level = part.sea_level_m
    if level is None and (above == GEOID or np.ndim(geoid)):
        level = 0.0 if above == GEOID else geoid
    if level is not None:
        ends |= np.nan_to_num(afloat(surface, bed, level), nan=0.0).astype(bool)
        said.append("ice floats by its height above the sea")
    if not said:
        return ends, (
            "nothing tells where ice floats (no thickness beside the bed, no sea_level_m): routes "
            "go on below floating ice"
        )
    return ends, f"routes end where {' or '.join(said)}: {np.count_nonzero(ends)} cells"


def _changed(campaign, name, grid, surface, notes):
    """Return the change (m, n) of the surface that a file of ``maps/`` holds. [m]"""
    path = campaign.folder(MAPS) / name
    if not path.is_file():
        raise SettingsError(f"what_if_grid = '{name}': there is no such file in {MAPS}/")
    grids, where = fields_by_name(path), campaign.relative(path)
    for field in (CHANGE, SURFACE):
        if field in grids.fields:
            values, said = _brought(grid, MapField(field, where, grids))
            notes += said
            change = values if field == CHANGE else values - surface
            gone = np.count_nonzero(np.isnan(change) & np.isfinite(surface))
            if gone:
                notes.append(
                    f"{where}: {gone} cells without a change of the surface: kept as it is"
                )
            return np.nan_to_num(change, nan=0.0)
    raise SettingsError(
        f"{where} holds {', '.join(grids.fields)}; expected '{CHANGE}' or another '{SURFACE}'"
    )


def _coarse_enough(maps, most_cells):
    """Return maps of at most so many cells, by means over blocks."""
    factor = int(np.ceil(np.sqrt(maps.surface_m.size / most_cells)))
    if factor <= 1:
        return maps
    names = [k for k in ("surface_m", "bed_m", "bed_sigma_m", "geoid_m", "ends", "change_m")
             if np.ndim(getattr(maps, k))]  # fmt: skip
    grid, fields = coarser(maps.grid, [getattr(maps, k) for k in names], factor)
    new = dict(zip(names, fields, strict=True))
    new["ends"] = np.nan_to_num(new["ends"]) > 0.5
    note = (
        f"{maps.surface_m.size} cells are more than most_cells = {most_cells}: {factor} x "
        f"{factor} of them were made one, {abs(grid.step_m[0]):.0f} m wide"
    )
    return replace(maps, grid=grid, notes=(*maps.notes, note), **new)
