"""The chapters of a report before the lakes: plan, commission, intake, position, motion."""

from pathlib import PurePosixPath

from ..campaign.folders import INTAKE, MOTION, PLAN, POSITION
from .report_sources import Cell, Record, table

COMMISSION = "2-commission"


def text(words):
    """Return a paragraph."""
    return {"kind": "text", "text": words}


def bullets(title, lines):
    """Return a list of sentences under a title; nothing where there are none."""
    return [{"kind": "list", "title": title, "lines": list(lines)}] if lines else []


def missing(words):
    """Return the sentence of what could not be done, and how to mend it."""
    return {"kind": "missing", "text": words}


def figures(sources, caption, *paths):
    """Return the figures that are there."""
    return [
        {"kind": "figure", "path": path, "caption": caption}
        for path in paths
        if sources.data(path) is not None
    ]


def chapter(verb, question, blocks):
    """Return a chapter of a report."""
    return {"verb": verb, "question": question, "blocks": blocks}


def warned(found):
    """Return each warning once with the stations or files it holds for.

    ``found``: sequence of (who, sentence).
    """
    by = {}
    for who, sentence in found:
        by.setdefault(sentence, []).append(who)
    return [f"{_some(list(dict.fromkeys(who)))}: {sentence}" for sentence, who in by.items()]


def _some(names, most=6):
    more = len(names) - most
    return ", ".join(names[:most]) + (f" and {more} more" if more > 0 else "")


def plan_chapter(sources):
    """Return the chapter of the verb plan."""
    blocks = []
    for path in sources.names(f"{PLAN}/*/plan.json"):
        told, folder = sources.told(path), str(PurePosixPath(path).parent)
        station = told.values.get("station", PurePosixPath(folder).name)
        lines = [told.values.get("verdict", ""), *told.values.get("sentences", ())]
        blocks += bullets(station, [line for line in lines if line])
        rows = [
            (r.cell("name"), r.cell("has", 2), r.cell("needs", 2), r.cell("unit"), r.cell("state"))
            for r in sources.rows(f"{folder}/margins.csv")
        ]
        blocks.append(table(f"{station}: margins", ("margin", "has", "needs", "unit", "state"),
                            rows, more=f"{folder}/margins.csv"))  # fmt: skip
        blocks += figures(sources, f"{station}: the year to come", f"{folder}/year.svg")
        blocks += bullets("Before anybody acts on these numbers", told.values.get("cautions", ()))
    if not blocks:
        blocks = [missing("No station was planned: put a station file in plans/ and run "
                          "'stakeline plan'.")]  # fmt: skip
    return chapter("plan", "Will a station live through the winter?", blocks)


def commission_chapter(sources, histories):
    """Return the chapter of the verb commission: stations as they were set up, verdicts."""
    rows = []
    for station, history in histories.items():
        path = f"stations/{station}.toml"
        sources.data(path)
        content = history.content
        values = {name: getattr(content, name) for name in ("latitude_deg", "longitude_deg")}
        values |= {"height_m": content.height_m, "visit": len(content.visit)}
        place = Record(path, 0, values)
        rows.append((Cell(station), Cell(content.description or content.marker),
                     place.cell("latitude_deg", 5), place.cell("longitude_deg", 5),
                     place.cell("height_m", 1), place.cell("visit")))  # fmt: skip
    blocks = []
    if rows:
        names = ("station", "what", "latitude, deg", "longitude, deg", "height, m", "visits")
        blocks.append(table("Stations", names, rows, "From the histories in stations/.",
                            "stations/"))  # fmt: skip
    verdicts = sources.names(f"{COMMISSION}/*/verdict.txt")
    first = [sources.text(path).partition("\n")[0] for path in verdicts]
    blocks += bullets("Verdicts on the readings taken", first)
    if not verdicts:
        blocks.append(missing("No station was commissioned with 'stakeline commission'; what was "
                              "built was not compared with what was to be expected."))  # fmt: skip
    return chapter("commission", "Is it built right?", blocks)


def intake_chapter(sources):
    """Return the chapter of the verb intake: coverage, what was set aside, health."""
    manifest = sources.rows(f"{INTAKE}/manifest.csv")
    if not manifest:
        blocks = [missing("Nothing was taken in: put files in 0-raw/ and run 'stakeline intake'.")]
        return chapter("intake", "What came back, and is it sound?", blocks)
    rows = [
        (r.cell("file"), r.cell("kind"), r.cell("station"), r.cell("first_gps"),
         r.cell("last_gps"), r.cell("rows" if r.values["rows"] != "0" else "epochs"))
        for r in manifest
    ]  # fmt: skip
    names = ("file", "kind", "station", "first (GPS time)", "last", "rows or epochs")
    blocks = [table("Files taken in", names, rows, more=f"{INTAKE}/manifest.csv")]
    days = sources.rows(f"{INTAKE}/days.csv")
    if days:
        rows = [tuple(r.cell(name) for name in ("station", "day_gps", "epochs", "expected",
                "percent", "gaps", "longest_gap_s")) for r in days]  # fmt: skip
        names = ("station", "day", "epochs", "expected", "per cent", "gaps", "longest gap, s")
        blocks.append(table("Coverage by observations, day by day", names, rows,
                            more=f"{INTAKE}/days.csv"))  # fmt: skip
    blocks += _health(sources)
    aside = [(r.values["file"], r.values["set_aside"]) for r in manifest if r.values["set_aside"]]
    blocks += bullets("Set aside", warned(aside))
    remarks = [(r.values["file"], r.values["warnings"]) for r in manifest if r.values["warnings"]]
    blocks += bullets("Warnings", warned(remarks)[:12])
    return chapter("intake", "What came back, and is it sound?", blocks)


def _health(sources):
    health = sources.rows(f"{INTAKE}/health.csv")
    if not health:
        return [missing("The health of stations was not judged: it needs logger tables of stations "
                        "that have a plan.")]  # fmt: skip
    rows = [tuple(r.cell(name) for name in ("station", "finding", "since", "last", "why"))
            for r in health]  # fmt: skip
    names = ("station", "finding", "since", "last", "why")
    return [table("Health", names, rows, more=f"{INTAKE}/health.csv")]


def position_chapter(sources):
    """Return the chapter of the verb position: quality by station and day, warnings."""
    rows, found = [], []
    for path in sources.names(f"{POSITION}/*/*_[0-9]*.json"):
        told = sources.told(path)
        for k, arc in enumerate(told.values.get("arcs", ())):
            part, at = told.below("arcs", k), f"arcs.{k}."
            rows.append((part.cell(f"{at}station"), part.cell(f"{at}first_epoch_gps"),
                         part.cell(f"{at}rows"), part.cell(f"{at}frame"),
                         part.cell(f"{at}orbits"), part.cell(f"{at}phase residual rms m", 4),
                         part.cell(f"{at}code residual rms m", 3),
                         Cell(", ".join(arc.get("rows_by_state", {})))))  # fmt: skip
            found += [(str(arc.get("station")), one) for one in arc.get("warnings", ())]
    imported = sources.names(f"{POSITION}/*/*_imported.parquet")
    blocks = []
    if rows:
        names = ("station", "from (GPS time)", "positions", "frame", "orbits", "phase rms, m",
                 "code rms, m", "states")  # fmt: skip
        blocks.append(table("Positions from observations", names, rows, more=f"{POSITION}/"))
    if imported:
        stations = ", ".join(PurePosixPath(path).parent.name for path in imported)
        blocks.append(text(f"Positions made elsewhere were taken in of {stations}; their sigmas "
                           "are those they came with."))  # fmt: skip
    if not blocks:
        blocks = [missing("There are no positions: run 'stakeline position'.")]
    for path in sources.names(f"{POSITION}/*/*_snow.svg"):
        station = PurePosixPath(path).parent.name
        blocks += figures(sources, f"{station}: height of the antenna above the snow", path)
    blocks += bullets("Warnings", warned(found))
    return chapter("position", "Where was each antenna?", blocks)


def motion_chapter(sources):
    """Return the chapter of the verb motion: speeds, coverage, noise, steps, figures."""
    paths = sources.names(f"{MOTION}/*/*_summary.json")
    if not paths:
        blocks = [missing("There is no motion: run 'stakeline motion'.")]
        return chapter("motion", "How does the ice move?", blocks)
    told = [sources.told(path) for path in paths]
    names = ("station", "mean speed, m/d", "slowest", "fastest", "towards, deg", "m/a")
    rows = [(r.cell("station"), r.plus_minus("mean_speed_m_d", "mean_speed_sigma_m_d", 5),
             r.cell("slowest_m_d", 4), r.cell("fastest_m_d", 4), r.cell("azimuth_deg", 1),
             r.cell("mean_speed_m_a", 1)) for r in told]  # fmt: skip
    blocks = [*figures(sources, "Stations and their mean motion", f"{MOTION}/figures/map.svg"),
              table("Speeds", names, rows, "Travel over time with its standard deviation; slowest "
                    "and fastest: between them 9/10 of the time.", f"{MOTION}/")]  # fmt: skip
    names = ("station", "from (GPS time)", "to", "positions", "longest gap, d", "share in gaps")
    rows = [(r.cell("station"), r.cell("first_gps"), r.cell("last_gps"), r.cell("positions_used"),
             r.cell("longest_gap_d", 2), r.cell("share_in_gaps", 4)) for r in told]  # fmt: skip
    blocks.append(table("Data coverage", names, rows, more=f"{MOTION}/"))
    blocks += _network(sources) + _budget(sources, paths) + _steps(sources)
    for path in paths:
        station = PurePosixPath(path).parent.name
        blocks += figures(sources, f"{station}: speed", f"{MOTION}/figures/{station}_speed.svg")
    found = [(r.values["station"], one) for r in told for one in r.values.get("warnings", ())]
    blocks += bullets("Warnings", warned(found))
    return chapter("motion", "How does the ice move?", blocks)


def _network(sources):
    shown = (("anomaly", "Speeds of all stations, each beside its own mean"),
             ("strain", "Strain between stations"))  # fmt: skip
    return [one for name, caption in shown
            for one in figures(sources, caption, f"{MOTION}/figures/{name}.svg")]  # fmt: skip


def _budget(sources, paths):
    rows = []
    for path in paths:
        station = PurePosixPath(path).parent.name
        for r in sources.rows(f"{MOTION}/{station}/{station}_noise.csv"):
            rows.append((Cell(station), r.cell("axis"),
                         r.plus_minus("velocity_m_d", "velocity_sigma_m_d"),
                         r.cell("travel_sigma_m_d"), r.cell("spectral_index"),
                         r.cell("white_m", 4), r.cell("power_law", 3),
                         r.cell("power_law_unit")))  # fmt: skip
    names = ("station", "axis", "mean under its noise, m/d", "sigma of the travel, m/d", "index",
             "white, m", "power law", "unit")  # fmt: skip
    note = ("The mean under white and power-law noise says how far means of such records lie "
            "apart; the sigma of the travel how well this way is known.")  # fmt: skip
    return [table("Uncertainty budget of speeds", names, rows, note, f"{MOTION}/*/*_noise.csv")]


def _steps(sources):
    rows = []
    for path in sources.names(f"{MOTION}/*/*_steps.csv"):
        rows += [(Cell(PurePosixPath(path).parent.name), r.cell("after_gps"), r.cell("kind"),
                  r.cell("logged"), r.plus_minus("along_m", "along_sigma_m", 3),
                  r.plus_minus("up_m", "up_sigma_m", 3), r.cell("reason"))
                 for r in sources.rows(path) if r.values["removed"] == "yes"]  # fmt: skip
    if not rows:
        return []
    names = ("station", "time (GPS)", "kind", "logged", "along, m", "up, m", "why")
    return [table("Steps taken out", names, rows, more=f"{MOTION}/*/*_steps.csv")]
