"""From a station's plan to its field sheet: the order of the work, with what to expect."""

import math
from dataclasses import dataclass, replace

import numpy as np

from ..station.cautions import (
    BATTERIES,
    DIGGING,
    DRILLING,
    ESTIMATE,
    FRAMES,
    GROUND,
    GUY_WIRES,
    LIFTING,
    ROTORS,
    STORM,
    TAKING_DOWN,
)
from ..station.expectation import band_text, number_text
from ..station.expected_panels import Conditions
from ..station.expected_power import charge_table
from ..station.expected_site import readings_of
from ..station.light_band import UNKNOWN, Place, light_band
from ..time import gps_from_utc, iso
from .commission_parts import (
    antenna,
    arrival,
    battery,
    box,
    changing,
    data_kept,
    frame,
    guys,
    leaving,
    photographs,
    receiver,
    restart,
    wiring,
)
from .commission_retrieval import retrieval_parts
from .plan_description import StationDescription
from .sheet_parts import NUMBER, RETRIEVAL_KIND, SET_UP_KIND, SWAP_KIND, VISIT_KIND, Item, Sheet

COLD = (
    "Cold: two people look after each other's face and hands; metal burns bare skin; readings in "
    "turns, warm up between."
)
HEATED = "Panels: light makes them live; cover them before you join or part wires."
SHORTED = "Shorting a panel draws an arc when it is taken off: cover first, 10 A input only."
HOWS = (  # the end of a reading's key, and what it is called where its handling is told
    ("guy_1_N", "Guys"),
    ("battery_rest_V", "Battery"),
    ("plus_to_frame_ohm", "Insulation"),
    ("_cable_ohm", "Cables"),
    ("_open_V", "Open voltage"),
    ("_short_A", "Shorted panel"),
    ("heater_ohm", "Heater"),
    ("turbine_open_V", "Turbine"),
    ("fuse_drop_V", "Fuse"),
    ("disconnect_V", "Cut-off"),
)


@dataclass(frozen=True)
class Moment:
    """When a sheet is for and in what weather; ``utc_ns``, ``battery_degC`` None as the air."""

    utc_ns: int
    sky: str = UNKNOWN
    temperature_degC: float = -20.0
    wind_m_s: float = 5.0
    battery_degC: float | None = None
    assumed: tuple = ()

    @property
    def time_ns(self):
        """Return GPS time. [ns]"""
        return int(gps_from_utc(self.utc_ns))


def conditions_of(described: StationDescription, moment, *, latitude_deg=None, time_ns=None):
    """Return the :class:`~stakeline.station.expected_panels.Conditions` of a station then.

    ``latitude_deg`` and ``time_ns`` stand in for the true ones, to ask what another hemisphere or
    season would show.
    """
    site = described.design.site
    latitude = site.latitude_deg if latitude_deg is None else latitude_deg
    place = Place(
        moment.time_ns if time_ns is None else time_ns,
        math.radians(latitude),
        math.radians(site.longitude_deg),
        site.elevation_m,
        moment.sky,
        site.albedo,
    )
    battery = moment.battery_degC
    air = moment.temperature_degC
    return Conditions(place, air, moment.wind_m_s, air if battery is None else battery)


def expectations(described, moment, **instead):
    """Return every expected reading of a station at a :class:`Moment`."""
    return readings_of(
        described.design,
        described.guys,
        conditions_of(described, moment, **instead),
        compensated=described.settings.controller.compensated,
    )


def build_sheet(described, moment, history=None, expected=None, kind=""):
    """Return the :class:`Sheet` of a station.

    Parameters
    ----------
    described : StationDescription
    moment : Moment
    history : StationHistory, optional
        Where there is one, the sheet is a visit's: what is found is read before it is touched.
    expected : tuple of Expectation, optional
        Of :func:`expectations`, where somebody has them already.
    kind : str, optional
        Of ``sheet_parts.KINDS``; a set-up without and a visit with a history where not given.
    """
    found = {e.key: reading_item(e) for e in expected or expectations(described, moment)}
    kind = kind or (SET_UP_KIND if history is None else VISIT_KIND)
    if kind != SET_UP_KIND:
        # the ice has carried it away from the planned place; how far is no fault
        found["place_off_m"] = replace(found["place_off_m"], band="", expected="", must=False)
    if kind == RETRIEVAL_KIND:
        parts = retrieval_parts(described, found)
    else:
        parts = _standing_parts(described, found, kind)
    return Sheet(
        station=described.name,
        kind=kind,
        facts=_facts(described, history),
        conditions=_conditions(described, moment),
        parts=tuple(part for part in parts if part.items),
        charge=_charge(described, moment),
        rim=(described.settings.antenna.width_m / 2.0, 0.0, described.settings.mast.diameter_m / 2),
        cautions=_cautions(described, kind),
        hows=_hows([item for part in parts for item in part.items if item.key in found]),
    )


def _standing_parts(described, found, kind):
    """Return the parts of a sheet for a station that stays."""
    changed = [changing(kind)] + ([data_kept()] if kind == SWAP_KIND else [])
    parts = [arrival(kind), *changed, frame(described, found), guys(described, found)]
    parts += [box(described), battery(found), wiring(found), antenna(described, kind)]
    return [*parts, receiver(described, found, kind), restart(found), photographs(), leaving()]


def _hows(items):
    """Return (what, how) for each kind of reading among items."""
    return tuple(
        (what, item.how)
        for ending, what in HOWS
        if (item := next((i for i in items if i.key.endswith(ending)), None))
    )


def reading_item(expectation):
    """Return an expected reading as an item of a sheet."""
    e = expectation
    return Item(
        key=e.key,
        kind=NUMBER,
        label=f"{e.part}, {e.what}",
        unit=e.unit,
        band=band_text(e) if not e.why_not else "",
        expected=number_text(e.expected) if math.isfinite(e.most) else "",
        how=e.how,
        must=e.must,
        why_not=e.why_not,
    )


def _facts(described, history):
    site, design = described.design.site, described.design
    latitude, longitude = _degrees(site.latitude_deg, "NS"), _degrees(site.longitude_deg, "EW")
    rows = [
        ("Planned place", f"{latitude}  {longitude}"),
        *_typed(described.typed),
        ("Height", f"{site.elevation_m:.0f} m, on {site.surface}"),
        ("Battery", _battery_words(design.bank)),
        ("Panels", _panel_words(design)),
        ("Loads", f"{design.mean_W:.1f} W mean"),
    ]
    if design.turbine is not None:
        rows.append(("Turbine", f"{design.turbine.rated_W:.0f} W, {design.turbine.diameter_m:g} m"))
    if history is not None:
        last = history.content.visit[-1]
        up = history.height_at(last.time_ns)[0]
        rows.append(("Last visit", f"{last.time:%Y-%m-%d}, antenna left at {up:.3f} m"))
    return tuple(rows)


def _typed(typed):
    """Return how the place was typed, and whether that can be read otherwise."""
    if typed is None:
        return ()
    doubt = ", can be read otherwise: see the plan" if typed.sentences else ""
    return (("Typed", f"{typed.text} ({typed.form}{doubt})"),)


def _degrees(angle, letters):
    """Return degrees and decimal minutes, as hand-helds show them, and the degrees."""
    size = abs(angle)
    degrees = int(size)
    return f"{degrees}° {(size - degrees) * 60.0:06.3f}' {letters[angle < 0]}"


def _battery_words(bank):
    blocks = bank.series * bank.parallel
    return f"{blocks} x {bank.block_V:g} V {bank.block_Ah:g} A h, {bank.chemistry}"


def _panel_words(design):
    return (
        ", ".join(
            f"{group.count} x {group.panel.rated_W:g} W toward {group.azimuth_deg:.0f}°"
            for group in design.panels
        )
        or "none"
    )


def _conditions(described, moment):
    where = conditions_of(described, moment)
    sun = light_band(where.place, 0.0, 0.0, described.design.site.horizon)
    elevation, azimuth = np.degrees([sun.sun_elevation_rad, sun.sun_azimuth_rad])
    mark = {name: " (assumed)" for name in moment.assumed}
    place = f"{elevation:.1f}° high, azimuth {azimuth:.0f}°" if elevation > 0 else "below horizon"
    return (
        ("Time", f"{iso(moment.utc_ns)[:16].replace('T', ' ')} UTC{mark.get('time', '')}"),
        ("Sun", place),
        ("Sky", f"{moment.sky}{mark.get('sky', '')}"),
        ("Air", f"{moment.temperature_degC:g} °C{mark.get('temperature', '')}"),
        ("Wind", f"{moment.wind_m_s:g} m/s{mark.get('wind', '')}"),
    )


def _charge(described, moment):
    degrees = conditions_of(described, moment).battery_degC
    return tuple(
        (f"{charge:.0%}", f"{volts:.2f} V", "-" if freezes != freezes else f"{freezes:.0f} °C")
        for charge, volts, freezes in charge_table(described.design.bank, degrees)
    )


def _cautions(described, kind):
    design = described.design
    leaving_for_good = [TAKING_DOWN, DIGGING] if kind == RETRIEVAL_KIND else []
    found = [GROUND, COLD, LIFTING, FRAMES, BATTERIES]
    found += [HEATED, SHORTED] if design.panels else []
    found += [GUY_WIRES] if described.guys else []
    found += [ROTORS] if design.turbine is not None else []
    found += [DRILLING] if described.drilled and not leaving_for_good else []
    return (*found, *leaving_for_good, STORM, ESTIMATE)
