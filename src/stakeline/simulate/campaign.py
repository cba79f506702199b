"""One campaign on Halvard Glacier, all of it, known at every instant.

Each part is made when it is first asked for, from a stream of chance of its own: a campaign of four
stations has the same four stations as one of fourteen.
"""

import functools
from dataclasses import dataclass

import numpy as np

from ..constants import NS_PER_S
from ..earth.ellipsoid import geodetic_from_xyz
from ..time import from_calendar
from .atmosphere import make_air, make_ionosphere
from .chance import stream
from .glacier import HALVARD
from .ground import Place
from .marker import make_marker
from .melt import make_foehns
from .observe import Station
from .ocean import make_tide
from .position_noise import common_noise, noise_of_positions
from .power import make_supply
from .receiver import Receiver
from .scintillation import make_scintillation
from .visits import make_visits
from .water import make_water
from .weather import make_region, make_weather

START_NS = from_calendar(2030, 5, 1)
DAY_S = 86400.0  # s/d; definition
DAYS = 504
RAW_FIRST = ("HV02", "HV07", "HV10", "HV13", "HV05", "HV04", "HV11")
"""Stations whose receiver files are written, the most telling ones first."""
CODE_JUMPS = ("HV10",)
"""Stations whose receivers' clocks jump in the codes alone."""
UNSTEERED, UNSTEERED_S = "HV13", 0.188
"""Station whose clock nobody steers, and how late its epochs stand, where all goes wrong. [s]"""
_QUIET_DAY = 130  # day of the raw files where no lake drains
_LEAST_MAST_M = 0.3  # m, where snow would bury the antenna


@dataclass(frozen=True)
class Window:
    """Whole days from which receiver files come, in seconds of the campaign."""

    begin_s: float
    end_s: float

    @property
    def days(self):
        """Length. [d]"""
        return (self.end_s - self.begin_s) / DAY_S


class Invented:
    """A campaign: its scenario, sites, water, weather, and the truth of each station.

    Parameters
    ----------
    seed : int
    scenario : Scenario
    days : int
        Length from ``start_ns`` on.
    stations : int
        On the ice, of 14; the base on rock comes on top.
    start_ns : int
        GPS time of ``time_s = 0``. [ns]
    """

    def __init__(self, seed, scenario, days=DAYS, stations=14, start_ns=START_NS):
        self.seed, self.scenario = seed, scenario
        self.days, self.start_ns = days, start_ns
        self.glacier = HALVARD
        self.sites = {s.name: s for s in (*HALVARD.sites(stations), HALVARD.base())}
        self._kept = {}

    def stream(self, *names):
        """Return the stream of chance of a part, by its names."""
        return stream(self.seed, *names)

    def _once(self, key, make):
        if key not in self._kept:
            self._kept[key] = make()
        return self._kept[key]

    @functools.cached_property
    def water(self):
        """The lakes and what they do."""
        lakes = self.glacier.lakes
        return make_water(self.stream("water"), self.scenario, lakes, self.days)

    @functools.cached_property
    def tide(self):
        """The ocean's tide at the front."""
        return make_tide(self.stream("tide"))

    @functools.cached_property
    def region(self):
        """Weather that all stations share."""
        foehns = make_foehns(self.stream("melt"), self.scenario, self.water)
        return make_region(self.stream("region"), self.start_ns, self.days, foehns)

    def visits(self, name):
        """Return the visits to a station."""
        site = self.sites[name]
        return self._once(
            ("visits", name),
            lambda: make_visits(self.stream(name, "visits"), site, self.days),
        )

    def marker(self, name):
        """Return the :class:`Marker`: the true path of a station."""
        return self._once(
            ("marker", name),
            lambda: make_marker(
                self.seed,
                self.scenario,
                self.glacier,
                self.water,
                self.tide,
                self.sites[name],
                self.days,
                self.start_ns,
                self.visits(name),
            ),
        )

    def weather(self, name):
        """Return the weather at a station."""
        site = self.sites[name]
        return self._once(
            ("weather", name),
            lambda: make_weather(
                self.region,
                self.stream(name, "weather"),
                site.place,
                site.accumulation_m_a,
            ),
        )

    def supply(self, name):
        """Return the station's energy: batteries, charge, outages."""
        return self._once(
            ("supply", name),
            lambda: make_supply(self.stream(name, "supply"), self.weather(name)),
        )

    def raw_names(self, count):
        """Return the names of the ``count`` stations that give receiver files."""
        chosen = [n for n in RAW_FIRST if n in self.sites]
        chosen += [n for n in self.sites if n not in chosen and not self.sites[n].on_rock]
        return sorted(chosen[:count])

    def raw_window(self, raw_days):
        """Return the :class:`Window` of receiver files: from a day before the first drainage on."""
        onsets = [event.onset_s for event in self.water.events]
        first = int(min(onsets) // DAY_S) - 1 if onsets else _QUIET_DAY
        first = int(np.clip(first, 0, max(self.days - raw_days, 0)))
        return Window(first * DAY_S, min(first + raw_days, self.days) * DAY_S)

    def antenna_height_m(self, name, time_s):
        """Return the height of the antenna's reference point above the marker (n,). [m]"""
        visits = self.visits(name)
        index = np.searchsorted([v.time_s for v in visits], time_s, side="right") - 1
        return np.array([v.antenna_height_m for v in visits])[np.maximum(index, 0)]

    def mast_m(self, name, time_s):
        """Return the height of the antenna above the snow (n,). [m]"""
        snow = 0.0 if self.sites[name].on_rock else self.weather(name).snow_surface_m(time_s)
        return np.maximum(self.antenna_height_m(name, time_s) - snow, _LEAST_MAST_M)

    def station(self, name, window):
        """Return the :class:`~.observe.Station` for a world that begins with a window."""
        local = LocalMotion(self.marker(name), window.begin_s)
        outages = () if self.sites[name].on_rock else self.supply(name).outages_s
        gaps = tuple(
            (begin - window.begin_s, end - window.begin_s)
            for begin, end in outages
            if end > window.begin_s and begin < window.end_s
        )
        duration_s = window.end_s - window.begin_s
        return Station(
            name,
            local,
            float(self.antenna_height_m(name, window.begin_s)),
            make_air(self.stream(name, "air"), local.place, duration_s),
            make_ionosphere(self.stream("ionosphere")),
            self._receiver(name, window, gaps),
            make_scintillation(
                self.stream("scintillation"), int(self.time_ns(window.begin_s)), duration_s
            ),
        )

    def _receiver(self, name, window, gaps):
        return Receiver(
            mast_m=lambda s: self.mast_m(name, s + window.begin_s),
            phase_jumps=name not in CODE_JUMPS,
            late_s=UNSTEERED_S if self.scenario.wrecked and name == UNSTEERED else 0.0,
            gaps_s=gaps,
        )

    def running(self, name, time_s):
        """Say at which times (n,) a station had power."""
        up = np.ones(np.shape(time_s), bool)
        if not self.sites[name].on_rock:
            for begin, end in self.supply(name).outages_s:
                up &= ~((time_s >= begin) & (time_s < end))
        return up

    def positions(self, name, time_s):
        """Return positions as a solution would give them, at times (n,) of the campaign.

        Returns
        -------
        position_m : array, shape (n, 3)
            Earth-fixed, with red noise. [m]
        sigma_m : array, shape (n, 3)
            East, north, up. [m]
        """
        time_ns = self.time_ns(time_s)
        marker = self.marker(name)
        error, sigma = noise_of_positions(self.stream(name, "noise"), time_ns)
        error = error + common_noise(self.stream("common"), time_ns)
        return marker.position_m(time_s) + error @ marker.place.axes, sigma

    def time_ns(self, time_s):
        """Return GPS time of seconds of the campaign. [ns]"""
        return self.start_ns + np.round(np.asarray(time_s) * NS_PER_S).astype(np.int64)


class LocalMotion:
    """The motion of a marker counted from the begin of a window, about its place then."""

    def __init__(self, marker, begin_s):
        self.marker, self.begin_s = marker, begin_s
        here = marker.position_m(np.array([begin_s]))
        latitude, longitude, height = geodetic_from_xyz(here)
        self.place = Place(float(latitude[0]), float(longitude[0]), float(height[0]))

    def position_m(self, time_s):
        """Return the Earth-fixed marker (n, 3). [m]"""
        return self.marker.position_m(np.asarray(time_s, float) + self.begin_s)

    def displacement_m(self, time_s):
        """Return east, north, up (n, 3) from the place of the begin. [m]"""
        return (self.position_m(time_s) - self.place.position_m) @ self.place.axes.T
