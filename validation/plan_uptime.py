"""A real station's winters at 84.3 S, by sun and bank alone: when it dies, when it wakes again.

    python validation/plan_uptime.py

Nothing is known of that station's panels, load, switch, box or place but the latitude and the days
it ran. Taken: two upright panels of 85 W with a third of their light lost and 5 W, as in
``plan_energy.py``; switch and law of the cold by default; a mild West Antarctic climate. Free: the
bank's size, one for all winters. Other panels, laws and switches had been tried before: the two
panels wake on days 250 to 285 with any switch from 12.2 to 13.2 V, one panel up to 300. A frozen
bank that takes no charge until it thaws is shown beside: it wakes later, but in all winters alike.
Two winters of equal death (days 139, 137) end 67 days apart: no rule tried that is the same for
both, with drawn weather as the only difference, gives that. Exit code 1 where one falls short.
"""

import csv
from dataclasses import replace
from itertools import pairwise

import numpy as np
from _measured import Table, real_data

from stakeline.constants import NS_PER_DAY
from stakeline.station.battery import Bank, freezing_degC
from stakeline.station.box import Box
from stakeline.station.design import Design, Load, PlacedPanel, Site
from stakeline.station.panel import Panel
from stakeline.station.survival import circumstances, parts_power, survival
from stakeline.station.weather import climate_weather, draw_weather
from stakeline.time import day_of_year, from_calendar, from_iso

SOURCE = "a real station, 84.3 S, 2010-2013"
YEARS, BLOCK_AH, NIGHT_D = 100, 50.0, (150, 240)
CLIMATE = {
    "south": True,
    "mean_degC": -28.0,
    "swing_K": 14.0,
    "spread_K": 7.0,
    "wind_m_s": 4.5,
    "wind_shape": 1.8,
    "wind_winter_share": 0.1,
    "cloud": 0.6,
    "pressure_hPa": 960.0,
}
DESIGN = Design(
    "REAL",
    Site(-84.3, -150.0, 100.0),
    (PlacedPanel("panel", Panel(), 2, 90.0, 0.0, clean_share=0.65),),
    Bank(block_Ah=BLOCK_AH),
    Box(),
    (Load("all", "receiver", 5.0),),
)


def observed():
    """Return [(year, day of death, day of the next start)] of the winters, and the starts."""
    with real_data("ice", "uptime", "station_84.3S_2010_2012.csv").open(newline="") as file:
        spans = [(from_iso(a), from_iso(b)) for a, b in list(csv.reader(file))[1:]]
    winters = []
    for (begin, end), (following, _) in pairwise(spans):
        if end - begin > 30 * NS_PER_DAY:
            year, day = day_of_year(end)
            winters.append((int(year), int(day), int(day_of_year(following)[1])))
    starts = sum(int(day_of_year(a)[0]) == 2012 for a, _ in spans)
    return winters, starts, spans


def frozen_till_thaw(strings, around, offered, done):
    """Return (days of the first start, starts): a bank below its acid's freezing takes no charge.

    Taken for the acid of the lowest charge; from the middle of the night to the last day on which
    the box is colder than that.
    """
    cold = done.days[:, 2] < freezing_degC(done.lowest_charge)[:, None]
    last = np.where(cold.any(axis=1), cold.shape[1] - cold[:, ::-1].argmax(axis=1), 0)
    hours = np.arange(offered.panel_W.shape[2])
    dark = (hours >= NIGHT_D[0] * 24) & (hours < 24 * last[:, None])
    _, woke, often, _ = with_bank(
        strings, around, replace(offered, panel_W=offered.panel_W * ~dark)
    )
    return woke, often


def with_bank(strings, around, offered):
    """Return (days of death, days of the first start after the night, starts), one a year."""
    design = replace(DESIGN, bank=replace(DESIGN.bank, parallel=strings))
    done = survival(design, around, offered=offered).outcome
    awake = done.days[:, 1] > 0.0
    woke = NIGHT_D[1] + 1.0 + awake[:, NIGHT_D[1] :].argmax(axis=1)
    return done.first_off / 24.0 + 1.0, woke, done.starts, done


def main(table):
    winters, starts, spans = observed()
    model = climate_weather(**CLIMATE)
    weather = draw_weather(model, from_calendar(2011, 1, 1), YEARS, np.random.default_rng(84))
    around = circumstances(DESIGN.site, weather)
    offered = parts_power(DESIGN, around)
    middle = np.median([death for _, death, _ in winters])
    tried = {strings: with_bank(strings, around, offered) for strings in range(6, 21)}
    chosen = min(tried, key=lambda s: abs(np.median(tried[s][0]) - middle))
    died, woke, often, done = tried[chosen]
    table.say(f"the bank that dies nearest to day {middle:g}: {chosen * BLOCK_AH:g} Ah")
    table.say(f"dies on day {_three(died)} (5, 50, 95 % of {YEARS} years), wakes on {_three(woke)}")
    for year, death, start in winters:
        table.line(f"{year}: dies on day {death}, median apart", abs(np.median(died) - death), 15.0,
                   "d", SOURCE)  # fmt: skip
        table.line(f"{year}: wakes on day {start}, median apart", abs(np.median(woke) - start), 7.0,
                   "d", SOURCE)  # fmt: skip
    unexplained(table, winters, spans, woke, frozen_till_thaw(chosen, around, offered, done)[0])
    off = abs(often.mean() - starts)
    table.line(f"starts after the night, mean, apart from {starts}", off, 3.0, "",
               f"{SOURCE}; own bar")  # fmt: skip
    table.line("energy missing in the worst year", np.abs(done.balance).max(), 1e-9, "",
               "conservation")  # fmt: skip


def unexplained(table, winters, spans, woke, thawed):
    """Print what speaks against any one rule for the three winters."""
    first = [start for _, _, start in winters]
    table.say("2010 and 2011 began again in November and ran on whole, two months after the Sun.")
    table.say(f"a bank that takes no charge while frozen wakes on {_three(thawed)}")
    apart = [np.subtract(*np.quantile(days, (0.95, 0.05))) for days in (woke, thawed)]
    table.say(
        f"winters wake {apart[0]:.0f} d apart by weather (5 to 95 %), {apart[1]:.0f} with the "
        f"frozen bank; observed {max(first) - min(first)} d, death in the two latest alike"
    )
    hours = {year: [_utc_h(a) for a, _ in spans if int(day_of_year(a)[0]) == year]
             for year in (2010, 2011, 2012)}  # fmt: skip
    table.say(f"starts of 2012 at {min(hours[2012]):.1f} to {max(hours[2012]):.1f} h UTC, when its "
              "light is brightest")  # fmt: skip
    table.say(f"of 2010 at {hours[2010][-1]:.1f} h, of 2011 at {hours[2011][-1]:.1f} h, the "
              "latter half a day away, as when somebody comes")  # fmt: skip


def _utc_h(time_ns):
    return (time_ns % NS_PER_DAY) / NS_PER_DAY * 24.0


def _three(values):
    return ", ".join(f"{q:.0f}" for q in np.quantile(values, (0.05, 0.5, 0.95)))


if __name__ == "__main__":
    TABLE = Table("A real station's winters")
    main(TABLE)
    TABLE.end()
