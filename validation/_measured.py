"""What every validation command shares: the table it prints, and the real open data it reads."""

import os
import sys
from pathlib import Path

import numpy as np

from stakeline.earth.ellipsoid import enu_from_xyz, geodetic_from_xyz
from stakeline.positioning import solve
from stakeline.tables import Settings
from stakeline.workflows.products import ProductFiles, load_products
from stakeline.workflows.reading import read_pieces

ROOT = Path(__file__).parents[1]


class Table:
    """Lines of measured, bar and source; :meth:`end` exits 1 where one falls short."""

    def __init__(self, title):
        self.short = 0
        print(f"# {title}")
        print(f"{'quantity':58s} {'measured':>14s} {'bar':>14s}  verdict  source")

    def line(self, quantity, measured, bar, unit, source, *, least=False):
        """Compare: at most the bar, or at least it."""
        good = bool(measured >= bar if least else measured <= bar)
        self.short += not good
        sign = ">=" if least else "<="
        print(
            f"{quantity:58s} {measured:10.4g} {unit:3s} {sign} {bar:7.4g} {unit:3s}  "
            f"{'met' if good else 'SHORT':7s}  {source}"
        )

    def say(self, text):
        """Print a remark."""
        print(f"  {text}")

    def end(self):
        """Exit 1 where a line fell short."""
        sys.exit(1 if self.short else 0)


def real_data(*parts):
    """Return a path in the real open data; exit 1 where it is missing."""
    named = os.environ.get("STAKELINE_REFERENCE_DATA")
    path = (Path(named) if named else ROOT.parent / "shared" / "data").joinpath(*parts)
    if not path.exists():
        print(f"real open data missing: {'/'.join(parts)}; set STAKELINE_REFERENCE_DATA")
        sys.exit(1)
    return path


def files(folder, pattern):
    """Return the sorted names of the files of a data set."""
    return tuple(str(p) for p in sorted(real_data("gnss", folder).glob(pattern)))


ESBC = "esbc_2020_177"
ESBC_REFERENCE_M = np.array([3582104.7593, 532590.1771, 5232755.1300])
COORDINATES = "auxiliary/reference_coordinates"
ESBC_PRODUCTS = {
    "orbits": [(ESBC, "GRG*ORB.SP3.gz")],
    "clocks": [(ESBC, "GRG*CLK.CLK.gz")],
    # the first holds no Galileo; what it lacks is taken from the second (same ground calibrations)
    "offsets": [(COORDINATES, "JAX0MGXFIN_2020*"), (COORDINATES, "ESA0OPSFIN_2024*")],
}
ROSALIA = "rosalia_2025_001"
ROSALIA_PRODUCTS = {
    "orbits": [(ROSALIA, "COD*ORB.SP3.gz")],
    "clocks": [(ROSALIA, "COD*CLK*.CLK.gz")],
    "offsets": [(COORDINATES, "ESA0OPSFIN_2024*")],
}


def load(station, observations, products):
    """Return (Observations, Products) of named files, by folder and pattern."""
    data, problems = read_pieces(observations)
    for problem in problems:
        print(f"  {problem}")
    named = {kind: sum((files(*w) for w in where), ()) for kind, where in products.items()}
    position = np.array(data.header.approximate_position_m)
    return data, load_products(ProductFiles(**named), station, position)


def esbc():
    """Return observations and products of the ESBC day."""
    return load("ESBC", files(ESBC, "*crx.gz"), ESBC_PRODUCTS)


def header_settings(data, **more):
    """Return settings with the header's antenna, as a person without a station history has it."""
    h = data.header
    height = (h.antenna_height_m, h.antenna_east_m, h.antenna_north_m)
    return Settings(antenna_height_m=height, antenna_model=h.antenna_type, **more)


def solved(data, products, **settings):
    """Solve with the header's antenna."""
    return solve(data, products, header_settings(data, **settings))


def difference_enu(position, reference):
    """Return position minus reference as east, north, up. [m]"""
    latitude, longitude, _ = geodetic_from_xyz(np.asarray(reference))
    return enu_from_xyz(np.asarray(position) - reference, latitude, longitude)


def sigma_enu(positions):
    """Return the standard deviations (n, 3) of east, north, up. [m]"""
    return np.sqrt(np.diagonal(positions.covariance_m2, axis1=1, axis2=2))
