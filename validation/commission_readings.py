"""Expected readings: panels by a second library and by hand, bands, slope to vertical, battery.

    python validation/commission_readings.py

Exit code 1 where one falls short. The second library (pvlib) is used here and in tests only.
"""

import numpy as np
from _commission import moment, planned
from _measured import Table
from pvlib import ivtools, pvsystem

from stakeline.station.antenna_height import Rim, height_of, reduce_slope
from stakeline.station.battery import LITHIUM, Bank, freezing_degC, rest_V
from stakeline.station.diode import DataSheet, at, best_point, diode_of, fit_diode, open_V, short_A
from stakeline.station.expectation import metered
from stakeline.station.expected_panels import (
    Conditions,
    alike_sentence,
    panel_bounds,
    panel_expectations,
)
from stakeline.station.light_band import CLEAR, CLOUDY, UNKNOWN, Place, light_band
from stakeline.station.panel import cell_degC
from stakeline.station.shading import lost_beam
from stakeline.station.sky import clear_light, cloudy_light, on_panel
from stakeline.station.sunlight import refraction_rad, sun_course

SHEETS = {
    "36 cells, 76 W": DataSheet(21.7, 4.8, 17.4, 4.35, 36, -0.0782, 0.003),
    "60 cells, 270 W": DataSheet(38.3, 9.43, 31.0, 8.71, 60, -0.13788, 0.005658),
    "72 cells, 333 W": DataSheet(45.3, 9.4, 37.4, 8.9, 72, -0.1404, 0.0047),
}
FIELD = [(g, t) for g in (50.0, 200.0, 600.0, 1200.0) for t in (-45.0, -20.0, 0.0, 25.0)]
PVLIB = "pvlib singlediode, De Soto et al. (2006)"
DRAWS, SEED = 400, 20310428


def same_numbers(table):
    """The five numbers given, does the curve agree in light and cold?"""
    for name, sheet in SHEETS.items():
        d = fit_diode(sheet)
        volts, amps, power = [], [], []
        for light, degrees in FIELD:
            five = (d.slope_V, d.light_A, d.saturation_A, d.shunt_ohm, d.series_ohm)
            theirs = pvsystem.singlediode(
                *pvsystem.calcparams_desoto(light, degrees, sheet.short_A_K, *five)
            )
            now = at(d, light, degrees)
            volts.append(abs(float(open_V(now)) - theirs["v_oc"]))
            amps.append(abs(float(short_A(now)) - theirs["i_sc"]))
            v, i = best_point(now)
            power.append(100.0 * abs(v * i / theirs["p_mp"] - 1.0))
        table.line(f"{name}: open voltage, largest", 1e3 * max(volts), 1.0, "mV", PVLIB)
        table.line(f"{name}: short-circuit current, largest", 1e3 * max(amps), 1.0, "mA", PVLIB)
        table.line(f"{name}: best power, largest", max(power), 0.1, "%", PVLIB)


def own_fit(table):
    """The data sheet given, do both find the same panel? (the other fit fails on two of three)"""
    for name, sheet in SHEETS.items():
        try:
            theirs, _ = ivtools.sdm.fit_desoto(
                sheet.best_V, sheet.best_A, sheet.open_V, sheet.short_A, sheet.short_A_K,
                sheet.open_V_K, sheet.cells,
            )  # fmt: skip
        except RuntimeError:
            table.say(
                f"{name}: the second library's fit finds nothing; ours goes through all points"
            )
            continue
        d = fit_diode(sheet)
        apart = []
        for light, degrees in FIELD:
            other = pvsystem.singlediode(
                *pvsystem.calcparams_desoto(
                    light, degrees, sheet.short_A_K, theirs["a_ref"], theirs["I_L_ref"],
                    theirs["I_o_ref"], theirs["R_sh_ref"], theirs["R_s"],
                )
            )  # fmt: skip
            apart.append(abs(float(open_V(at(d, light, degrees))) / other["v_oc"] - 1.0))
        table.line(f"{name}: open voltage by two fits", 100.0 * max(apart), 0.5, "%", PVLIB)


def by_hand(table):
    """What a pencil says."""
    d = fit_diode(SHEETS["36 cells, 76 W"])
    half = float(short_A(at(d, 500.0, 25.0)) / short_A(at(d, 1000.0, 25.0)))
    source = "proportional to light; bar widened from 0.001 after the first run: shunt"
    table.line(
        "short-circuit current in half the light, from 1/2", abs(half - 0.5), 5e-3, "", source
    )
    step = float(open_V(at(d, 1000.0, 25.0)) - open_V(at(d, 100.0, 25.0)))
    off = 100.0 * abs(step / (d.slope_V * np.log(10.0)) - 1.0)
    table.line("open voltage, a tenth of the light, from a ln 10", off, 2.0, "%", "ideal diode")
    cold = float(open_V(at(fit_diode(DataSheet(21.6, 4.8, 17.3, 4.35, 36, -0.0033 * 21.6, 0.003)),
                           1000.0, -40.0)))  # fmt: skip
    table.line("a 21.6 V panel at -40 degC, from 26 V", abs(cold - 26.0), 0.5, "V",
               "handbook rule, 0.3 %/K; from memory")  # fmt: skip


def weather_in_bands(table):
    """Possible weather, hand-set panels, makers' tolerance and meters: inside the bands?"""
    rng = np.random.default_rng(SEED)
    cases = [(79.0, "2031-04-28T11:00", 180.0), (79.0, "2031-06-20T23:00", 0.0),
             (-79.0, "2031-11-10T11:00", 0.0), (-84.0, "2031-02-05T05:00", 300.0)]  # fmt: skip
    for latitude, iso, facing in cases:
        described = planned(("latitude_deg = 79.0412", f"latitude_deg = {latitude}"),
                            ("azimuth_deg = 180", f"azimuth_deg = {facing}"))  # fmt: skip
        group = described.design.panels[0]
        for sky in (CLEAR, CLOUDY, UNKNOWN):
            place = Place(moment(iso).time_ns, np.radians(latitude), np.radians(17.358), 212.0, sky)
            conditions = Conditions(place, -18.0, 5.0, -18.0)
            volts, amps = panel_expectations(described.design, group, conditions)[:2]
            inside = sum(volts.holds(v) and amps.holds(a) for v, a in
                         readings(rng, described.design, group, conditions))  # fmt: skip
            name = f"{latitude:g} deg, {iso[:10]}, facing {facing:g}, {sky}: inside"
            share = 100.0 * inside / DRAWS
            table.line(name, share, 95.0, "%", "simulation; own bar", least=True)


def readings(rng, design, group, conditions):
    """Yield open voltage and current of a sound panel in weather drawn from what the sky allows."""
    place, horizon = conditions.place, design.site.horizon
    sun = sun_course(place.time_ns, place.latitude_rad, place.longitude_rad, place.height_m)
    seen = sun.elevation_rad + refraction_rad(sun.elevation_rad)
    shadow = lost_beam(design, group, seen, sun.azimuth_rad)
    for _ in range(DRAWS):
        albedo, haze = rng.uniform(0.6, 0.88), rng.uniform(1.5, 3.5)
        light = clear_light(sun, place.height_m, haze, albedo)
        if place.sky == CLOUDY or (place.sky == UNKNOWN and rng.random() < 0.6):
            cover = 1.0 if place.sky == CLOUDY else rng.uniform(0.0, 1.0)
            depth = np.exp(rng.uniform(np.log(3.5), np.log(35.0)))
            light = cloudy_light(light, sun, cover, albedo, depth)
        tilt = np.radians(group.tilt_deg + np.clip(rng.normal(0.0, 2.0), -5.0, 5.0))
        facing = np.radians(group.azimuth_deg + np.clip(rng.normal(0.0, 5.0), -10.0, 10.0))
        lost = np.minimum(rng.uniform(0.6, 1.4) * shadow, 1.0)
        on = float(on_panel(light, sun, tilt, facing, albedo, horizon, lost=lost)[0])
        on *= 1.0 + np.clip(rng.normal(0.0, 0.03), -0.07, 0.07)
        air = conditions.air_degC + rng.uniform(-2.0, 2.0)
        now = at(diode_of(group.panel), on, cell_degC(air, on, rng.uniform(2.5, 8.0)))
        maker = 1.0 + np.clip(rng.normal(0.0, 0.015, 2), -0.03, 0.03)
        yield float(open_V(now)) * maker[0], float(short_A(now)) * maker[1]


def faults_outside(table):
    """A lost string must show: by its band in a clear sky, by its neighbours below any."""
    described = planned(("count = 1\n", "count = 2\n"))
    group, horizon = described.design.panels[0], described.design.site.horizon
    rng = np.random.default_rng(SEED + 1)
    for sky, bar in ((CLEAR, 90.0), (UNKNOWN, 90.0)):
        place = Place(moment().time_ns, np.radians(79.0), np.radians(17.358), 212.0, sky)
        conditions = Conditions(place, -18.0, 5.0, -18.0)
        both = panel_expectations(described.design, group, conditions)[-1]
        amps = np.array([a for _, a in readings(rng, described.design, group, conditions)])
        band = np.array([not both.holds(a) for a in amps])
        lost, sound = (held_together(rng, group, amps, n) for n in (1, 2))
        name = f"one of two strings open, sky {sky}"
        shares = f"band {100 * band.mean():.0f} %, neighbours {100 * lost.mean():.0f} %"
        table.say(f"{name}: told by {shares}")
        told = 100.0 * (band | lost).mean()
        table.line(f"{name}: told", told, bar, "%", "simulation; own bar", least=True)
        false = 100.0 * sound.mean()
        table.line("  both whole: told wrongly", false, 5.0, "%", "simulation; own bar")
    light = light_band(place, np.radians(80.0), np.pi, horizon)
    volts, _ = panel_bounds(group.panel, light, conditions)
    least, _, most = metered(*volts, "V")
    table.say(
        f"open voltage, sky unknown: {least:.1f} to {most:.1f} V; a dark half gives half of it"
    )


def held_together(rng, group, amps, strings):
    """Return in which draws panels tell on each other: meter 2 %, light that wanders by 4 %."""
    told = []
    for current in amps:
        wander = 1.0 + rng.normal(0.0, 0.04, 3) + rng.normal(0.0, 0.02, 3)
        values = {f"panel_south_{n}_short_A": current * wander[n - 1] for n in (1, 2)}
        values["panel_south_all_short_A"] = strings * current * wander[2]
        told.append(bool(alike_sentence(group, values)))
    return np.array(told)


def slopes(table):
    """Slope to vertical: the 3-4-5 triangle, a pole in coordinates, and the scatter of a tape."""
    table.line("3-4-5: slope 2.5 m, rim 1.5 m, from 2 m", abs(reduce_slope([2.5], Rim(1.5)) - 2.0),
               1e-12, "m", "Pythagoras")  # fmt: skip
    rim, high = Rim(0.170, 0.035, 0.030), 1.532
    turn = 2.0 * np.pi * np.arange(3) / 3
    ends = np.column_stack([rim.from_axis_m * np.cos(turn), rim.from_axis_m * np.sin(turn),
                            np.full(3, high + rim.above_reference_m)])  # fmt: skip
    exact = np.linalg.norm(ends - [rim.mark_off_axis_m, 0.0, 0.0], axis=1)
    table.say("worked: h 1.532 m, r 0.170, p 0.030, e 0.035: B = "
              + ", ".join(f"{s:.4f}" for s in exact) + " m")  # fmt: skip
    table.line("  reduced, from 1.532 m", abs(reduce_slope(exact, rim) - high), 1e-9, "m",
               "coordinates")  # fmt: skip
    table.say(f"  not reduced it would be {1e3 * (exact.mean() - high):.1f} mm too high")
    rng = np.random.default_rng(SEED + 2)
    found, sigma = [], []
    for _ in range(DRAWS):
        said = height_of(high + rng.normal(0.0, 0.0015), exact + rng.normal(0.0, 0.002, 3),
                         high + rng.normal(0.0, 0.0015), rim)  # fmt: skip
        found.append(said.height_m - high)
        sigma.append(said.sigma_m)
    table.line("  scatter by the sigma given", np.std(found) / np.median(sigma), 1.0, "",
               "simulation; at most 1: the spread of the ways widens it")  # fmt: skip


def batteries(table):
    """The battery table, with its sources."""
    bank, lithium = Bank(parallel=1), Bank(chemistry=LITHIUM, parallel=1)
    table.say("charge   lead-acid 25, -20, -40 degC [V]   freezes [degC]   LiFePO4 [V]")
    for charge in (1.0, 0.75, 0.5, 0.25, 0.0):
        row = "  ".join(f"{float(rest_V(bank, charge, t)):6.2f}" for t in (25.0, -20.0, -40.0))
        table.say(f"{charge:5.0%}    {row}             {float(freezing_degC(charge)):6.0f}         "
                  f"{float(rest_V(lithium, charge)):6.2f}")  # fmt: skip
    table.say("lead-acid: gravity by charge and freezing, US Army TM 5-1185, tables II and III; "
              "volts = 6 (gravity + 0.84), common practice; LiFePO4 from memory")  # fmt: skip
    handbook = "handbook values at 25 degC, from memory"
    full, half, empty = (float(rest_V(bank, c)) for c in (1.0, 0.5, 0.0))
    table.line("full, from 12.7 to 12.9 V", max(12.7 - full, full - 12.9, 0.0), 0.0, "V", handbook)
    table.line("half, from 12.2 V", abs(half - 12.2), 0.2, "V", handbook)
    table.line("empty, above 11.9 V by", max(empty - 11.9, 0.0), 0.0, "V", handbook)
    table.line("half charged freezes, from -35 degC", abs(float(freezing_degC(0.5)) + 35.0), 3.0,
               "K", "TM 5-1185, between its rows")  # fmt: skip


def main():
    table = Table("Readings to expect at a station")
    for part in (
        same_numbers,
        own_fit,
        by_hand,
        weather_in_bands,
        faults_outside,
        slopes,
        batteries,
    ):
        part(table)
    table.end()


if __name__ == "__main__":
    main()
