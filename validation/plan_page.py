"""The page of a plan: its numbers are the tables', dangers have cautions, bad input its line.

    python validation/plan_page.py

Exit code 1 where one falls short. Needs pdftotext and pdfinfo (poppler).
"""

import csv
import io
import itertools
import json
import re
import shutil
import subprocess
import sys
import tempfile
import time
from importlib import resources
from pathlib import Path

import numpy as np
from _measured import Table

from stakeline.constants import DAYS_PER_YEAR, NS_PER_DAY
from stakeline.errors import SettingsError
from stakeline.formats.waypoints import read_waypoints
from stakeline.station.cautions import brief
from stakeline.station.field_coordinates import distance, read_line, side_by_side
from stakeline.station.visit_place import MovingSite, visit_place
from stakeline.station.visits import shortest_round
from stakeline.workflows import plan
from stakeline.workflows.plan_description import describe_station
from stakeline.workflows.plan_sheet import sheet_data
from stakeline.workflows.plan_station import plan_station
from stakeline.workflows.plan_words import number

EXAMPLE = resources.files("stakeline.campaign").joinpath("templates", "plan_HV01.toml")
YEARS = 30
WRONG = {  # line of the example, what stands there instead
    "latitude_deg": "95",
    "tilt_deg": "120",
    "mass_kg": "-3",
    "rated_W": "-50",
    "reconnect_V": "11.0",
    "block_Ah": '"100 Ah"',
    "mean_degC": "260",
    "surface": '"sand"',
    "efficiency": None,
    "[battery]": None,
}
OWN = "identity"


def text_of(**changed):
    text = EXAMPLE.read_text(encoding="utf-8").replace("[aim]", f"[aim]\nyears = {YEARS}")
    for key, value in changed.items():
        text = re.sub(rf"(?m)^{key} = .*$", f"{key} = {value}", text, count=1)
    return text


def described(folder, text):
    path = Path(folder) / "HV01.toml"
    path.write_text(text, encoding="utf-8")
    return describe_station(path)


def output(program, path, *options):
    done = subprocess.run([program, *options, str(path), "-"],
                          capture_output=True, check=True)  # fmt: skip
    return done.stdout.decode()


def pages(path):
    done = subprocess.run(["pdfinfo", str(path)], capture_output=True, check=True).stdout.decode()
    return int(re.search(r"Pages:\s+(\d+)", done)[1])


def rows(data):
    return list(csv.DictReader(io.StringIO(data.decode())))


def numbers(table, folder):
    """Print whether the sheet and the JSON hold the tables' numbers, and how long a plan takes."""
    description = described(folder, text_of())
    plan_station(description)  # compiles
    begin = time.process_time()
    planned = plan_station(description)
    files = plan.station_files(planned, {})
    table.line(f"a plan of {YEARS} years with sheet and figures", time.process_time() - begin, 20.0,
               "s", "own choice; processor time")  # fmt: skip
    path = Path(folder) / "sheet.pdf"
    path.write_bytes(files[plan.SHEET])
    words = " ".join(output("pdftotext", path, "-raw").split())
    shown = {name: has for _, name, has, _, _ in sheet_data(planned)["margins"]}
    margins = rows(files["margins.csv"])
    off = sum(
        shown[row["name"]] != number(float(row["has"]), row["unit"])
        or shown[row["name"]] not in words
        for row in margins
    )
    table.line(f"margins on the sheet that differ from the table, of {len(margins)}", off, 0, "",
               OWN)  # fmt: skip
    told = json.loads(files["plan.json"])
    bill = sum(float(row["all_kg"]) for row in rows(files["bill.csv"]))
    table.line("mass of plan.json and bill apart", abs(told["cargo"]["mass_kg"] - bill), 0.1, "kg",
               "sum of the parts")  # fmt: skip
    table.line("sentences of plan.json missing on the sheet",
               sum(one not in words for one in told["sentences"]), 0, "", OWN)  # fmt: skip
    table.line("pages of the sheet", pages(path), 1, "", "one page")
    same = plan.station_files(planned, {})
    table.line("files whose bytes differ when made again",
               sum(same[name] != data for name, data in files.items()), 0, "", OWN)  # fmt: skip
    return planned, files, words


def cautions(table, planned, files, words):
    """Print which numbers that hurt people lack their caution."""
    parts = ("energy", "storm", "snow")
    bare = [row["name"] for row in rows(files["margins.csv"])
            if row["part"] in parts and "licensed practice" not in row["caution"]]  # fmt: skip
    table.line("margins of energy, storm, snow without caution", len(bare), 0, "", "own rule")
    bare = [row["rule"] for row in rows(files["rules.csv"]) if not row["caution"]]
    table.line("rules without caution", len(bare), 0, "", "own rule")
    names = ("storm", "guys", "design_wind", "bill", "flights", "sizes", "snow")
    bare = [name for name in names for row in rows(files[f"{name}.csv"])
            if "confirm with licensed practice and local codes" not in row["caution"]]  # fmt: skip
    table.line("rows of tables of what can hurt without caution", len(bare), 0, "", "own rule")
    short = " ".join(files[plan.PAGE].decode().split())
    missing = [one for one in planned.cautions if brief(one) not in short]
    table.line("cautions that the terminal does not show in short", len(missing), 0, "", "own rule")
    missing = [one for one in planned.cautions if " ".join(one.split())[:60] not in words]
    table.line("cautions not on the sheet", len(missing), 0, "", "own rule")
    verdict = " ".join(files[plan.VERDICT].decode().split())
    missing = [one for one in planned.cautions if " ".join(one.split()) not in verdict]
    table.line("cautions not in verdict.txt", len(missing), 0, "", "own rule")


def mistakes(table, folder):
    """Print how many bad files are refused with their line."""
    refused = 0
    for key, value in WRONG.items():
        if key == "[battery]":
            text = text_of()
            text = text[: text.index(key)] + text[text.index("[controller]") :]
        elif value is None:
            text = text_of().replace("[turbine]", f"[turbine]\n{key} = 0.9")
        else:
            text = text_of(**{key: value})
        try:
            described(folder, text)
        except SettingsError as problem:
            refused += bool(re.search(r"HV01\.toml:\d+: ", str(problem)))
    table.line(f"bad station files refused with their line, of {len(WRONG)}", refused, len(WRONG),
               "", "latitude 95, panel facing down, no battery, ...", least=True)  # fmt: skip


def places(table):
    """Print round trips of coordinates, the trap of seconds, and a moving site in its ellipse."""
    rng, worst = np.random.default_rng(5), 0.0
    for _ in range(10_000):
        here = (np.degrees(np.arcsin(rng.uniform(-1, 1))), rng.uniform(-180.0, 180.0))
        side = side_by_side(*here)
        for text in (side.degrees, side.minutes, side.seconds):
            read = read_line(text)
            worst = max(worst, distance(here, (read.latitude_deg, read.longitude_deg)))
    table.line("30,000 places written and read, worst", worst, 0.5, "m", "last digit written")
    read = read_line("79 07 24 N, 17 21 28 E")
    far = max(one.distance_m for one in read.doubts)
    table.line("seconds without marks: the other place is told", far, 100.0, "m", OWN, least=True)
    inside, count = 0, 2000
    site = MovingSite(79.0, 17.0, 200.0, 0, (120.0, -350.0), 25.0 * np.eye(2),
                      np.array([[900.0, -300.0], [-300.0, 2500.0]]))  # fmt: skip
    when = int(1.3 * DAYS_PER_YEAR * NS_PER_DAY)
    found = visit_place(site, when)
    drawn = rng.multivariate_normal([0, 0], site.position_covariance_m2, count)
    drawn += 1.3 * rng.multivariate_normal([0, 0], site.velocity_covariance_m2_a2, count)
    inverse = np.linalg.inv(found.covariance_m2)
    inside = np.mean(np.einsum("ij,jk,ik->i", drawn, inverse, drawn) <= -2.0 * np.log(0.05))
    table.line("moving sites outside of their ellipse, from 5 %", abs(100.0 * (1 - inside) - 5.0),
               1.5, "%", "simulation of 2000")  # fmt: skip


def way(table, files):
    """Print way points read back, and rounds against every order."""
    points, _ = read_waypoints(files["place.gpx"])
    row = rows(files["places.csv"])[0]
    read = read_line(row["degrees"])
    off = distance((points[0].latitude_deg, points[0].longitude_deg),
                   (read.latitude_deg, read.longitude_deg))  # fmt: skip
    table.line("way point and table apart", off, 0.5, "m", OWN)
    rng, worst = np.random.default_rng(1), 0.0
    for _ in range(20):
        at = rng.uniform(0.0, 1.0, (7, 2))
        gap = np.linalg.norm(at[:, None] - at[None], axis=2)
        best = min(sum(gap[a, b] for a, b in itertools.pairwise((0, *order, 0)))
                   for order in itertools.permutations(range(1, 7)))  # fmt: skip
        worst = max(worst, shortest_round(gap).length_m / best - 1.0)
    table.line(
        "rounds of 7 longer than the best of all orders", worst, 1e-9, "", "every order tried"
    )
    flown = {}
    for row in rows(files["flights.csv"]):
        flown[row["item"]] = flown.get(row["item"], 0) + int(row["pieces"])
    billed = {row["name"]: int(row["count"]) for row in rows(files["bill.csv"])}
    lost = sum(flown.get(name) != count for name, count in billed.items())
    table.line("pieces of the bill that no flight carries, or twice", lost, 0, "", OWN)


def main():
    missing = [one for one in ("pdftotext", "pdfinfo") if shutil.which(one) is None]
    if missing:
        print(f"not installed: {', '.join(missing)} (poppler)")
        sys.exit(1)
    table = Table("The page of a plan")
    with tempfile.TemporaryDirectory() as folder:
        planned, files, words = numbers(table, folder)
        cautions(table, planned, files, words)
        mistakes(table, folder)
    places(table)
    way(table, files)
    table.end()


if __name__ == "__main__":
    main()
