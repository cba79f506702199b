"""The report on a campaign as one PDF and one HTML file that needs nothing beside it."""

import base64
from importlib import resources

import jinja2

from .typesetting import typeset

TEMPLATE = "report"
_pages = jinja2.Environment(
    loader=jinja2.FunctionLoader(
        lambda name: resources.files(__package__).joinpath("pages", name).read_text("utf-8")
    ),
    autoescape=True,
    undefined=jinja2.StrictUndefined,
    trim_blocks=True,
    lstrip_blocks=True,
)


def report_pdf(document, images):
    """Return the bytes of the PDF.

    Parameters
    ----------
    document : dict
        ``title``, ``subtitle``, ``sentence``, ``summary`` (blocks) and ``chapters``, each of
        ``verb``, ``question``, ``blocks``. A block has a ``kind``: ``text``, ``missing``, ``list``,
        ``table`` (``columns``, ``words``: which hold words, ``rows``) or ``figure`` (``name``,
        ``number``, ``caption``, ``height`` [mm]).
    images : dict of str to bytes
        SVG by the ``name`` of a figure.
    """
    return typeset(TEMPLATE, document, assets=images)


def report_html(document, images):
    """Return the bytes of the HTML file, figures inside it; parameters as :func:`report_pdf`."""

    def placed(block):
        if block["kind"] != "figure":
            return block
        data = base64.b64encode(images[block["name"]]).decode("ascii")
        return block | {"address": f"data:image/svg+xml;base64,{data}"}

    chapters = [c | {"blocks": [placed(b) for b in c["blocks"]]} for c in document["chapters"]]
    summary = [placed(block) for block in document["summary"]]
    content = document | {"chapters": chapters, "summary": summary}
    return _pages.get_template(f"{TEMPLATE}.html").render(**content).encode("utf-8")
