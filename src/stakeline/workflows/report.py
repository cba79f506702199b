"""The verb report: what is handed to a reader; numbers are the verbs', nothing is computed."""

import re

from .. import __version__
from ..campaign.folders import FOLDERS, LEDGER, open_or_find
from ..campaign.ledger import Ledger, fingerprint
from ..campaign.store import clean_leftovers, json_text, only_one
from ..report.document import report_html, report_pdf
from .position import Outcome
from .report_answer import decide_chapter, lakes_chapter, summary_chapter
from .report_chapters import (
    commission_chapter,
    intake_chapter,
    motion_chapter,
    plan_chapter,
    position_chapter,
)
from .report_methods import report_chapter
from .report_sources import NOTHING, Sources, numbers_of, plain

REPORT = FOLDERS[8]
PDF, HTML, NUMBERS = "report.pdf", "report.html", "numbers.json"
RECORD = "report/report"
OTHERWISE = "give a campaign (stakeline report CAMPAIGN)"
TALLEST_MM, WIDTH_MM = 115.0, 180.0  # of a figure on paper
_SIZE = re.compile(rb'<svg[^>]*?viewBox="[\d.-]+ [\d.-]+ ([\d.]+) ([\d.]+)"', re.DOTALL)
_NUMERIC = re.compile(r"[-+]?\d")


def run(campaign=None, *, workers=1, progress=None):
    """Write PDF, HTML and the numbers of a campaign's report where they are out of date.

    Parameters
    ----------
    campaign : path, optional
        Its folder; None: the campaign around the folder we stand in.
    workers : int
        Not used: one report is set by one process.
    progress : callable, optional
        Called as ``progress(done, total, text)``.

    Returns
    -------
    Outcome

    Raises
    ------
    SettingsError
        Where there is no campaign, a table of it cannot be read, or another run holds it.
    """
    campaign = open_or_find(campaign, OTHERWISE)
    with only_one(campaign.folder(LEDGER) / "lock"):
        clean_leftovers(campaign.folder(REPORT))
        document, images, numbers = contents(campaign)
        ledger = Ledger(campaign.root, LEDGER)
        key = fingerprint([__version__, document, numbers])
        where = f"{REPORT}/{PDF}, {REPORT}/{HTML}; its numbers: {REPORT}/{NUMBERS}\n"
        said = f"{document['sentence']}\n{where}"
        if ledger.up_to_date(RECORD, key):
            return Outcome(said, up_to_date=("report",))
        if progress:
            progress(0, 2, "HTML")
        files = {HTML: report_html(document, images)}
        if progress:
            progress(1, 2, "PDF")
        files[PDF] = report_pdf(document, images)
        files[NUMBERS] = json_text(numbers).encode("utf-8")
        ledger.finish(RECORD, key, {f"{REPORT}/{name}": data for name, data in files.items()})
    return Outcome(said, done=("report",))


def contents(campaign):
    """Return (document, images, numbers) of a campaign's report; reads, and writes nothing."""
    sources = Sources(campaign.root)
    chapters = [
        plan_chapter(sources),
        commission_chapter(sources, campaign.histories()),
        intake_chapter(sources),
        position_chapter(sources),
        motion_chapter(sources),
        lakes_chapter(sources),
        decide_chapter(sources),
        report_chapter(campaign.settings, sources, campaign.decisions),
    ]
    sentence, summary = summary_chapter(sources, chapters)
    numbers = {
        "campaign": campaign.settings.campaign.name,
        "version": __version__,
        "sentence": sentence,
        "files": sources.sums,
        "numbers": [_number(title, one, sources.sums) for title, one in numbers_of(chapters)],
    }
    images = {}
    document = {
        "title": campaign.settings.campaign.name,
        "subtitle": campaign.settings.campaign.note,
        "sentence": sentence,
        "summary": summary,
        "chapters": _numbered(plain(chapters), sources, images),
    }
    return document, images, numbers


def _number(title, one, sums):
    return {"table": title, "shown": one.shown, "value": one.value, "file": one.file,
            "row": one.row, "column": one.column, "sha256": sums.get(one.file, "")}  # fmt: skip


def _numbered(chapters, sources, images):
    """Return chapters whose figures have numbers, names and heights; fills ``images`` by name."""

    def dressed(block):
        if block["kind"] == "table":
            return block | {"words": _words(block)}
        if block["kind"] != "figure":
            return block
        number = len(images) + 1
        name = f"figure_{number}.svg"
        images[name] = sources.data(block["path"])
        return block | {"name": name, "number": number, "height": _height(images[name])}

    return [c | {"blocks": [dressed(block) for block in c["blocks"]]} for c in chapters]


def _words(block):
    """Return for each column whether it holds words: they stand left, numbers right."""
    columns = zip(*block["rows"], strict=True) if block["rows"] else [()] * len(block["columns"])
    return [not all(_NUMERIC.match(text) or text == NOTHING for text in column) or not column
            for column in columns]  # fmt: skip


def _height(svg):
    """Return the height of a figure as wide as the page, no more than the tallest. [mm]"""
    found = _SIZE.search(svg[:2000])
    shape = float(found[2]) / float(found[1]) if found else 0.6
    return round(min(WIDTH_MM * shape, TALLEST_MM), 2)
