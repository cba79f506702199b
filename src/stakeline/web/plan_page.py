"""The pages of ``plan``: change a station's numbers and see at once whether it lives."""

import asyncio

from starlette.concurrency import run_in_threadpool
from starlette.responses import JSONResponse
from starlette.routing import Route

from ..errors import SettingsError
from ..workflows.view_plan import answer, knobs, plans_together, save_plan
from .pages import page
from .security import json_of

VERB = "plan"
_thinking = asyncio.Semaphore(1)  # one answer at a time: a later one is what is looked at


async def plans(request):
    """Show the plans."""
    names, together = await run_in_threadpool(plans_together, request.app.state.root)
    return page(
        request, "list.html", verb=VERB, title="Will it live through the winter?",
        names=names, together=together, nothing="There is no plan yet: write plans/NAME.toml.",
    )  # fmt: skip


async def one(request):
    """Show a plan's numbers."""
    name = request.path_params["station"]
    shown = await run_in_threadpool(knobs, request.app.state.root, name)
    return page(request, "plan.html", verb=VERB, title=f"Plan of {name}", station=name,
                knobs=shown)  # fmt: skip


async def ask(request):
    """Say what comes of other numbers; nothing is kept."""
    name, changes, _ = await _asked(request)
    async with _thinking:
        said = await run_in_threadpool(answer, request.app.state.root, name, changes)
    return JSONResponse(said)


async def save(request):
    """Keep other numbers as a plan of another station."""
    name, changes, new_name = await _asked(request)
    async with request.app.state.writing:
        path = await run_in_threadpool(save_plan, request.app.state.root, name, changes, new_name)
    return JSONResponse({"path": path})


async def _asked(request):
    told = await json_of(request)
    changes = told.get("changes")
    if not isinstance(changes, dict):
        raise SettingsError("expected changes")
    return request.path_params["station"], changes, str(told.get("name", ""))


ROUTES = (
    Route("/plan", plans),
    Route("/plan/{station}", one),
    Route("/plan/{station}/answer", ask, methods=["POST"]),
    Route("/plan/{station}/save", save, methods=["POST"]),
)
