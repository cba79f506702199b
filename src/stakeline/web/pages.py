"""What all pages share: templates, the eight verbs along the top, how trouble is said."""

import re
from functools import cache
from importlib import resources

import jinja2
from starlette.responses import HTMLResponse, Response

VERBS = ("plan", "commission", "intake", "position", "motion", "lakes", "decide", "report")
QUESTIONS = {
    "plan": "Will it live through the winter?",
    "commission": "Is it built right, today?",
    "intake": "What came back, and is it sound?",
    "position": "Where was each antenna?",
    "motion": "How does the ice move?",
    "lakes": "When did each lake fill and drain?",
    "decide": "Does the ice change speed, or is it chance?",
    "report": "What do we hand on?",
}

CHARTS = resources.files("plotly").joinpath("package_data", "plotly.min.js")
_STYLE_ID = re.compile(rb'getElementById\("([0-9a-f]{64})"\)')


@cache
def style_ids():
    """Return the names under which the charts' program looks for styles before it writes its own.

    It writes none into a page that has something of these names; our policy would refuse them.
    """
    return tuple(found.decode() for found in _STYLE_ID.findall(CHARTS.read_bytes()))


_templates = jinja2.Environment(
    loader=jinja2.FunctionLoader(
        lambda name: resources.files(__package__).joinpath("templates", name).read_text("utf-8")
    ),
    autoescape=True,
    undefined=jinja2.StrictUndefined,
    trim_blocks=True,
    lstrip_blocks=True,
)


def page(request, template, *, verb="", title="", status=200, **content):
    """Return a page.

    Parameters
    ----------
    request : starlette.requests.Request
    template : str
        File in ``templates/``.
    verb, title : str
        Which of the verbs it belongs to, and its heading.
    status : int
    **content
        What the template shows.
    """
    state = request.app.state
    shown = {
        "verbs": [(name, QUESTIONS[name], name in state.verbs) for name in VERBS],
        "verb": verb,
        "title": title,
        "campaign": state.campaign_name,
        "token": state.token,
        "style_ids": style_ids,
    }
    text = _templates.get_template(template).render(**shown, **content)
    return HTMLResponse(text, status, headers={"cache-control": "no-store"})


def csv_answer(text):
    """Return a table of commas as an answer."""
    return Response(text, media_type="text/csv", headers={"cache-control": "no-store"})


def trouble(request, problem, status=404):
    """Return a page that says what went wrong and what can be done."""
    return page(
        request, "trouble.html", title="That did not work", status=status,
        sentences=str(problem).splitlines(),
    )  # fmt: skip
