"""What a party should have before it leaves: there or missing, and why it matters."""

from dataclasses import dataclass

from ..campaign.folders import PLANS, STATIONS


@dataclass(frozen=True)
class Ready:
    """One thing: what, whether it is there, what is there, why it matters."""

    what: str
    there: bool
    found: str
    why: str


PRODUCTS = {
    "antex": ("antenna calibrations", "heights are some centimetres off without them"),
    "blq": ("ocean loading", "at the coast positions move by centimetres with the tide"),
    "sp3": ("precise orbits", "positions at once, in the tent; later ones come with the network"),
    "navigation": ("broadcast messages", "orbits of last resort, from any receiver"),
}


def ready_list(campaign, descriptions, places, entries):
    """Return a :class:`Ready` for each thing.

    Parameters
    ----------
    campaign : Campaign
    descriptions : sequence of StationDescription
    places : sequence of Place
    entries : sequence of ProductEntry
    """
    found = []
    dated = [one.name for one in descriptions if one.settings.aim.visit and one.settings.aim.built]
    undated = [one.name for one in descriptions if one.name not in dated]
    found.append(Ready("dates of building and visit", not undated,
                       f"missing for {', '.join(undated)}" if undated else "for each station",
                       f"[aim] of {PLANS}/NAME.toml; snow, card, place are for it"))  # fmt: skip
    known = [one.name for one in places if one.visit is not None or one.on_rock]
    lost = [one.name for one in places if one.name not in known]
    found.append(Ready("where each station will be", not lost,
                       f"as its file says: {', '.join(lost)}" if lost else "predicted",
                       "ice moves a station out of sight within a year"))  # fmt: skip
    histories = {path.stem for path in campaign.folder(STATIONS).glob("*.toml")}
    silent = [one.name for one in descriptions if one.name not in histories]
    found.append(Ready("station histories", not silent,
                       f"missing: {', '.join(silent)}" if silent else f"in {STATIONS}/",
                       "receivers, antennas and heights that a visit changes"))  # fmt: skip
    for kind, (what, why) in PRODUCTS.items():
        names = [entry.path for entry in entries if entry.kind == kind]
        text = f"{len(names)} files" if names else "none in products/"
        found.append(Ready(what, bool(names), text, why))
    return tuple(found)


def ready_text(rows):
    """Return the list in words."""
    lines = ["Before leaving: is it there, also without a network?"]
    for one in rows:
        lines.append(f"  {'yes' if one.there else 'NO ':<4}{one.what}: {one.found}. {one.why}")
    return "\n".join(lines) + "\n"
