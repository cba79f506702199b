"""The pages of ``lakes``: all lakes, and one of them."""

from starlette.concurrency import run_in_threadpool
from starlette.responses import JSONResponse
from starlette.routing import Route

from ..workflows.view_lakes import all_events, lake, lake_chart, lake_names, levels_chart
from .pages import page

VERB = "lakes"


async def lakes(request):
    """Show the lakes."""
    root = request.app.state.root
    names = await run_in_threadpool(lake_names, root)
    events = await run_in_threadpool(all_events, root)
    return page(request, "lakes.html", verb=VERB, title="When did each lake fill and drain?",
                names=names, events=events)  # fmt: skip


async def levels(request):
    """Return the chart of all levels."""
    return JSONResponse(await run_in_threadpool(levels_chart, request.app.state.root))


async def one(request):
    """Show a lake."""
    name = request.path_params["lake"]
    shown = await run_in_threadpool(lake, request.app.state.root, name)
    return page(request, "lake.html", verb=VERB, title=name, lake=name, **shown)


async def chart(request):
    """Return a chart of a lake."""
    place = request.path_params
    return JSONResponse(
        await run_in_threadpool(lake_chart, request.app.state.root, place["lake"], place["name"])
    )


ROUTES = (
    Route("/lakes", lakes),
    Route("/lakes/all/levels", levels),
    Route("/lakes/{lake}", one),
    Route("/lakes/{lake}/chart/{name}", chart),
)
