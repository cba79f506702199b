"""A campaign whose results of motion are written by hand: one lake, known drainings."""

import io
import json

import numpy as np
from PIL import Image, TiffImagePlugin

from stakeline.campaign.folders import create
from stakeline.campaign.store import parquet_bytes
from stakeline.constants import NS_PER_DAY
from stakeline.earth.ellipsoid import xyz_from_geodetic
from stakeline.earth.projection import ARCTIC
from stakeline.formats.outlines import Outline, write_outlines
from stakeline.lakes.curve import ramp
from stakeline.time import from_iso, gps_from_utc
from stakeline.workflows.series import UNITS

START = int(gps_from_utc(from_iso("2031-05-01")))
CENTRE_M = np.array([439_500.0, -1_090_500.0])
RADIUS_M = 2500.0
ONSET_D, LENGTH_D, RISE, FALL = 30.0, 6.0, 2.5, 3.0
DAYS = 60.0
PLACES_M = {"HV02": (0.0, 0.0), "HV03": (1000.0, 500.0), "HV04": (7000.0, 0.0)}
ICE = '[[lakes.lake]]\nname = "Upper Halvard"\nthickness_m = 700\nthickness_sigma_m = 35\n'
STEP = "before_gps,after_gps,kind,logged,removed,along_m,along_sigma_m,across_m,across_sigma_m,"
STEP += "up_m,up_sigma_m,reason\n"
TIDE = "axis,constituent,amplitude_m\n"


def course(day):
    """Return what is over of the draining (0 to 1)."""
    return ramp((day - ONSET_D) / LENGTH_D, RISE, FALL)


def ring_deg(centre=CENTRE_M, radius_m=RADIUS_M, corners=48):
    """Return a circle on the map as longitude and latitude."""
    turn = np.linspace(0.0, 2.0 * np.pi, corners, endpoint=False)
    x, y = centre[0] + radius_m * np.cos(turn), centre[1] + radius_m * np.sin(turn)
    latitude, longitude = ARCTIC.inverse(x, y)
    return np.degrees(np.stack([longitude, latitude], axis=1))


def make(root, settings="", drop_m=2.0, stations=tuple(PLACES_M), seed=1, outlines=None):
    """Write a campaign of stations about one lake; those over it sink by ``drop_m``."""
    create(root)
    rows = "".join(f'[[station]]\nname = "{name}"\n' for name in stations)
    text = f'[campaign]\nname = "Trial"\n{rows}{settings}'
    (root / "campaign.toml").write_text(text, encoding="utf-8")
    (root / "maps").mkdir(exist_ok=True)
    outlines = [Outline("Upper Halvard", ring_deg())] if outlines is None else outlines
    (root / "maps" / "lakes.geojson").write_bytes(write_outlines(outlines))
    for k, name in enumerate(stations):
        over = np.hypot(*PLACES_M[name]) < RADIUS_M
        station(root, name, drop_m * over, seed + k)
    return root


def reset(root, settings):
    """Write the settings of a campaign anew."""
    names = "".join(f'[[station]]\nname = "{name}"\n' for name in PLACES_M)
    text = f'[campaign]\nname = "Trial"\n{names}{settings}'
    (root / "campaign.toml").write_text(text, encoding="utf-8")


def station(root, name, drop_m, seed, tide_m=0.0, speed_m_d=0.5, place_m=None, step=""):
    """Write positions and results of motion of one station."""
    day = np.arange(0.0, DAYS, 0.125)
    time_ns = START + np.round(day * NS_PER_DAY).astype(np.int64)
    noise = 0.008 * np.random.default_rng(seed).standard_normal(len(day))
    up = 0.004 * day - drop_m * course(day) + noise
    east, north = CENTRE_M + (PLACES_M[name] if place_m is None else place_m)
    latitude, longitude = ARCTIC.inverse(east + speed_m_d * day, np.full(len(day), north))
    xyz = xyz_from_geodetic(latitude, longitude, np.full(len(day), 900.0))
    stamps = time_ns.view("datetime64[ns]")
    positions = {column: np.zeros(len(day)) for column in UNITS} | {"time_gps": stamps}
    positions |= {f"{axis}_m": xyz[:, k] for k, axis in enumerate("xyz")}
    positions |= {"sigma_up_m": np.full(len(day), 0.008)}
    folder = root / "4-position" / name
    folder.mkdir(parents=True, exist_ok=True)
    (folder / f"{name}_imported.parquet").write_bytes(parquet_bytes(positions, {}, {}))
    folder = root / "5-motion" / name
    folder.mkdir(parents=True, exist_ok=True)
    columns = {"time_gps": stamps, "residual_up_unsmoothed_m": up}
    columns |= {"azimuth_deg": np.full(len(day), 67.0)}
    about = {"mean_speed_m_d": speed_m_d, "mean_speed_sigma_m_d": 1e-4}
    about |= {"latitude_deg": float(np.degrees(latitude[0]))}
    about |= {"longitude_deg": float(np.degrees(longitude[0]))}
    (folder / f"{name}_motion.parquet").write_bytes(parquet_bytes(columns, {}, about))
    (folder / f"{name}_tides.csv").write_text(f"{TIDE}up,M2,{tide_m}\n", encoding="utf-8")
    (folder / f"{name}_steps.csv").write_text(STEP + step, encoding="utf-8")
    noise = {"white_scale": 1.0, "coloured_sigma_m": [0.003], "coloured_memory_d": [2.0]}
    noise |= {"acceleration_m2_d3": 1e-9}
    told = {"interval_h": 3.0, "slope": {"source": "grid"}, "axes": {"up": {"noise": noise}}}
    (folder / f"{name}_summary.json").write_text(json.dumps(told), encoding="utf-8")


def geotiff(values, corner_m, step_m=500.0):
    """Return a GeoTIFF on EPSG:3413 of a field, northernmost row first; OGC 19-008r4.

    ``corner_m``: upper left corner of its first cell.
    """
    info = TiffImagePlugin.ImageFileDirectory_v2()
    tie = (0.0, 0.0, 0.0, *(float(v) for v in corner_m), 0.0)
    keys = (1, 1, 0, 1, 3072, 0, 1, 3413)
    for tag, kind, value in (
        (33550, 12, (step_m, step_m, 0.0)),
        (33922, 12, tie),
        (34735, 3, keys),
    ):
        info.tagtype[tag] = kind
        info[tag] = value
    sink = io.BytesIO()
    Image.fromarray(np.asarray(values, np.float32)).save(sink, "TIFF", tiffinfo=info)
    return sink.getvalue()
