"""Other real stations: ROSR, MOZR, four of 2016 with 15-min clocks, NYA1 with broadcast orbits."""

import numpy as np
from _measured import (
    COORDINATES,
    ROSALIA,
    ROSALIA_PRODUCTS,
    Table,
    difference_enu,
    files,
    load,
    real_data,
    solved,
)

from stakeline.earth.frames import transform
from stakeline.formats.sinex import read_sinex
from stakeline.time import from_calendar

mm = 1e-3
STUDY = "real-data study"
DAY_2016 = from_calendar(2016, 2, 13, 12)
WORLD = "world_2016_044"
WORLD_PRODUCTS = {
    "orbits": [(WORLD, "gps6RM*.sp3.gz")],
    "offsets": [(COORDINATES, "JAX0MGXFIN_2020*")],
    "loading": [(WORLD, "gnss.blq")],
    "orientation": [(WORLD, "bulletinb-338.txt")],
}
# Velocities in ITRF2014 of these sites, m/a, X Y Z: ITRF2014 station list, from memory
VELOCITY_M_A = {
    "BRMU": (-0.0114, -0.0034, 0.0076),
    "HOB2": (-0.0396, 0.0085, 0.0407),
    "LHAZ": (-0.0456, -0.0070, 0.0140),
    "SAVO": (-0.0022, -0.0047, 0.0124),
}


def modern(table):
    """ROSR and MOZR: phase residual rms, nothing tuned between them, start from nothing."""
    rosr = load("ROSR", files(ROSALIA, "*01D_30S_MO.crx.gz"), ROSALIA_PRODUCTS)
    mozr = load("MOZR", files("moflux_2025_001", "mozr001*.25d.gz"), ROSALIA_PRODUCTS)
    rough = {"ROSR": (4127831.869, 1207193.230, 4695247.578)}
    rough["MOZR"] = (-191230.341, -4977667.421, 3970349.898)
    for name, (data, products) in (("ROSR", rosr), ("MOZR", mozr)):
        for mode in ("static", "kinematic"):
            s = solved(data, products, mode=mode)
            rms = s.summary["phase residual rms m"] / mm
            table.line(f"{name} {mode}, phase residual rms", rms, 12, "mm", STUDY)
            if mode == "static":
                away = difference_enu(s.position_m[0], rough[name]) / mm
                table.say(f"static minus a rough check (2-5 cm): E N U {away.round(1)} mm")
            else:
                scatter = s.position_m - s.position_m.mean(axis=0)
                std = difference_enu(s.position_m.mean(axis=0) + scatter, rough[name]).std(axis=0)
                table.say(f"kinematic std E N U {(std / mm).round(1)} mm")


def references():
    """Return published coordinates of 2020-244, moved to the day of 2016 by station velocities."""
    content = read_sinex(files(COORDINATES, "JAX0MGXFIN_2020*")[0])
    known = {c.code.strip().upper(): c for c in content.coordinates}
    moved = {}
    for name, velocity in VELOCITY_M_A.items():
        c = known.get(name)
        if c is not None:
            moved[name] = transform(
                c.position_m, "IGS14", c.epoch_ns, "IGb08", DAY_2016, np.array(velocity)
            )
    return moved


def old(table):
    """Four stations of 2016: 96 epochs with clocks."""
    known = references()
    for name in ("HOB2", "BRMU", "SAVO", "LHAZ"):
        data, products = load(name, files(WORLD, f"24h_{name.lower()}*.Z"), WORLD_PRODUCTS)
        s = solved(data, products, mode="static", systems="GR")
        rms = s.summary["phase residual rms m"] / mm
        table.say(f"{name}: {s.summary['epochs']} epochs, phase residual rms {rms:.1f} mm")
        if name not in known:
            table.say(f"{name}: not among the published coordinates")
            table.short += 1
            continue
        away = difference_enu(s.position_m[0], known[name]) / mm
        table.say(f"{name}: E N U {away.round(1)} mm from the coordinate of 2020 moved to 2016")
        horizontal = float(np.hypot(away[0], away[1]))
        table.line(f"{name} static, horizontally", horizontal, 30, "mm", "SINEX 2020-244")
        table.line(f"{name} static, up", abs(away[2]), 50, "mm", "SINEX 2020-244")


def broadcast(table):
    """NYA1 with broadcast orbits alone."""
    folder = "nyalesund_2024_124"
    data, products = load(
        "NYA1", files(folder, "*MO.crx.gz"), {"navigation": [(folder, "*N.rnx.gz")]}
    )
    site = np.array([1202433.6152, 252632.4041, 6237772.7642])  # SINEX of 2020-244
    for mode, bar in (("kinematic", 0.6), ("static", 0.5)):
        s = solved(data, products, mode=mode)
        away = difference_enu(s.position_m, site)
        if mode == "kinematic":
            worst = float(away.std(axis=0).max())
            table.say(f"kinematic std E N U {away.std(axis=0).round(3)} m")
            table.line("NYA1 broadcast, kinematic std, worst axis", worst, bar, "m", STUDY)
        else:
            table.say(f"static E N U {away[0].round(3)} m")
            size = float(np.linalg.norm(away[0]))
            table.line("NYA1 broadcast, static from the reference", size, bar, "m", STUDY)


def main():
    real_data("gnss")
    table = Table("Real stations of 2016, 2024 and 2025")
    modern(table)
    old(table)
    broadcast(table)
    table.end()


if __name__ == "__main__":
    main()
