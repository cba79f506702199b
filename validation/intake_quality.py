"""Quality of receivers' days: real still antennas, planted mistakes, time.

    python validation/intake_quality.py

Needs the real open data. Exit code 1 where one falls short.
"""

import time
from dataclasses import replace

import numpy as np
from _measured import ESBC, ROSALIA, Table, files, load

from stakeline.constants import FREQUENCY_HZ, SPEED_OF_LIGHT_M_S
from stakeline.tables import SYSTEMS, satellite_name
from stakeline.workflows.quality import file_quality

WORLD, NORTH = "world_2016_044", "nyalesund_2024_124"
DAYS = {  # station: folder, files, products
    "ESBC": (ESBC, "*crx.gz", {"orbits": [(ESBC, "GRG*ORB.SP3.gz")]}),
    "ROSR": (ROSALIA, "*01D_30S_MO.crx.gz", {"orbits": [(ROSALIA, "COD*ORB.SP3.gz")]}),
    "NYA1": (NORTH, "*MO.crx.gz", {"navigation": [(NORTH, "*N.rnx.gz")]}),
    **{
        name: (WORLD, f"24h_{name.lower()}*", {"orbits": [(WORLD, "gps6*.gz")]})
        for name in ("BRMU", "HOB2", "LHAZ", "SAVO")
    },
}
TYPICAL = "two in three stations of a global network, from memory"
OURS = "bar of the project, no source"


def real_days(table):
    """Return {station: (observations, products, figures)}."""
    kept = {}
    for name, (folder, pattern, products) in DAYS.items():
        data, made = load(name, files(folder, pattern), products)
        place = np.array(data.header.approximate_position_m)
        file_quality(data, made, place)
        begin = time.process_time()
        found = file_quality(data, made, place)
        spent = time.process_time() - begin
        kept[name] = data, made, found
        first, second = found["multipath_m"]
        table.line(f"{name}: epochs of the day", 100.0 * found["epochs"] / found["expected_epochs"],
                   95.0, "%", "full files", least=True)  # fmt: skip
        table.line("  satellite epochs above 10 deg of those promised", found["percent"], 80.0, "%",
                   "common practice, no source", least=True)  # fmt: skip
        table.line("  multipath of the first signal", first, 0.5, "m", TYPICAL)
        table.line("  multipath of the second signal", second, 0.75, "m", TYPICAL)
        table.line("  time", spent, 0.3, "s", OURS)
        table.say(f"{found['slips']} slips ({found['slips_by_flag']} by flags), ionosphere "
                  f"{found['rate_tecu_min']:.2f} TECU/min, never seen: "
                  f"{' '.join(found['never_seen']) or 'none'}")  # fmt: skip
    return kept


def planted(table, data, products, clean):
    """Put mistakes into a real day; each must show in its own figure."""
    place = np.array(data.header.approximate_position_m)
    satellite = int(np.intersect1d(data.satellite, products.orbits.satellites)[3])
    rows = data.satellite == satellite
    lost = replace(data, value=np.where(rows[:, None], np.nan, data.value))
    found = file_quality(lost, products, place)
    missing = satellite_name(satellite) in found["never_seen"]
    table.line("a satellite taken out is named as never seen", float(missing), 1.0, "", "planted",
               least=True)  # fmt: skip
    epoch = np.repeat(np.arange(len(data)), np.diff(data.row_start))
    noisy, slipped, jumped = (data.value.copy() for _ in range(3))
    chance = np.random.default_rng(1)
    metres = SPEED_OF_LIGHT_M_S / FREQUENCY_HZ["G1"]
    for letter, codes in data.codes.items():
        own = data.satellite // 100 == SYSTEMS.index(letter)
        for column, code in enumerate(codes):
            if code[0] == "C" and code[1] in "12":
                noisy[own, column] += 0.6 * chance.standard_normal(own.sum())
            if code[0] == "C":
                jumped[own & (epoch >= 1500), column] += 1e-3 * SPEED_OF_LIGHT_M_S
            if letter == "G" and code[:2] == "L1":
                slipped[own & (epoch >= 1200), column] += 9.0
    slips = int(np.unique(data.satellite[(epoch == 1200) & (data.satellite // 100 == 0)]).size)
    found = file_quality(replace(data, value=noisy), products, place)
    expected = np.hypot(clean["multipath_m"][0], 0.6)
    table.line("code noise of 0.6 m more: multipath off what squares add up to",
               abs(found["multipath_m"][0] / expected - 1.0), 0.1, "", "planted")  # fmt: skip
    found = file_quality(replace(data, value=jumped), products, place)
    table.line("a jump of 1 ms in the code: jumps told", found["clock_jumps"], 1, "", "planted",
               least=True)  # fmt: skip
    found = file_quality(replace(data, value=slipped), products, place)
    told = found["slips"] - clean["slips"]
    table.line(f"9 cycles on L1 of {slips} satellites: slips told more, by those above 10 deg",
               told / max(slips, 1), 0.5, "", "planted", least=True)  # fmt: skip
    table.say(f"{told} told; satellites below 10 deg do not count; {metres:.2f} m a cycle")


def main():
    table = Table("Quality of receivers' days, real and planted")
    days = real_days(table)
    planted(table, *days["ESBC"])
    table.end()


if __name__ == "__main__":
    main()
