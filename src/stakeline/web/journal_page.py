"""The page of decisions by hand, and where they are written down."""

from datetime import UTC, datetime

from starlette.concurrency import run_in_threadpool
from starlette.responses import JSONResponse
from starlette.routing import Route

from ..workflows.view_journal import enter, journal
from .pages import page
from .security import json_of


async def decisions(request):
    """Show who chose what by hand, when and why."""
    shown = await run_in_threadpool(journal, request.app.state.root)
    return page(request, "journal.html", title="Decisions by hand", **shown)


async def decide(request):
    """Write one more decision down."""
    told = await json_of(request)
    now = datetime.now(UTC).strftime("%Y-%m-%dT%H:%M:%SZ")
    async with request.app.state.writing:
        number = await run_in_threadpool(enter, request.app.state.root, told, now)
    return JSONResponse({"number": number})


ROUTES = (
    Route("/journal", decisions),
    Route("/journal", decide, methods=["POST"]),
)
