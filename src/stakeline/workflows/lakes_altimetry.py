"""Altimetry beside the stations of a lake: levels, agreement, one curve, what satellites see."""

from dataclasses import dataclass, replace

import numpy as np

from ..constants import NS_PER_DAY
from ..errors import SolutionError
from ..lakes.agreement import agreement, heights_near
from ..lakes.altimetry import APART_M, APART_SHARE, lake_levels
from ..lakes.altimetry_maps import map_levels
from ..lakes.level_curve import LevelStation, level_curve
from ..lakes.levels import given_levels
from ..lakes.motion_pattern import pattern_of
from ..lakes.satellite_view import EventTimes, sightings

LEAST_SHARE_SIGMA = 0.02  # -, of a station's share, which the pattern cannot know better; choice
PASSES, MAPS, SERIES = "passes", "maps", "series"


@dataclass(frozen=True, eq=False)
class LakeSide:
    """Levels of a lake by one source, beside its stations.

    ``source``: ``passes``, ``maps``, ``series``, with a number where several files are of one kind;
    ``file``: of maps or a series; ``levels``: LakeLevels or GivenLevels; ``agreements``: {station:
    Agreement}; ``shares``: {station: (share, sigma)}; ``curve``: LevelCurve of stations and this
    source; ``alone``: of this source; ``seen``: tuple of Sighting.
    """

    source: str
    levels: object
    agreements: dict
    shares: dict
    curve: object
    alone: object
    seen: tuple
    file: str = ""


@dataclass(frozen=True, eq=False)
class LakeAltimetry:
    """What altimetry tells of one lake.

    ``sides``: tuple of :class:`LakeSide`: passes before maps before series. They are not put
    together: maps and series may be made of the same passes. ``maps``: tuple of MapLevels;
    ``area_m2``: of the outline; ``notes``: sentences, also on what could not be done.
    """

    lake: str
    sides: tuple
    maps: tuple
    area_m2: float
    notes: tuple

    @property
    def first(self):
        """The first :class:`LakeSide`, whose curve and volumes count; None where there is none."""
        return self.sides[0] if self.sides else None

    @property
    def levels(self):
        """Levels of the first side, None where there is none."""
        return self.first.levels if self.sides else None


def lake_altimetry(altimetry, outlines, stations=(), places=None, events=(), ice=None, others=()):
    """Return the :class:`LakeAltimetry` of one lake.

    Parameters
    ----------
    altimetry : CampaignAltimetry
    outlines : Outline or sequence of Outline
        Of the lake; of several variants the first counts.
    stations : sequence of StationUp
        Over the lake; controls among them are left aside.
    places : dict
        {station: map point (2,)}; stations without a place are left aside.
    events : sequence of LakeEvent
    ice : Ice, optional
    others : sequence of Outline
        Other lakes near.
    """
    outline = outlines[0] if isinstance(outlines, tuple | list) else outlines
    notes = []
    maps = tuple(_maps(altimetry, outline, notes))
    own = [s for s in stations if not s.control and s.station in (places or {})]
    times = [_times(event) for event in events]
    sides = []
    for source, file, levels in _sources(altimetry, outline, ice, others, maps, notes):
        shares = {s.station: levels.share(places[s.station]) for s in own}
        agreements = {}
        for station in own:
            _compare(source, levels, station, places[station.station], agreements, notes)
        curves = _curves(levels, own, shares)
        seen = sightings(levels, times)
        sides.append(LakeSide(source, levels, agreements, shares, *curves, seen, file))
    if len(sides) > 1:
        notes.append(
            f"curve and volumes by {sides[0].source}; the other sources may be made of the same "
            "heights and stand by themselves"
        )
    found = tuple(one for _, one in maps)
    return LakeAltimetry(outline.name, tuple(sides), found, outline.area_m2, tuple(notes))


def _sources(altimetry, outline, ice, others, maps, notes):
    """Yield (source, file, levels) of passes, maps and series; notes tell what cannot be used."""
    if altimetry.points is not None:
        try:
            levels = lake_levels(altimetry.points, outline, ice, others=others)
            notes += levels.notes
            yield PASSES, "", _named(levels, altimetry.track_names)
        except SolutionError as problem:
            notes.append(str(problem))
    ready = [(MAPS, file, m.time_ns, m.change_m, m.sigma_m, False) for file, m in maps]
    ready += [(SERIES, s.file, s.time_ns, s.level_m, s.sigma_m, s.summed)
              for s in altimetry.series if s.lake == outline.name]  # fmt: skip
    if not ready:
        return
    pattern = pattern_of(outline, APART_SHARE * ice.thickness_m if ice else APART_M, ice)
    kinds = [one[0] for one in ready]
    for k, (kind, file, time_ns, level, sigma, summed) in enumerate(ready):
        number = f" {kinds[: k + 1].count(kind)}" if kinds.count(kind) > 1 else ""
        try:
            levels = given_levels(outline.name, time_ns, level, sigma, pattern, summed)
            yield kind + number, file, levels
        except SolutionError as problem:
            notes.append(f"{file}: {problem}")


def _named(levels, names):
    """Return levels whose tracks have the names of the files."""
    tracks = (", ".join(names[int(number)] for number in one.split()) for one in levels.tracks)
    return replace(levels, tracks=tuple(tracks))


def _times(event):
    """Return the :class:`EventTimes` of a :class:`LakeEvent`, medians of its samples."""
    onset, end = (int(event.time_ns(np.median(d))) for d in (event.onset_days(), event.end_days()))
    return EventTimes(event.kind, onset, end, float(np.median(event.change_m)))


def _maps(altimetry, outline, notes):
    """Yield (file, MapLevels) of each file of maps that holds the lake."""
    for one in altimetry.maps:
        try:
            found = map_levels(one.x_m, one.y_m, one.time_ns, one.dh_m, outline, one.sigma_m)
            yield one.file, found
        except SolutionError as problem:
            notes.append(str(problem))


def _compare(source, levels, station, place, agreements, notes):
    """Add the agreement of one station, or a note why there is none."""
    near, sigma = heights_near(station.time_ns, station.up_m, station.sigma_m, levels.time_ns)
    height, covariance = levels.at(place)
    try:
        agreements[station.station] = agreement(
            levels.time_ns, height, covariance, near, np.diag(sigma**2)
        )
    except SolutionError as problem:
        notes.append(f"{station.station} against {source}: {problem}")


def _curves(levels, stations, shares):
    """Return (LevelCurve of all, LevelCurve of the levels alone)."""
    spans = [levels.time_ns[[0, -1]], *(s.time_ns[[0, -1]] for s in stations)]
    begin, end = min(s[0] for s in spans), max(s[1] for s in spans)
    begin, end = int(begin) // NS_PER_DAY * NS_PER_DAY, int(end) + NS_PER_DAY
    heights = [
        LevelStation(
            s.station, s.time_ns, s.up_m, np.broadcast_to(s.sigma_m, np.shape(s.up_m)),
            shares[s.station][0], max(shares[s.station][1], LEAST_SHARE_SIGMA), step_ns=s.step_ns,
        )
        for s in stations
    ]  # fmt: skip
    alone = level_curve(begin, end, levels)
    return (level_curve(begin, end, levels, heights) if heights else alone), alone
