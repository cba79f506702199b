"""The stations of a campaign together: places, round of visits, network, retrieval."""

import numpy as np

from ..campaign.folders import LAKES, PLAN
from ..formats.plain_table import write_plain_table
from .motion_results import station_results
from .plan_lines import all_cautions
from .plan_network import baseline_table, kept_of, network_of, smallest_table
from .plan_places import (
    features,
    leg_table,
    place_table,
    places_of,
    round_of,
    way_points,
)
from .plan_power import power_files, power_of_network, power_words
from .plan_ready import ready_list, ready_text
from .plan_retrieval import retrieval_table
from .plan_sight import sight_of, sight_words, speed_table, strain_table
from .plan_snow import visit_years
from .plan_words import number
from .plan_work import work_of, work_table
from .plural import counted


def together(campaign, descriptions, entries):
    """Return {path below the campaign: bytes} of what concerns all stations.

    Parameters
    ----------
    campaign : Campaign
    descriptions : sequence of StationDescription
    entries : sequence of ProductEntry
    """
    results = station_results(campaign)
    places = places_of(campaign, descriptions, results)
    legs, exact = round_of(places)
    power = power_of_network(campaign, places, results)
    network = network_of(descriptions, places, results, power.speed_m_d)
    sight = sight_of(campaign, places, results, network.speed_m_d)
    kept = [kept_of(one, visit_years(one) * 365.25) for one in descriptions]
    works = [work for one in descriptions for work in work_of(one)]
    ready = ready_list(campaign, descriptions, places, entries, works)
    files = {
        "places.csv": place_table(places),
        "places.gpx": way_points(places),
        "places.geojson": features(places),
        "visits.csv": leg_table(legs),
        "baselines.csv": baseline_table(network),
        "smallest_change.csv": smallest_table(network),
        **power_files(power, campaign.settings.campaign.name),
        "strain_resolution.csv": strain_table(sight),
        "water_speed.csv": speed_table(sight),
        "recording.csv": recording_table(kept),
        "retrieval.csv": retrieval_table(descriptions),
        "work.csv": work_table(works),
        "ready.txt": ready_text(ready).encode("utf-8"),
        "network.txt": _words(
            places, legs, exact, network, power, sight, kept, placements(campaign)
        ).encode("utf-8"),
    }
    return {f"{PLAN}/{name}": data for name, data in files.items()}


def placement_files(campaign):
    """Return the files in which the verb lakes says where a station sees most of each lake."""
    return sorted(campaign.folder(LAKES).glob("*/placement.txt"))


def placements(campaign):
    """Return what these files say, in lines; where there are none, how to get them."""
    lines = []
    for path in placement_files(campaign):
        lines.append(f"  {path.parent.name}")
        lines += [f"    {one}" for one in path.read_text(encoding="utf-8").splitlines() if one]
    return lines or ["  not known yet: outlines in maps/, then 'stakeline lakes'"]


def recording_table(kept):
    """Return the bytes of the table of what stations record and send."""
    needed = [one.messages.needed if one.messages else 0 for one in kept]
    tried = [one.messages.tried if one.messages else 0.0 for one in kept]
    reports = [np.nan if one.reports_d is None else float(one.reports_d) for one in kept]
    return write_plain_table(
        {
            "station": [one.station for one in kept],
            "recorded_MB_d": np.array([one.bytes_d / 1e6 for one in kept]),
            "card_d": np.array([one.card_d for one in kept]),
            "short_bursts_d": needed,
            "short_bursts_tried_d": np.array(tried),
            "short_burst_bytes": [one.message_bytes for one in kept],
            "whole_reports_d": np.array(reports),
        },
        {"card_d": 0, "short_bursts_tried_d": 1, "whole_reports_d": 0},
    )


def _words(places, legs, exact, network, power, sight, kept, placed):
    """Return all of it in words."""
    lines = ["places on the day of the visit"]
    for one in places:
        lines.append(f"  {one.name}  {one.side_by_side.minutes}  ({one.source})")
        if one.visit is not None:
            lines.append(
                f"        95 % within {one.visit.semi_major_m:.0f} by {one.visit.semi_minor_m:.0f} "
                f"m, long axis {one.visit.azimuth_deg:.0f} deg; moved "
                f"{np.hypot(*one.visit.moved_m):.0f} m"
            )
        lines.append(f"        seconds read as decimals of a minute: {one.misread_m:.0f} m off")
    lines += ["", "round of visits, straight lines, no crevasses looked at"]
    lines += [
        f"  {x.start} to {x.end}: {x.length_km:.1f} km, {x.azimuth_deg:.0f} deg" for x in legs
    ]
    total = sum(one.length_km for one in legs)
    lines.append(f"  {total:.1f} km" + (", no shorter round exists" if exact and legs else ""))
    lines += ["", f"baselines to {network.base or 'no base: no station stands on rock'}"]
    for one in network.baselines:
        far = "; far: troposphere and ionosphere differ" if one.far else ""
        lines.append(f"  {one.station}: {one.length_m / 1e3:.1f} km{far}")
    lines += ["", "recorded and sent"]
    for one in kept:
        sent = f", {one.sent_words}" if one.messages else ""
        lines.append(f"  {one.station}: {one.bytes_d / 1e6:.1f} MB a day, card full after "
                     f"{number(one.card_d, 'd')}{sent}")  # fmt: skip
    lines += ["", *_smallest_words(network), "", *power_words(power), "", *sight_words(sight)]
    lines += ["", "where a station sees most of a lake", *placed, "", "cautions"]
    lines += [f"  {one}" for one in all_cautions(*(place.cautions for place in places))]
    return "\n".join(lines) + "\n"


def _smallest_words(network):
    """Yield the smallest changes of speed seen, in words."""
    yield (
        "smallest change of speed seen with 80 % (two-sided test at 5 %), while a lake drains; "
        f"{network.noise}"
    )
    for length, count, stations, change, percent in network.smallest:
        of = "" if np.isnan(percent) else f", {percent:.2g} % of {network.speed_m_d:.2f} m/d"
        what = f"{counted(count, 'drainage')}, {counted(stations, 'station')}"
        yield f"  {length:.0f} d, {what}: {1e3 * change:.1f} mm/d{of}"
