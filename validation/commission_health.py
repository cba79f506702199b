"""Station health in invented winters: planted faults found, false alarms, dates of death.

    python validation/commission_health.py [--winters 192] [--first 9600] [--fault "bank ageing"]

Exit code 1 where one falls short. Two processes. Rules were set on seeds 0 to 119, those of panels
on 7312 to 7589, of rotors that stand on 8500 to 8719, of an ageing bank on 9200 to 9527; figures
are of other seeds (all up to 9527 have been looked at). With one fault alone forecasts are left
out. What differs from the simulator: panels are single diodes at the battery's voltage, there a
straight line by light and temperature; light by other laws of sky, cloud and ground; the bank's
voltage a table of acid drawn towards a line, there a line of other ends; capacity, cold, share kept
and voltage are fitted, not known; rime by other rates; weather of forecasts is of other years of
the same climate.
"""

import argparse
import concurrent.futures
import functools
import time

import numpy as np
from _invented_power import DAY_S, SITES, design_of, invented, outlook_of
from _measured import Table

from stakeline.constants import NS_PER_DAY
from stakeline.simulate.campaign import START_NS
from stakeline.station.health import judge, outlook_from
from stakeline.station.health_parts import BANK, COVER, LOAD, ONE_PANEL, PANELS, TURBINE
from stakeline.station.telemetry import DAY_H

WINTERS, FIRST = 192, 9600
OURS = "bar of the project, no source"
KINDS = {  # fault: (what health calls it, first and last day of planting, needs)
    "panels lost": (PANELS, 100, 350),
    "one panel lost": (ONE_PANEL, 305, 335),
    "turbine dead": (TURBINE, 130, 320),
    "load doubled": (LOAD, 20, 340),
    "bank ageing": (BANK, 180, 235),
}
WITHIN_D = 10
LASTING = ("panels lost", "one panel lost", "turbine dead", "bank ageing")
COVERED = 0.67  # -, of the light that rime and snow leave, below which panels are covered
OWN_D = 1.0  # d of the station's load, from a group in ten days: below, nothing is lost by its loss
ASKED_D = (153, 184, 214, 245)  # first of October to first of January
YEARS = 12


@functools.cache
def weather_to_come(index, with_turbine):
    """Return the outlook of a site, by whether there is a turbine; the same for all its winters."""
    seed = next(s for s in range(index, 4000, len(SITES))
                if bool(invented(s)[0].design.turbine_W) == with_turbine)  # fmt: skip
    supply, _, site, _ = invented(seed)
    return outlook_of(site, design_of(supply.design, site), YEARS)


def can_tell(kind, supply, begin):
    """Say whether a fault of that day can show: awake for ten days, and what the part needs.

    One group of panels: the bank takes all, and the group would have brought at least ``OWN_D``
    days of load within the ten.
    """
    days = begin + np.arange(0.0, WITHIN_D, 0.25)
    if not supply.powered(days * DAY_S).all():
        return False
    hours = slice(begin * 24, (begin + WITHIN_D) * 24)
    windy = (supply.turbine_W[hours] > 0.0).mean()
    if kind == "turbine dead":
        return bool(supply.design.turbine_W)
    if kind == "panels lost":
        return supply.panel_A[hours].mean() > 0.05
    if kind == "one panel lost":
        brought = supply.panel_W[hours].sum() / len(supply.design.panel_facing_rad)
        enough = brought >= OWN_D * DAY_H * supply.load_W[hours].mean()
        alone = not supply.design.turbine_W
        return alone and enough and supply.charge_state[hours].max() < 0.85
    if kind == "bank ageing":
        return not supply.design.turbine_W or windy < 0.1
    return True


def winter(seed, only=""):
    """Return (false alarms, {fault: days until told or None}, forecasts, {fault: holds}, balances).

    ``holds``: of a fault that was told, whether it still holds at the end of the record. What was
    told before the fault is not counted, but for a rotor that has stood since.

    ``only``: this fault alone, and no forecasts.
    """
    supply, weather, site, hours = invented(seed)
    design = design_of(supply.design, site)
    health = judge(hours, design, np.random.default_rng(seed))
    false = [f.kind for f in health.findings if not _is_so(f, supply, weather)]
    balances = health.energy["balance_unexplained_Wh_d"] / health.energy["balance_sigma_Wh_d"]
    chance = np.random.default_rng(seed + 1)
    told, lasting = {}, {}
    asked = [] if only else _forecasts(seed, supply, design, health, None)
    for kind, (name, first, last) in KINDS.items():
        days = [int(d) for d in chance.permutation(np.arange(first, last))]
        if only not in ("", kind):
            continue
        begin = next((d for d in days if can_tell(kind, supply, d)), None)
        if begin is None:
            continue
        ill, _, _, seen = invented(seed, kind, begin)
        if not can_tell(kind, ill, begin) and kind in ("load doubled", "bank ageing"):
            continue  # it dies within the ten days
        found = judge(seen, design, np.random.default_rng(seed))
        after = [f for f in found.findings if f.kind == name and (
            f.told >= begin or (name == TURBINE and f.holds(begin)))]  # fmt: skip
        told[kind] = max(min(f.told for f in after) - begin, 0) if after else None
        if after and kind in LASTING:
            lasting[kind] = any(f.holds(seen.days - 1) for f in after)
        if not only:
            asked += _forecasts(seed, ill, design, found, begin + WITHIN_D)
    return false, told, asked, lasting, balances[::WITHIN_D]


def _is_so(finding, supply, weather):
    """Say whether ice did it: a rotor stood for most of the time, or panels lost a third."""
    rows = slice(finding.begins * 24, (finding.told + 1) * 24)
    if finding.kind == TURBINE:
        return (weather.rime[rows] >= supply.design.rime_stop).mean() > 0.5
    if finding.kind == COVER:
        depth = weather.snow_surface_m(weather.time_s[rows]) - supply.design.panel_bottom_m
        free = 1.0 - np.clip(depth / supply.design.panel_tall_m, 0.0, 1.0)
        return (free * (1.0 - 0.7 * weather.rime[rows])).mean() < COVERED
    return False


def _forecasts(seed, supply, design, health, after):
    """Return (chance, early, late, truth, asked) in days of forecasts while it is awake."""
    years = weather_to_come(seed % len(SITES), bool(supply.design.turbine_W))
    deaths = [begin / DAY_S for begin, _ in supply.outages_s]
    rows = []
    for day in ASKED_D:
        gone = any(death < day for death in deaths)
        if gone or day > health.hours.days or (after is not None and day < after):
            continue
        told = outlook_from(health, design, years, day, np.random.default_rng(day))
        early, _, late = ((x - START_NS) / NS_PER_DAY for x in told.band_ns)
        rows.append((told.chance, early, late, min(deaths, default=np.inf), day))
    return rows


def report(table, results):
    """Print the figures."""
    false = [kinds for kinds, *_ in results]
    alarmed = 100.0 * np.mean([bool(kinds) for kinds in false])
    count = len(results)
    table.line(f"station-winters without fault with a false alarm, of {count}", alarmed, 5.0, "%",
               OURS)  # fmt: skip
    for name in sorted({kind for kinds in false for kind in kinds}):
        table.say(f"of them '{name}': {sum(name in kinds for kinds in false)}")
    for kind in KINDS:
        days = [told[kind] for _, told, *_ in results if kind in told]
        if not days:
            continue
        good = sum(d is not None and d <= WITHIN_D for d in days)
        table.line(f"{kind}: told within {WITHIN_D} days, of {len(days)} planted",
                   100.0 * good / len(days), 90.0, "%", OURS, least=True)  # fmt: skip
        known = [d for d in days if d is not None]
        table.say(f"median {np.median(known):.0f} d; never told {len(days) - len(known)}")
    for kind in LASTING:
        holds = [lasting[kind] for *_, lasting, _ in results if kind in lasting]
        if holds:
            table.line(f"{kind}: still holds at the end of the record, of {len(holds)} told",
                       100.0 * np.mean(holds), 90.0, "%", OURS, least=True)  # fmt: skip
    off = np.concatenate([balances for *_, balances in results])
    off = off[np.isfinite(off)]
    table.line(f"balance of ten days closes within 2 sigma, of {off.size}",
               100.0 * (np.abs(off) < 2.0).mean(), 90.0, "%", OURS, least=True)  # fmt: skip
    table.say(
        f"planted where it can show: awake for {WITHIN_D} days; panels: light on them; one group: "
        f"the bank takes all, {OWN_D:g} day of load from it; bank: drawn"
    )


def report_forecasts(table, results):
    """Print how forecasts did."""
    rows = np.array([row for _, _, asked, *_ in results for row in asked])
    inside = (rows[:, 1] <= rows[:, 3]) & (rows[:, 3] <= rows[:, 2])
    table.line(f"5 to 95 % band covers the date of death, of {len(rows)} forecasts, least",
               100.0 * inside.mean(), 85.0, "%", OURS, least=True)  # fmt: skip
    table.line("  the same, most", 100.0 * inside.mean(), 97.0, "%", OURS)
    died = np.isfinite(rows[:, 3])
    wide = rows[died & np.isfinite(rows[:, 2])]
    table.say(
        f"where it died: {100 * inside[died].mean():.0f} % of {died.sum()}, band "
        f"{np.median(wide[:, 2] - wide[:, 1]):.0f} d wide "
        f"(median); where it lived: {100 * inside[~died].mean():.0f} % of {(~died).sum()}"
    )
    for low, high in ((0.0, 0.1), (0.1, 0.5), (0.5, 0.9), (0.9, 1.01)):
        own = (rows[:, 0] >= low) & (rows[:, 0] < high)
        if own.any():
            table.say(
                f"said to go dark with a chance of {low:.1f} to {min(high, 1.0):.1f}: "
                f"{100 * died[own].mean():.0f} % of {own.sum()} did"
            )


def main():
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--winters", type=int, default=WINTERS)
    parser.add_argument("--first", type=int, default=FIRST, help="seed of the first")
    parser.add_argument("--fault", choices=KINDS, default="", help="this alone, no forecasts")
    asked = parser.parse_args()
    begin = time.perf_counter()
    table = Table("Station health in invented winters")
    with concurrent.futures.ProcessPoolExecutor(2) as pool:
        seeds = range(asked.first, asked.first + asked.winters)
        results = list(pool.map(functools.partial(winter, only=asked.fault), seeds))
    report(table, results)
    if not asked.fault:
        report_forecasts(table, results)
    table.say(f"{time.perf_counter() - begin:.0f} s on two cores")
    table.end()


if __name__ == "__main__":
    main()
