"""Maps and outlines that are wrong, and the sentence that a person gets for each.

    python validation/lakes_bad_input.py

Every case is a campaign folder with one mistake. It must be refused with a sentence that says what
was given and what to do, or be put right and said. Exit code 1 where a case gets no such sentence.
"""

import io
import json
import tempfile
from dataclasses import replace
from pathlib import Path

import numpy as np
import shapefile
from _measured import Table
from PIL import Image, TiffImagePlugin

from stakeline.campaign.folders import create, open_campaign
from stakeline.earth.projection import ANTARCTIC, ARCTIC
from stakeline.errors import StakelineError
from stakeline.formats.grids import Grids, write_grids
from stakeline.formats.outlines import Outline, write_outlines
from stakeline.simulate.glacier import HALVARD
from stakeline.workflows.lakes_route_tables import sentences
from stakeline.workflows.lakes_routes import routed

STEP_M = 500.0
ELLIPSOID, GEOID = "height above the ellipsoid", "height above the geoid"
REFUSED, PUT_RIGHT = "refused", "put right"


def grids(**changed):
    """Return the good grids, or with fields changed; None takes one away."""
    maps = HALVARD.maps(STEP_M)
    fields = {"surface": maps.surface_m, "bed": maps.bed_m, "thickness": maps.thickness_m}
    fields = {k: v for k, v in {**fields, **changed}.items() if v is not None}
    words = dict.fromkeys(("surface", "bed"), ELLIPSOID)
    return Grids(maps.x_m, maps.y_m, 3413, fields, dict.fromkeys(fields, "m"), words)


def outlines():
    return [Outline(lake.name, HALVARD.outline(lake)) for lake in HALVARD.lakes]


def hole():
    """Return the bed with four cells missing on the water's way."""
    good = grids()
    x, y = HALVARD.plane(36000.0, HALVARD.route_side_m(36000.0))
    row, column = np.argmin(np.abs(good.y_m - y)), np.argmin(np.abs(good.x_m - x))
    bed = good.fields["bed"].copy()
    bed[row : row + 2, column : column + 2] = np.nan
    return bed


def cut(columns):
    """Return grids without their first columns."""
    good = grids()
    fields = {name: values[:, columns:] for name, values in good.fields.items()}
    return replace(good, x_m=good.x_m[columns:], fields=fields)


def uneven():
    good = grids()
    x = good.x_m.copy()
    x[5] += 100.0
    return replace(good, x_m=x)


def crossing():
    """Return outlines of which the first crosses itself."""
    first, second = outlines()
    ring = first.ring_deg.copy()
    ring[[10, 40]] = ring[[40, 10]]
    return [replace(first, ring_deg=ring), second]


def bed_of_another_map():
    """Return the bed alone, on a grid of EPSG:3031 around the glacier."""
    good = grids()
    corners = np.meshgrid(good.x_m[[0, -1]], good.y_m[[0, -1]])
    far = ANTARCTIC.forward(*ARCTIC.inverse(*corners))
    x, y = (np.linspace(v.min(), v.max(), 400) for v in far)
    place = ARCTIC.forward(*ANTARCTIC.inverse(*np.meshgrid(x, y)))
    return Grids(x, y, 3031, {"bed": HALVARD.bed_m(*HALVARD.along(*place))}, {"bed": "m"})


def geojson_in_metres(epsg):
    """Return outlines in metres of a map, named in the member crs."""
    chart = {3413: ARCTIC, 3031: ANTARCTIC}[epsg]
    features = []
    for one in outlines():
        place = np.radians(one.ring_deg[:, ::-1]).T
        ring = np.stack(chart.forward(*place), axis=1).tolist()
        features.append({"type": "Feature", "properties": {"name": one.name},
                         "geometry": {"type": "Polygon", "coordinates": [ring]}})  # fmt: skip
    crs = {"type": "name", "properties": {"name": f"urn:ogc:def:crs:EPSG::{epsg}"}}
    return json.dumps({"type": "FeatureCollection", "crs": crs, "features": features}).encode()


def shapes(prj, metres=False):
    """Return {name: bytes} of a shapefile of the outlines, in place of the GeoJSON."""
    parts = {end: io.BytesIO() for end in ("shp", "shx", "dbf")}
    with shapefile.Writer(**parts, shapeType=shapefile.POLYGON) as sink:
        sink.field("name", "C", size=40)
        for one in outlines():
            ring = one.ring_deg[::-1]
            if metres:
                ring = np.stack(ARCTIC.forward(*np.radians(ring[:, ::-1]).T), axis=1)
            ring = np.vstack([ring[:-1] if (ring[0] == ring[-1]).all() else ring, ring[:1]])
            turns = np.sum(ring[:-1, 0] * ring[1:, 1] - ring[1:, 0] * ring[:-1, 1])
            sink.poly([(ring if turns < 0.0 else ring[::-1]).tolist()])
            sink.record(one.name)
    files = {f"lakes.{end}": part.getvalue() for end, part in parts.items()}
    return files | {"lakes.prj": prj.encode(), "lakes.geojson": None}


DEGREES = 'GEOGCS["WGS 84",UNIT["degree",0.0174532925199433]]'
POLAR = (
    f'PROJCS["a polar map",{DEGREES},PROJECTION["Polar_Stereographic"],'
    'PARAMETER["latitude_of_origin",70],PARAMETER["central_meridian",-45],UNIT["metre",1]]'
)  # well-known text, OGC 01-009


def geotiff(name):
    """Return a GeoTIFF of one of the good fields."""
    good = grids()
    values, x, y = good.fields[name], good.x_m, good.y_m
    values = values[::-1] if y[0] < y[-1] else values
    info = TiffImagePlugin.ImageFileDirectory_v2()
    tie = (0.0, 0.0, 0.0, x.min() - 0.5 * STEP_M, y.max() + 0.5 * STEP_M, 0.0)
    keys = (1, 1, 0, 1, 3072, 0, 1, 3413)
    scale = (STEP_M, STEP_M, 0.0)
    for tag, kind, value in ((33550, 12, scale), (33922, 12, tie), (34735, 3, keys)):
        info.tagtype[tag] = kind
        info[tag] = value
    sink = io.BytesIO()
    Image.fromarray(values.astype(np.float32)).save(sink, "TIFF", tiffinfo=info)
    return sink.getvalue()


def swapped():
    return [replace(one, ring_deg=one.ring_deg[:, ::-1]) for one in outlines()]


def cases():
    """Yield (case, what must come of it, words of the sentence, {what is laid into it})."""
    good = grids()
    surface, bed, thickness = (good.fields[k] for k in ("surface", "bed", "thickness"))
    mixed = {"surface": ELLIPSOID, "bed": GEOID}
    geoid = np.full_like(bed, HALVARD.sea_level_m)
    yield "a good campaign", PUT_RIGHT, ("routes end where the ice is thinner",), {}
    yield "grid that does not cover one lake", PUT_RIGHT, ("off the grid", "covers the lake"), {
        "grids": cut(55)}  # fmt: skip
    yield "grid that covers no lake", REFUSED, ("off the grid", "covers the lake"), {
        "grids": cut(150)}  # fmt: skip
    yield "hole in the bed", REFUSED, ("1 hole(s)", "on_holes"), {"grids": grids(bed=hole())}
    for choice, words in (("around", "water goes around"), ("lost", "that reaches them is lost")):
        yield f"the same, on_holes = {choice}", PUT_RIGHT, (words,), {
            "grids": grids(bed=hole()), "settings": f'on_holes = "{choice}"\n'}  # fmt: skip
    yield "bed on another map", PUT_RIGHT, ("bed was brought from EPSG:3031",), {
        "grids": grids(bed=None), "bed.nc": write_grids(bed_of_another_map())}  # fmt: skip
    yield "outlines in metres of the grids' map", PUT_RIGHT, ("Upper Halvard: its water",), {
        "lakes.geojson": geojson_in_metres(3413)}  # fmt: skip
    yield "outlines in metres of another map", REFUSED, ("EPSG:3031", "save it in degrees"), {
        "lakes.geojson": geojson_in_metres(3031)}  # fmt: skip
    yield (
        "outlines in a shapefile of degrees",
        PUT_RIGHT,
        ("Upper Halvard: its water",),
        shapes(DEGREES),
    )
    yield (
        "a shapefile in metres of the grids' map",
        PUT_RIGHT,
        ("Upper Halvard: its water",),
        (shapes(POLAR, metres=True)),
    )
    yield (
        "a shapefile in metres whose map says degrees",
        REFUSED,
        ("its file says degrees",),
        (shapes(DEGREES, metres=True)),
    )
    yield (
        "a shapefile of another map",
        REFUSED,
        ("the map a polar map", "bring the outlines"),
        (shapes(POLAR.replace("-45", "-39"), metres=True)),
    )
    yield (
        "a shapefile in feet",
        REFUSED,
        ("in units of 0.3048", "metres"),
        (shapes(POLAR.replace('"metre",1', '"foot",0.3048'), metres=True)),
    )
    yield "a shapefile that is cut off", REFUSED, ("no shapefile that can be read",), {
        **shapes(DEGREES), "lakes.shp": shapes(DEGREES)["lakes.shp"][:300]}  # fmt: skip
    yield "grids as GeoTIFF", PUT_RIGHT, ("routes end where the ice is thinner",), {
        "halvard.nc": None,
        **{f"{name}.tif": geotiff(name) for name in ("surface", "bed", "thickness")}}  # fmt: skip
    yield "a GeoTIFF that is cut off", REFUSED, ("bed.tif", "cannot be read"), {
        "halvard.nc": None, "surface.tif": geotiff("surface"),
        "bed.tif": geotiff("bed")[:4000]}  # fmt: skip
    yield "outlines with latitude first", REFUSED, ("latitude",), {"outlines": swapped()}
    yield "surface above the ellipsoid, bed the geoid", REFUSED, ("give the geoid's height",), {
        "grids": replace(good, words=mixed)}  # fmt: skip
    yield "the same with a map of the geoid", PUT_RIGHT, ("brought to the ellipsoid",), {
        "grids": replace(grids(bed=bed - geoid, geoid=geoid), words=mixed)}  # fmt: skip
    yield "heights above the ellipsoid, no geoid", PUT_RIGHT, ("its slope", "left in the head"), {}
    yield "surface 60 m too low, not said", REFUSED, ("m below the bed", "above the ellipsoid"), {
        "grids": grids(surface=surface - 60.0)}  # fmt: skip
    yield "surface and bed exchanged", REFUSED, ("m below the bed", "exchanged"), {
        "grids": grids(surface=bed, bed=surface)}  # fmt: skip
    yield "bed a little above the surface", PUT_RIGHT, ("bed above the surface, by up to 4.0 m",), {
        "grids": grids(bed=np.where(thickness > 0.0, bed, surface + 4.0))}  # fmt: skip
    yield "thickness in place of the bed", REFUSED, ("looks like a thickness",), {
        "grids": grids(bed=thickness, thickness=None)}  # fmt: skip
    yield "thickness and no bed", PUT_RIGHT, ("the surface less the thickness",), {
        "grids": grids(bed=None)}  # fmt: skip
    yield "no surface", REFUSED, ("needs 'surface'",), {"grids": grids(surface=None)}
    yield "feet", REFUSED, ("bed is in 'ft'", "give metres"), {
        "grids": replace(good, units={"surface": "m", "bed": "ft"})}  # fmt: skip
    yield "uneven axis", REFUSED, ("steps from", "resample"), {"grids": uneven()}
    yield "outline that crosses itself", REFUSED, ("crosses itself near", "repair the ring"), {
        "outlines": crossing()}  # fmt: skip
    yield "two lakes that overlap", REFUSED, ("overlap", "join or cut"), {
        "outlines": [*outlines(), replace(outlines()[0], name="Third Halvard")]}  # fmt: skip
    yield "bed sigma below zero", REFUSED, ("standard deviation of an error",), {
        "grids": grids(bed_sigma=np.full_like(bed, -5.0))}  # fmt: skip
    yield "flotation the wrong way round", REFUSED, ("give the least first",), {
        "settings": "flotation = [1.0, 0.8]\n"}  # fmt: skip
    yield "what if without its file", REFUSED, ("there is no such file",), {
        "settings": 'what_if_grid = "later.nc"\n'}  # fmt: skip
    yield "a damaged grid", REFUSED, ("halvard.nc", "no NetCDF"), {"halvard.nc": b"CDF\x02\x00"}
    yield (
        "more cells than wanted",
        PUT_RIGHT,
        ("were made one",),
        {"settings": "most_cells = 2000\n"},
    )


def sentence_of(laid):
    """Return (what came of a campaign, its sentences)."""
    with tempfile.TemporaryDirectory() as folder:
        root = Path(folder)
        create(root)
        text = (root / "campaign.toml").read_text(encoding="utf-8")
        settings = laid.get("settings", "")
        text += f"\n[lakes.routes]\nrealisations = 2\n{settings}"
        (root / "campaign.toml").write_text(text, encoding="utf-8")
        (root / "maps").mkdir()
        files = {"halvard.nc": write_grids(laid.get("grids") or grids()),
                 "lakes.geojson": write_outlines(laid.get("outlines") or outlines())}  # fmt: skip
        files |= {name: data for name, data in laid.items() if "." in name}
        for name, data in files.items():
            if data is not None:
                (root / "maps" / name).write_bytes(data)
        try:
            return PUT_RIGHT, " ".join(sentences(routed(open_campaign(root), ())))
        except StakelineError as problem:
            return REFUSED, str(problem).replace(f"{root}/", "")


def main():
    table = Table("Maps and outlines that are wrong: refused or put right, and said")
    wrong = 0
    for case, expected, words, laid in cases():
        came, said = sentence_of(laid)
        missing = [word for word in words if word not in said]
        good = came == expected and not missing
        wrong += not good
        shown = next((s for s in said.replace("; ", ". ").split(". ") if words[0] in s), said)
        table.say(f"{case}: {came}{'' if good else f', EXPECTED {expected} with {words}'}")
        table.say(f"    {shown if came == PUT_RIGHT else said}")
    table.line("cases without the sentence expected", wrong, 0, "", "definition")
    table.end()


if __name__ == "__main__":
    main()
