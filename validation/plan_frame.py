"""Frame, guys, anchors, snow and coordinates of a station against published values.

The design case of common practice, 75 knots with -73 degC, is put on the example of a station file,
a stout guyed mast that carries panels and turbine, and on a lighter one with a drilled frame.
"""

import tempfile
from dataclasses import replace
from importlib import resources
from pathlib import Path

import numpy as np
from _measured import Table

from stakeline.station import (
    anchors,
    burial,
    cargo,
    field_coordinates,
    frame,
    guyed_mast,
    guys,
    mast,
    network,
    storm,
    visit_place,
    wind_load,
)
from stakeline.station.cargo import totals
from stakeline.workflows.plan_description import describe_station
from stakeline.workflows.plan_storm import storm_of

EXAMPLE = resources.files("stakeline.campaign").joinpath("templates", "plan_HV01.toml")
COLD = ("coldest_degC = -45", "coldest_degC = -73")
LIGHT = (
    ("[snow]", "[frame]\nlegs = 3\nembedded_m = 1.5\n\n[snow]"),
    ("diameter_m = 0.09\nwall_m = 0.005", "diameter_m = 0.06\nwall_m = 0.004"),
    ("top_m = 2.2\nout_m = 2.5\nbreaking_N = 20e3 ", "breaking_N = 10e3 "),
    ("stretch_N = 1e6 ", "stretch_N = 5e5 "),
    ("area_m2 = 0.25\ndepth_m = 1.2", "area_m2 = 0.06\ndepth_m = 1.0"),
    ('place = "snow" ', 'place = "surface" '),
)


def relative(measured, expected):
    """Return the difference in percent of what was expected."""
    return 100.0 * abs(measured - expected) / abs(expected)


def wind(table):
    """Print air, pressure and the moment of one panel."""
    hand = "arithmetic of the formula"
    for (pressure, cold), expected in {
        (1013.25, 15.0): 1.2250, (1000.0, -40.0): 1.4942, (680.0, -60.0): 1.1114,
    }.items():  # fmt: skip
        found = storm.air_density(pressure, cold)
        off = relative(found, expected)
        table.line(f"air of {pressure} hPa, {cold} degC", off, 0.01, "%", "ISO 2533; " + hand)
    off = relative(storm.dynamic_pressure(50.0, 1.226), 1532.5)
    table.line("pressure of 50 m/s", off, 0.01, "%", "ASCE 7: 0.613 v2, from memory")
    panel = wind_load.Part("panel", "plate", 0.65, 1.2, (0.0, 0.0, 2.0))
    load = wind_load.wind_load([panel], 50.0, 180.0, 1.226)
    table.line("overturning of a panel", relative(load.overturning_Nm, 2868.8), 0.01, "%", hand)
    square = 0.75 * np.array([[1, 1], [-1, 1], [-1, -1], [1, -1]])
    ballast = frame.standing(square, load.force_N, load.moment_Nm, 0.0).ballast_kg
    table.line("ballast of its frame, factor 1.5", relative(ballast, 584.9), 0.1, "%", hand)


def storms(table):
    """Print how well few years give the storm of fifty, and whether their doubt is honest."""
    truth, rng = storm.Extremes(35.0, 4.0), np.random.default_rng(71)
    years = [storm.fit_extremes(one) for one in rng.gumbel(35.0, 4.0, (4000, 20))]
    off = np.array([one.once_in(50.0) - truth.once_in(50.0) for one in years])
    sigma = np.array([one.sigma_once_in(50.0) for one in years])
    held = 100.0 * np.mean(np.abs(off) <= 1.96 * sigma)
    law = "simulation, 4000 records of 20 years"
    table.line("50-year wind of 20 years: bias", abs(off.mean()), 0.2, "m/s", law)
    table.line("its 95 % interval holds", held, 90.0, "%", law, least=True)
    # storms at random with exponential excess make yearly maxima of a Gumbel law
    truth = storm.Extremes(14.0 + 2.5 * np.log(40.0), 2.5).once_in(50.0)
    law, off, inside = "simulation, 2000 records of 3 years", [], []
    for _ in range(2000):
        peaks = 14.0 + rng.exponential(2.5, rng.poisson(120))
        found = storm.fit_storms(peaks, 3.0)
        off.append(found.once_in(50.0) - truth)
        inside.append(abs(off[-1]) <= 1.96 * found.sigma_once_in(50.0))
    table.line("50-year wind by storms of 3 years: bias", abs(np.mean(off)), 0.4, "m/s", law)
    table.line("its 95 % interval by storms holds", 100.0 * np.mean(inside), 90.0, "%", law,
               least=True)  # fmt: skip


def held_by_guys(table):
    """Print tensions against statics, and the balance of many guyed masts."""
    for angle, expected in ((30.0, 1154.7), (45.0, 1414.2), (60.0, 2000.0)):
        radius = 3.0 / np.tan(np.radians(angle))
        ring = [
            guys.Guy(str(k), (0.0, 0.0, 3.0), (radius * e, radius * n, 0.0), 6e5, 12e3)
            for k, (e, n) in enumerate(((0, 1), (1, 0), (0, -1), (-1, 0)))
        ]
        load = guys.guyed_load(ring, (0.0, -1000.0, 0.0), (3000.0, 0.0, 0.0))
        off = relative(load.tensions_N[0], expected)
        table.line(f"one guy at {angle} deg under 1000 N", off, 0.01, "%", "statics")
    rng, rest = np.random.default_rng(5), 0.0
    for _ in range(300):
        azimuth = np.radians(72.0 * np.arange(5) + rng.uniform(-20.0, 20.0, 5))
        places = np.column_stack([3.0 * np.sin(azimuth), 3.0 * np.cos(azimuth), np.zeros(5)])
        ring = [guys.Guy(str(k), (0.0, 0.0, 3.0), tuple(p), 5e5, 1e4, 300.0)
                for k, p in enumerate(places)]  # fmt: skip
        force = np.array([*rng.normal(0.0, 1500.0, 2), 0.0])
        moment = np.cross([0.0, 0.0, 2.0], force)
        load = guys.guyed_load(ring, force, moment)
        if load.stands:
            left = moment - np.cross([0.0, 0.0, 3.0], load.anchor_pull_N.sum(axis=0))
            rest = max(rest, np.abs(left[:2]).max() / np.abs(moment).max())
        else:
            rest = np.inf
    table.line("moment left over, 300 masts on 5 guys", 100.0 * rest, 1e-4, "%", "balance")


def masts_and_anchors(table):
    """Print bending and sway of one and two spans, and pull tests."""
    pole = mast.Tube(3.0, 0.06, 0.003)
    places = np.array([[0.0, 0.0, 3.0]])
    push = guyed_mast.Pushes(places, np.array([[100.0, 0.0, 0.0]]), np.zeros(2))
    ring = [guys.Guy(str(k), (0.0, 0.0, 2.0), (2.5 * e, 2.5 * n, 0.0), 1e13, 2e4, 1e7)
            for k, (e, n) in enumerate(((0, 1), (1, 0), (0, -1), (-1, 0)))]  # fmt: skip
    for words, foot, factor in (("clamped foot", np.inf, 2.0 / 4.0 + 1.0 / 3.0),
                                ("foot that stands", 0.0, 3.0 / 3.0)):  # fmt: skip
        found = guyed_mast.mast_answer(pole, ring, push, foot_Nm_rad=foot).bending.top_mm
        off = relative(found, 1e3 * 100.0 * factor / pole.stiffness_Nm2)
        table.line(f"propped tube with an overhang, {words}", off, 0.01, "%", "handbooks of beams")
    soft = [replace(one, stretch_N=5e5, pretension_N=1e5) for one in ring]
    found = guyed_mast.mast_answer(pole, soft, push, foot_Nm_rad=0.0)
    give = 100.0 * 3.0 / 2.0 / guyed_mast.level_stiffness(soft) * 3.0 / 2.0
    table.line("turn of a mast on guys that stretch", relative(found.turned_mm, 1e3 * give), 0.01,
               "%", "statics: pull over stiffness, twice by lever")  # fmt: skip
    found = guyed_mast.mast_sways(pole, (), [(3.0, 4.0)], 1.3)[0].frequency_Hz
    off = relative(found, mast.natural_frequency(pole, 4.0))
    table.line("sway by elements, against the exact root", off, 0.01, "%", "Blevins (1979)")
    expected = 3.516015 / (2.0 * np.pi * 9.0) * np.sqrt(pole.stiffness_Nm2 / pole.mass_kg_m)
    off = relative(mast.natural_frequency(pole), expected)
    table.line("sway of a bare tube", off, 0.01, "%", "textbooks: 1.875104^2")
    found = anchors.buried_plate(0.04, 0.6, 300.0, 20.0).capacity_N
    table.line("snow stake of 0.04 m2", relative(found, 4000.0), 0.1, "%", "Bogie: 100 kPa, 4 kN")
    for density, measured in ((300.0, 2000.0), (400.0, 2940.0), (400.0, 4470.0)):
        found = anchors.picket(0.07, 0.6, density).capacity_N
        factor = max(found / measured, measured / found)
        source = "pull tests (weak; Fortini 2005); density ours, bar ours"
        table.line(f"picket pulled to {measured:g} N: off by a factor", factor, 2.0, "-", source)


def snow(table):
    """Print burial and melt without and with doubt."""
    rng = np.random.default_rng(17)
    quiet = burial.Rise(1.2, storm_share=0.0)
    found = burial.passage("antenna", 3.0, quiet, 5.0, rng, count=3).median_a
    table.line("3 m at 1.2 m/a without doubt", relative(found, 2.5), 1e-6, "%", "height over rate")
    melt = burial.Rise(2.5, storm_share=0.0)
    found = burial.melt_out("pole", 5.0, 0.0, melt, 4.0, rng).median_a
    table.line("5 m pole, 2.5 m/a of melt", abs(found - 2.0), 0.01, "a", "field report: 2 years")
    real = burial.Rise(1.0, 0.15, 0.2)
    late = burial.passage("a", burial.height_needed(real, 1.0), real, 3.0, rng).chance_by(1.0)
    table.line(
        "5 % height is reached in", abs(100.0 * late - 5.0), 2.5, "%", "normal law; bar ours"
    )


def freight(table):
    """Print flights against the fewest."""
    rng, worst = np.random.default_rng(8), 0.0
    for _ in range(200):
        items = [
            cargo.Item(f"p{k}", rng.uniform(1.0, 150.0), rng.uniform(0.01, 2.0)) for k in range(25)
        ]
        found = cargo.loads(items, cargo.Aircraft(200.0, 3.0))
        worst = max(worst, len(found.flights) / found.fewest)
    table.line("flights over the bound from below, worst of 200", worst, 1.5, "-", "bar ours")


def places(table):
    """Print round trips of texts, the trap, the ellipse and the satellites in view."""
    rng, worst = np.random.default_rng(23), 0.0
    for latitude, longitude in zip(
        rng.uniform(-90.0, 90.0, 10_000), rng.uniform(-180.0, 180.0, 10_000), strict=True
    ):
        shown = field_coordinates.side_by_side(latitude, longitude)
        read = [
            field_coordinates.read_line(t) for t in (shown.degrees, shown.minutes, shown.seconds)
        ]
        back = [(one.latitude_deg, one.longitude_deg) for one in read]
        back.append(field_coordinates.from_grid(shown.easting_m, shown.northing_m, shown.epsg))
        doubtful = any(one.doubts for one in read)
        off = max(field_coordinates.distance((latitude, longitude), place) for place in back)
        worst = np.inf if doubtful else max(worst, off)
    table.line("10 000 places in four forms and back", worst, 0.3, "m", "half of the last decimals")
    trap = field_coordinates.read_place("79 07 59 S", "160° 30' 00\" E").doubts[0].distance_m
    table.line(
        "seconds read as decimals, told", abs(trap - 700.0), 50.0, "m", "field report: ~700 m"
    )
    site = visit_place.MovingSite(
        *(79.2, -22.5, 900.0, 0, (-180.0, 240.0)), np.eye(2) * 0.01, np.diag([25.0, 16.0])
    )
    place = visit_place.visit_place(site, int(visit_place.YEAR_NS))
    off = rng.multivariate_normal([0.0, 0.0], np.diag([25.01, 16.01]), 40_000)
    inside = np.einsum("ij,jk,ik->i", off, np.linalg.inv(place.covariance_m2), off) <= 5.991
    held = abs(100.0 * inside.mean() - 95.0)
    table.line("ellipse holds the site, off 95 %", held, 0.5, "%", "simulation; chi-square 5.991")
    seen = network.satellites_in_view(["GPS"], 10.0)
    table.line("GPS above 10 deg, off 9.3", abs(seen - 9.3), 0.05, "-", "share of the sphere")


def described(folder, *changes):
    """Return the description of the example with lines changed."""
    text = EXAMPLE.read_text(encoding="utf-8")
    for old, new in changes:
        if old not in text:
            raise SystemExit(f"the example has no {old!r} any more: mend this program")
        text = text.replace(old, new, 1)
    path = Path(folder) / "HV01.toml"
    path.write_text(text, encoding="utf-8")
    return describe_station(path)


def worst_case(table):
    """Print how the example's guyed mast, and a light frame, stand 75 knots at -73 degC."""
    usual = "common practice, no source: 75 knots, -100 degF"
    with tempfile.TemporaryDirectory() as folder:
        stout, plain = described(folder, COLD), described(folder, COLD, *LIGHT)
    stands, falls = storm_of(stout), storm_of(plain)
    bad = [one.name for one in stands.lines if one.state != "good"]
    table.line("guyed mast in 38.6 m/s: margins not good", len(bad), 0, "", usual)
    named = {one.name: one for one in stands.lines}
    for name in ("mast: proof stress by stress", "guys: breaking load by tension",
                 "anchors: working load by pull"):  # fmt: skip
        table.line(f"its {name}", named[name].value, named[name].needed, "", usual, least=True)
    more = totals(stout.items).mass_kg - totals(plain.items).mass_kg
    table.line("it is heavier than the drilled frame by", more, 20.0, "kg", "bar ours")
    bad = [one.name for one in falls.lines if one.state == "bad"]
    table.line("the drilled frame: margins told as bad", len(bad), 1, "", usual, least=True)


if __name__ == "__main__":
    show = Table("plan: frame, snow, freight, coordinates")
    for part in (wind, storms, held_by_guys, masts_and_anchors, worst_case, snow, freight, places):
        part(show)
    show.end()
