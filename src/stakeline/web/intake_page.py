"""The page of ``intake``: what came back, and whether it is sound."""

from starlette.concurrency import run_in_threadpool
from starlette.responses import JSONResponse, Response
from starlette.routing import Route

from ..workflows.view_intake import intake, quality_chart, quality_picture, quality_table
from .pages import csv_answer, page

VERB = "intake"


async def files(request):
    """Show what came back."""
    shown = await run_in_threadpool(intake, request.app.state.root)
    return page(request, "intake.html", verb=VERB, title="What came back, and is it sound?",
                **shown)  # fmt: skip


async def chart(request):
    """Return a chart of quality by day."""
    root, name = request.app.state.root, request.path_params["name"]
    return JSONResponse(await run_in_threadpool(quality_chart, root, name))


async def picture(request):
    """Return the calendar of quality."""
    data = await run_in_threadpool(quality_picture, request.app.state.root)
    return Response(data, media_type="image/svg+xml", headers={"cache-control": "no-store"})


async def table(request):
    """Return the figures behind the calendar of quality."""
    return csv_answer(await run_in_threadpool(quality_table, request.app.state.root))


ROUTES = (
    Route("/intake", files),
    Route("/intake/quality.svg", picture),
    Route("/intake/quality.csv", table),
    Route("/intake/chart/{name}", chart),
)
