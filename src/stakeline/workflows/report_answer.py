"""The chapters of a report that hold its answer: lakes, decide; and the summary before all."""

from pathlib import PurePosixPath

from ..campaign.folders import DECIDE, LAKES
from .report_chapters import bullets, chapter, figures, missing, text, warned
from .report_sources import Cell, table

UNDECIDED = "Nothing has been decided: run 'stakeline decide'."


def summary_chapter(sources, chapters):
    """Return (sentence, blocks) before all chapters: the verdict and what could not be done."""
    told = sources.told(f"{DECIDE}/verdict.json")
    verdict = told.values.get("verdict", {}) if told else {}
    blocks = []
    if told:
        blocks.append(text(told.values.get("plan", {}).get("sentence", "")))
        lakes = [one.get("sentence", "") for one in told.values.get("lakes", ())]
        blocks += bullets("By lake", [one for one in lakes if one])
        for title, key in (("What supports it", "support"), ("What weakens it", "weakening"),
                           ("What was not tested", "not_tested")):  # fmt: skip
            blocks += bullets(title, [_capital(line) for line in verdict.get(key, ())])
    gaps = [f"{one['verb']}: {block['text']}" for one in chapters for block in one["blocks"]
            if block["kind"] == "missing"]  # fmt: skip
    blocks += bullets("What could not be done", gaps)
    return verdict.get("sentence", UNDECIDED), blocks


def _capital(line):
    return line[:1].upper() + line[1:]


def lakes_chapter(sources):
    """Return the chapter of the verb lakes: events, water, its doubts, routes, figures."""
    if sources.data(f"{LAKES}/events.csv") is None:
        blocks = [missing("No lake was looked at: put outlines in maps/ and run "
                          "'stakeline lakes'.")]  # fmt: skip
        return chapter("lakes", "When did each lake fill and drain?", blocks)
    blocks = figures(sources, "The water's ways", f"{LAKES}/figures/routes.svg")
    blocks += _events(sources) + _water(sources) + _routes(sources)
    for path in sources.names(f"{LAKES}/*/*_summary.json"):
        name = PurePosixPath(path).parent.name
        kinds = (("map", "outline and stations"), ("level", "level"), ("events", "events"),
                 ("water", "water and discharge"))  # fmt: skip
        for kind, words in kinds:
            caption = f"{name.replace('_', ' ')}: {words}"
            blocks += figures(sources, caption, f"{LAKES}/figures/{name}_{kind}.svg")
    found = []
    for path in sources.names(f"{LAKES}/*/*_summary.json"):
        values = sources.told(path).values
        notes = [*values.get("notes", ()), *values.get("outline_notes", ())]
        found += [(values.get("lake", ""), one) for one in notes]
    return chapter("lakes", "When did each lake fill and drain?",
                   blocks + bullets("Warnings and notes", warned(found)))  # fmt: skip


def _events(sources):
    path = f"{LAKES}/events.csv"
    rows = sources.rows(path)
    if not rows:
        return [text("No filling or draining was found.")]
    times = [(r.cell("event"), r.cell("status"),
              *(_span(r, what) for what in ("onset", "peak", "end")), r.cell("probability_real"))
             for r in rows]  # fmt: skip
    sizes = [(r.cell("event"), *(r.interval(f"{what}_median", f"{what}_low", f"{what}_high", n)
              for what, n in (("change_m", 2), ("volume_m3", 0), ("mean_m3_s", 0),
                              ("peak_m3_s", 0)))) for r in rows]  # fmt: skip
    note = "Intervals hold 95 %."
    return [
        table("Events: when (GPS time)", ("event", "status", "onset", "fastest", "end", "real"),
              times, f"{note} Real: probability that it is real and the lake's.", path),
        table("Events: how much", ("event", "surface, m", "volume, m3", "mean, m3/s",
              "greatest, m3/s"), sizes, note, path),
    ]  # fmt: skip


def _span(row, what):
    middle, low, high = (row.cell(f"{what}_{part}_gps") for part in ("median", "low", "high"))
    return Cell(f"{middle.text} ({low.text} to {high.text})")


def _water(sources):
    path = f"{LAKES}/volumes.csv"
    rows = [(r.cell("event"), r.cell("what"),
             r.interval("volume_m3_median", "volume_m3_low", "volume_m3_high", 0), r.cell("words"))
            for r in sources.rows(path)]  # fmt: skip
    return [table("Uncertainty budget of volumes, by cause of doubt",
                  ("event", "cause", "volume, m3", "what it means"), rows, more=path)] if rows \
        else []  # fmt: skip


def _routes(sources):
    path = f"{LAKES}/routes.csv"
    rows = [(r.cell("lake"), r.cell("target"), r.cell("kind"), r.cell("along_m"),
             r.plus_minus("probability", "probability_sigma"), r.cell("fastest_h"),
             r.cell("slowest_h"))
            for r in sources.rows(path) if r.values["on_drawn_route"] == "yes"]  # fmt: skip
    if not rows:
        return [missing("The water's ways are not known: they need grids of surface and bed in "
                        "maps/.")]  # fmt: skip
    names = ("lake", "reaches", "kind", "along, m", "probability", "soonest, h", "latest, h")
    return [table("Down the drawn routes", names, rows, more=path)]


def decide_chapter(sources):
    """Return the chapter of the verb decide: effects, tests, other choices, power, figures."""
    if sources.data(f"{DECIDE}/verdict.json") is None:
        return chapter("decide", "Does the ice change speed, or is it chance?",
                       [missing(UNDECIDED)])  # fmt: skip
    blocks = []
    for path in sources.names(f"{DECIDE}/figures/aligned_*.svg"):
        name = PurePosixPath(path).stem.removeprefix("aligned_").replace("_", " ")
        blocks += figures(sources, f"Speeds as {name} drains", path)
    blocks += _effects(sources) + _tests(sources)
    captions = {"effects": "Effects by station and event", "chance": "What chance alone does",
                "robustness": "Other choices", "power": "What could have been seen"}  # fmt: skip
    for name, caption in captions.items():
        blocks += figures(sources, caption, f"{DECIDE}/figures/{name}.svg")
    for one in sources.told(f"{DECIDE}/verdict.json").values.get("lakes", ()):
        blocks += bullets(f"{one.get('of', '')}: left out, or not possible",
                          [_capital(line) for key in ("left_out", "problems")
                           for line in one.get(key, ())])  # fmt: skip
    return chapter("decide", "Does the ice change speed, or is it chance?", blocks)


def _effects(sources):
    path, pooled = f"{DECIDE}/effects.csv", f"{DECIDE}/pooled.csv"
    stations = [(r.cell("lake"), r.cell("station"), r.cell("distance_km"),
                 r.interval("change_percent", "change_low_percent", "change_high_percent"),
                 r.interval("lag_d", "lag_low_d", "lag_high_d"), r.cell("duration_d"),
                 r.interval("excess_m", "excess_low_m", "excess_high_m"))
                for r in sources.rows(path) if r.values["event"] == "all"]  # fmt: skip
    every = [(r.cell("lake"), r.cell("event"),
              r.interval("change_percent", "change_low_percent", "change_high_percent"),
              r.cell("probability_faster"), r.cell("events"), r.cell("stations"),
              r.cell("between_events_percent"), r.cell("between_stations_percent"))
             for r in sources.rows(pooled)]  # fmt: skip
    if not stations and not every:
        return [missing("No effect could be estimated: see the left-out list below.")]
    return [
        table("Effects by station, all events", ("lake", "station", "down the route, km",
              "change, %", "lag, d", "lasts, d", "more way, m"), stations,
              "Intervals hold 95 %. A lag is the mean of the lags of all events at that station.",
              path),
        table("Effects over stations and events, and what they scatter by", ("lake", "event",
              "change, %", "faster", "events", "stations", "between events, %",
              "between stations, %"), every, "Faster: probability that the ice moves faster.",
              pooled),
    ]  # fmt: skip


def _tests(sources):
    tests, other = f"{DECIDE}/tests.csv", f"{DECIDE}/robustness.csv"
    rows = [(r.cell("lake"), r.cell("station"), r.cell("test"), r.cell("rank"),
             r.cell("statistic"), r.cell("p")) for r in sources.rows(tests)]  # fmt: skip
    choices = [(r.cell("lake"), r.cell("choice"),
                r.interval("change_percent", "change_low_percent", "change_high_percent"),
                r.cell("agrees")) for r in sources.rows(other)]  # fmt: skip
    found = [table("Tests", ("lake", "station", "test", "rank", "statistic", "p"), rows,
                   more=tests)] if rows else []  # fmt: skip
    if choices:
        found.append(table("Other choices", ("lake", "choice", "change, %", "agrees"), choices,
                           more=other))  # fmt: skip
    return found
