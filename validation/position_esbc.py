"""ESBC, a real still antenna: static and kinematic positions against the published bars."""

import numpy as np
from _measured import ESBC_REFERENCE_M, Table, difference_enu, esbc, sigma_enu, solved

mm = 1e-3
NOTES = "real-data study of this day"


def still(table, name, data, products, bars, **settings):
    """Show the scatter of the kinematic positions of the still antenna."""
    k = solved(data, products, **settings)
    enu = difference_enu(k.position_m, ESBC_REFERENCE_M)
    enu -= enu.mean(axis=0)
    for axis, scatter, bar in zip("ENU", enu.std(axis=0) / mm, bars, strict=True):
        table.line(f"kinematic std {axis}, {name}", scatter, bar, "mm", NOTES)
    far = (np.hypot(enu[:, 0], enu[:, 1]) > 0.05) | (np.abs(enu[:, 2]) > 0.10)
    table.line(f"outliers, {name}", 100 * far.mean(), 0.5, "%", NOTES)
    table.line(f"outliers in the last 15 min, {name}", 100 * far[-30:].mean(), 0.5, "%", NOTES)
    inside = np.abs(enu) < 1.96 * sigma_enu(k)
    for axis, share in zip("ENU", 100 * inside.mean(axis=0), strict=True):
        table.line(f"95 % interval covers {axis}, at least", share, 85, "%", NOTES, least=True)
        table.line(f"95 % interval covers {axis}, at most", share, 99, "%", NOTES)
    return k


def main():
    table = Table("ESBC 2020-177, 30 s, orbits of two days, 30-s clocks, antenna offsets only")
    data, products = esbc()
    s = solved(data, products, mode="static", systems="GE")
    for axis, d, bar in zip(
        "ENU", difference_enu(s.position_m[0], ESBC_REFERENCE_M), (10, 10, 25), strict=True
    ):
        table.say(f"{axis} {d / mm:+.1f} mm")
        table.line(f"static, distance from the reference {axis}", abs(d) / mm, bar, "mm", NOTES)
    high = solved(data, products, mode="static", systems="GE", mask_deg=7.0)
    low = solved(data, products, mode="static", systems="GE", mask_deg=20.0)
    height = difference_enu(low.position_m[0], high.position_m[0])[2]
    table.say(
        f"mask 7 to 20 deg: height {height / mm:+.1f} mm; the bar of 15 mm holds only with the "
        "elevation-dependent variations of satellite and receiver antennas, which are missing here"
    )
    still(table, "GPS + Galileo", data, products, (8, 9, 22), systems="GE")
    still(table, "GPS only", data, products, (14, 14, 35), systems="G")
    table.end()


if __name__ == "__main__":
    main()
