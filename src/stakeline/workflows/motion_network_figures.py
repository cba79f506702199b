"""From the motion of all stations to the figures that show them together."""

import numpy as np

from ..constants import NS_PER_DAY
from ..motion.strain import Strain, smallest_angle_deg
from ..report.coherence_figure import BandPairs, draw_coherence
from ..report.motion_figures import Stack, StationAnomaly, draw_stack
from ..report.motion_maps import Crosses, FlowMap, draw_flow_map, draw_strain_map
from ..report.tide_figures import Admittance, draw_admittance
from .motion_admittance import NUMBERS, admittances
from .motion_results import ns, number, numbers
from .motion_station_figures import WIDE

TIDES = ("M2", "S2", "K1", "O1")
WORST_ANGLE_DEG = 30.0  # deg, a triangle with a smaller angle is badly shaped; our choice
MM = 1e3


def network_figures(results, sheet, network, strain, coherence, campaign_name):
    """Return {name: Figure} of all stations together; stations without a place are left out.

    Parameters
    ----------
    results : sequence of StationResult
    sheet : MapSheet
    network, strain : dict of arrays
        Columns of ``network.parquet`` and ``strain.parquet``; may be empty.
    coherence : sequence of dict
        Rows of ``coherence.csv``.
    campaign_name : str
    """
    placed = [r for r in results if np.isfinite(r.latitude_rad + r.longitude_rad)]
    figures = {}
    if placed:
        record = flow_map(placed, sheet, f"{campaign_name}: mean motion")
        figures["map"] = draw_flow_map(record)
        crosses = strain_crosses(placed, record, sheet, strain)
        if crosses is not None:
            note = "Mean of the days that all stations share; intervals: of one day."
            base = flow_map(placed, sheet, f"{campaign_name}: strain rates", note)
            figures["strain"] = draw_strain_map(base, crosses)
    moving = [r for r in placed if r.moves]
    if moving:
        distance = flow_distance_km(moving, sheet)
        stack = anomaly_stack(moving, distance, network)
        if stack.stations:
            figures["anomaly"] = draw_stack(stack)
        bands = coherence_bands(moving, distance, coherence)
        if bands:
            figures["coherence"] = draw_coherence(
                bands, "Coherence of the speeds of pairs of stations",
                "Lags: of pairs above the level, up to whole periods; bars: 95 %. Noise that "
                "stations share is coherent too.",
            )  # fmt: skip
        tides = tides_along(moving, distance)
        if tides is not None:
            figures["admittance"] = draw_admittance(tides)
    return figures


def azimuth_rad(result):
    """Return the mean direction of flow of a station. [rad]"""
    azimuth = np.radians(result.columns["azimuth_deg"])
    azimuth = azimuth[np.isfinite(azimuth)]
    return float(np.arctan2(np.sin(azimuth).mean(), np.cos(azimuth).mean()))


def flow_map(results, sheet, title, note="Arrows: net travel over time, whole record."):
    """Return the FlowMap of stations with a place."""
    latitude, longitude = (
        np.array([getattr(r, f"{name}_rad") for r in results]) for name in ("latitude", "longitude")
    )
    x, y = sheet.place_km(latitude, longitude)
    speed, sigma = np.array([r.mean_speed_m_d for r in results]).T
    angle = sheet.direction_rad([azimuth_rad(r) for r in results], longitude)
    flow = speed[:, None] * np.stack([np.cos(angle), np.sin(angle)], axis=1)
    middle = np.angle(np.exp(1j * sheet.chart.convergence(longitude)).mean())
    return FlowMap(
        title, sheet.name, tuple(r.station for r in results), x, y, flow, WIDE * sigma,
        np.array([not r.moves for r in results]),
        float(np.mean(sheet.chart.point_scale(latitude))), float(middle), sheet.ground, note,
    )  # fmt: skip


def strain_crosses(results, record, sheet, table):
    """Return the Crosses of the triangles of a strain table; of larger sets where there are none.

    None where there is no strain.
    """
    index = {r.station: k for k, r in enumerate(results)}
    sets = dict.fromkeys(str(name) for name in table.get("stations", ()))
    sets = {name: [index.get(s) for s in name.split("-")] for name in sets}
    sets = {name: corner for name, corner in sets.items() if None not in corner}
    chosen = {n: c for n, c in sets.items() if len(c) == 3} or sets
    rows = []
    for name, corner in chosen.items():
        own = table["stations"].astype(str) == name
        mean = _mean_strain({k: v[own] for k, v in table.items() if k != "stations"})
        if mean is not None:
            rows.append((corner, *mean))
    if not rows:
        return None
    place = np.stack([record.x_km, record.y_km], axis=1)
    centre = np.array([place[corner].mean(axis=0) for corner, *_ in rows])
    longitude = np.array([results[corner[0]].longitude_rad for corner, *_ in rows])
    poor = [
        len(corner) == 3 and smallest_angle_deg(place[corner]) < WORST_ANGLE_DEG
        for corner, *_ in rows
    ]
    return Crosses(
        *centre.T, np.array([row[1] for row in rows]), np.array([row[2] for row in rows]),
        sheet.direction_rad(np.array([row[3] for row in rows]), longitude), np.array(poor),
        tuple(tuple(row[0]) for row in rows),
    )  # fmt: skip


def _mean_strain(columns):
    """Return (principal rates (2,), half widths (2,), azimuth of the larger) of the mean tensor."""
    there = np.isfinite(columns["exx_per_a"])
    if not there.any():
        return None
    exx, eyy, exy = (columns[f"{name}_per_a"][there].mean() for name in ("exx", "eyy", "exy"))
    gradient = np.array([[exx, exy], [exy, eyy]])
    nothing = np.zeros(2)
    strain = Strain(
        gradient, np.zeros((4, 4)), nothing, nothing, np.zeros((0, 2)), np.nan, np.nan, np.nan
    )
    sigma = [np.median(columns[f"{n}_sigma_per_a"][there]) for n in ("larger", "smaller")]
    rates = [rate.value for rate in strain.principal]
    return rates, WIDE * np.array(sigma), 0.5 * np.pi - strain.axis_rad.value


def flow_distance_km(results, sheet):
    """Return true distances (n,) down the mean direction of flow, from the uppermost station."""
    record = flow_map(results, sheet, "")
    mean = record.flow_m_d.sum(axis=0)
    mean /= np.hypot(*mean)
    along = (record.x_km * mean[0] + record.y_km * mean[1]) / record.map_scale
    return along - along.min()


def anomaly_stack(results, distance_km, network):
    """Return the Stack of the stations that have an anomaly."""
    stations = []
    for result, distance in zip(results, distance_km, strict=True):
        own = np.array([str(name) == result.station for name in network.get("station", ())], bool)
        if not own.any() or not np.isfinite(network["anomaly_percent"][own]).any():
            continue
        stations.append(
            StationAnomaly(
                result.station, float(distance), ns(network["time_gps"][own]),
                network["anomaly_percent"][own], WIDE * network["anomaly_sigma_percent"][own],
            )
        )  # fmt: skip
    steps = [np.median(np.diff(s.time_ns)) for s in stations if len(s.time_ns) > 1]
    gap = 1.5 * max(steps, default=NS_PER_DAY) / NS_PER_DAY
    note = "Speed less the station's own seasonal baseline. Grey: 95 %. Filled: faster, slower."
    return Stack("Speed anomaly of all stations", tuple(stations), gap, None, note)


def coherence_bands(results, distance_km, rows):
    """Return a BandPairs for each band that both speeds of some pair resolve."""
    place = dict(zip((r.station for r in results), distance_km, strict=True))
    rows = [r for r in rows if r["resolved"] != "no" and {r["first"], r["second"]} <= set(place)]
    found = []
    for band in dict.fromkeys(row["band"] for row in rows):
        own = [row for row in rows if row["band"] == band]
        apart = np.array([place[row["second"]] - place[row["first"]] for row in own])
        later = np.where(apart < 0.0, -1.0, 1.0)  # the lower station is put second
        period = numbers(own, "period_d").mean()
        found.append(
            BandPairs(
                f"{band}: about {period:.3g} d", np.abs(apart), numbers(own, "coherence"),
                numbers(own, "level"), later * 24.0 * numbers(own, "lag_d"),
                24.0 * WIDE * numbers(own, "lag_sigma_d"),
            )
        )  # fmt: skip
    return found


def tides_along(results, distance_km):
    """Return the Admittance of the motion along the flow to the tide of the sea.

    Where no station shows the sea, the amplitudes themselves are given. None where no station has
    a tide.
    """
    sea, found = admittances({r.station: r.tides for r in results})
    if sea:
        of = {station: _answers(a) for station, axis, a in found if axis == "along"}
    else:
        of = {r.station: _own_tide(r) for r in results}
    names = [n for n in TIDES if any(n in answers for answers in of.values())]
    if not names:
        return None
    values = np.full((4, len(names), len(results)), np.nan)
    for k, result in enumerate(results):
        for i, name in enumerate(names):
            values[:, i, k] = of.get(result.station, {}).get(name, (np.nan,) * 4)
    values *= np.array([MM, MM * WIDE, 1.0, WIDE])[:, None, None]
    quantity, lag = "amplitude along the flow (mm)", "Greenwich phase lag (deg)"
    title = "Tide along the flow"
    if sea:
        quantity, lag = f"gain on the up tide of {sea} (mm/m)", "lag (deg)"
        title = "Admittance: motion along the flow to the tide of the sea"
    return Admittance(
        title, tuple(r.station for r in results), tuple(names), distance_km.max() - distance_km,
        *values, quantity, lag, "distance up-glacier from the lowest station (km)",
        "Bars: 95 %. Lags that are not known to a quarter of a turn are left out. "
        "K1: errors of satellite geometry repeat at its period.",
    )  # fmt: skip


def _answers(found):
    """Return {constituent: (gain, sigma, lag, sigma)} of an admittance."""
    rows = zip(*(getattr(found, name) for name in NUMBERS), strict=True)
    return dict(zip(found.names, rows, strict=True))


def _own_tide(result):
    """Return {constituent: (amplitude, sigma, lag, sigma)} along, inferred ones left out."""
    names = ("amplitude_m", "amplitude_sigma_m", "greenwich_lag_deg", "greenwich_lag_sigma_deg")
    return {
        row["constituent"]: tuple(number(row[name]) for name in names)
        for row in result.tides
        if row["axis"] == "along" and not row["inferred_from"]
    }
