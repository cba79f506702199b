"""The last chapter of a report: how it was made, by which versions, from which sources."""

import importlib.metadata

from .. import __version__
from ..campaign.folders import DECIDE, LAKES, MOTION, POSITION
from ..campaign.journal import JOURNAL, UNDO, standing
from .report_chapters import bullets, chapter, text
from .report_sources import Cell, table

LIBRARIES = ("numpy", "scipy", "pyarrow")
PARTS = ("position", "motion", "lakes", "decide")
TRIVIAL: tuple = (None, "", (), [], {})
METHODS = {
    POSITION: "Positions: undifferenced code and phase of all satellites with precise orbits and "
    "clocks, or relative to a base, by a filter and smoother; where tables of positions were taken "
    "in, theirs.",
    MOTION: "Motion: positions along and across the flow and up, freed of outliers and steps that "
    "are no ice, with tide, slope and coloured noise estimated together; daily speeds are slopes "
    "of straight lines through the positions of their own day.",
    LAKES: "Lakes: level of the surface over each outline against its controls; onset, end, "
    "size and volume of each event from samples of all that is in doubt; the water's ways by "
    "hydraulic potential over drawn surfaces and beds.",
    DECIDE: "Decision: the mean change of speed over all drainages and stations at all lags, by "
    "mean positions of days where motion tells them, held against circular shifts of the events, "
    "which keep the memory of the ice; each change by how restless melt makes its days.",
}
REFERENCES = {
    POSITION: (
        "Boehm et al. 2006, J. Geophys. Res. 111, B02406",
        "Davis et al. 1985, Radio Sci. 20, 1593",
        "Landskron & Böhm 2018, J. Geod. 92, 349",
        "Larson et al. 2009, Geophys. Res. Lett. 36, L17502",
        "Laurichesse et al. 2009, Navigation 56, 135",
        "Teunissen 1995, J. Geodesy 70, 65",
        "Treuhaft & Lanyi 1987, Radio Sci. 22, 251",
        "Wu et al. 1993, Manuscripta Geodaetica 18, 91",
    ),
    MOTION: (
        "Gudmundsson 2006, Nature 444, 1063",
        "Harvey 1989, Forecasting, Structural Time Series Models and the Kalman Filter",
        "Williams et al. 2004, J. Geophys. Res. 109, B03412",
    ),
    LAKES: (
        "Livingstone et al. 2013, The Cryosphere 7",
        "Orlandini et al. 2003, Water Resour. Res. 39",
        "Shreve 1972, J. Glaciol. 11",
    ),
    DECIDE: (
        "Giesbrecht & Burns 1985, Biometrics 41, 477",
        "Patterson & Thompson 1971, Biometrika 58, 545",
        "Phipson & Smyth 2010, Stat. Appl. Genet. Mol. Biol. 9, 39",
    ),
}
"""Works behind the methods of each folder of results, as the handbook names them."""
HONEST = (
    "Intervals hold 95 %; times are GPS time, ahead of UTC by the leap seconds since 1980. Every "
    "number of a table here stands in a table of the campaign: numbers.json names file, row, "
    "column and checksum. Figures are those that the verbs drew."
)


def versions():
    """Return (name, version) of this program and what its results hang on."""
    return (("stakeline", __version__),
            *((name, importlib.metadata.version(name)) for name in LIBRARIES))  # fmt: skip


def report_chapter(settings, sources, decisions=()):
    """Return the chapter of the verb report: methods, settings, decisions, versions, references.

    Parameters
    ----------
    settings : CampaignSettings
    sources : Sources
    decisions : sequence of Entry
        Of the campaign's journal; those that stand are told.
    """
    if decisions:
        sources.data(JOURNAL)
    chosen = [f"{one.time_utc[:10]}, {one.who}: {one.words}. {one.why}"
              for one in standing(decisions) if one.kind != UNDO]  # fmt: skip
    has = [folder for folder in METHODS if any(p.startswith(f"{folder}/") for p in sources.sums)]
    rows = [row for part in PARTS for row in _settings(part, getattr(settings, part).model_dump())]
    made = [(Cell(name), Cell(version)) for name, version in versions()]
    blocks = [
        text(HONEST),
        *bullets("Methods", [METHODS[folder] for folder in has]),
        {"kind": "table", "title": "Settings", "columns": ["verb", "setting", "value"],
         "rows": rows, "note": "Of campaign.toml, those not named there as they are by default."},
        *bullets("Decisions by hand", chosen),
        table("Versions", ("what", "version"), made),
        *bullets("References", sorted({one for folder in has for one in REFERENCES[folder]})),
    ]  # fmt: skip
    return chapter("report", "How was this made?", blocks)


def _settings(part, values, before=""):
    rows = []
    for name, value in values.items():
        if isinstance(value, dict):
            rows += _settings(part, value, f"{before}{name}.")
        elif value not in TRIVIAL:
            rows.append((Cell(part), Cell(f"{before}{name}"), Cell(_words(value))))
    return rows


def _words(value):
    if isinstance(value, list | tuple):
        return ", ".join(_words(one) for one in value)
    if isinstance(value, dict):
        return "; ".join(f"{k} {_words(v)}" for k, v in value.items() if v not in TRIVIAL)
    return f"{value:g}" if isinstance(value, float) else str(value)
