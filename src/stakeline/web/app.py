"""The application: routes of every verb's page, behind the guard."""

import asyncio
import secrets
from importlib import resources
from pathlib import Path

from starlette.applications import Starlette
from starlette.middleware import Middleware
from starlette.responses import FileResponse, JSONResponse, Response
from starlette.routing import Mount, Route
from starlette.staticfiles import StaticFiles

from ..errors import StakelineError
from ..workflows.opening import opened_name
from . import (
    commission_page,
    decide_page,
    intake_page,
    journal_page,
    lakes_page,
    motion_page,
    network_page,
    plan_page,
    position_page,
    report_page,
)
from .pages import CHARTS, trouble
from .security import WRITES, Guard

PAGES = {
    "plan": plan_page.ROUTES,
    "commission": commission_page.ROUTES,
    "intake": intake_page.ROUTES,
    "position": position_page.ROUTES,
    "motion": motion_page.ROUTES,
    "lakes": lakes_page.ROUTES,
    "decide": decide_page.ROUTES,
    "report": report_page.ROUTES,
}  # a verb that gets pages is added here


def make_app(root, *, port, token=None):
    """Return the application of a campaign.

    Parameters
    ----------
    root : path
    port : int
        On which it will be served: part of the names under which it answers.
    token : str, optional
        That writes must carry; drawn anew where not given.

    Raises
    ------
    SettingsError
        Where there is no campaign.
    """
    token = token or secrets.token_urlsafe(24)
    name = opened_name(root)
    static = resources.files(__package__).joinpath("static")
    routes = [
        *network_page.ROUTES,
        *journal_page.ROUTES,
        Route("/plotly.js", _charts),
        Route("/offline.js", _offline),
        Mount("/static", StaticFiles(directory=str(static))),
        *(route for routes in PAGES.values() for route in routes),
    ]
    app = Starlette(
        routes=routes,
        middleware=[Middleware(Guard, port=port, token=token)],
        exception_handlers={StakelineError: _problem, 404: _nowhere},
    )
    app.state.root, app.state.token, app.state.campaign_name = root, token, name
    app.state.verbs = tuple(PAGES)
    app.state.writing = asyncio.Lock()  # drafts are read, changed and written one at a time
    return app


async def _charts(request):
    """Serve what draws the charts, from its installed package."""
    return FileResponse(
        Path(str(CHARTS)), media_type="text/javascript", headers={"cache-control": "max-age=86400"}
    )


async def _offline(request):
    """Serve the worker that keeps pages at hand; from the root, so that it may keep all of them."""
    text = resources.files(__package__).joinpath("static", "offline.js").read_text("utf-8")
    return Response(text, media_type="text/javascript", headers={"cache-control": "no-cache"})


async def _problem(request, problem):
    if request.method in WRITES:
        return JSONResponse({"problem": str(problem)}, 400)
    return trouble(request, problem, 400)


async def _nowhere(request, problem):
    if request.method in WRITES:
        return JSONResponse({"problem": "there is no such place"}, 404)
    return trouble(request, "There is no such page.")
