"""The pages of ``lakes``: all lakes, and one of them."""

from starlette.concurrency import run_in_threadpool
from starlette.responses import JSONResponse
from starlette.routing import Route

from ..workflows.view_lakes import lake, lake_chart, lake_names
from .pages import page

VERB = "lakes"


async def lakes(request):
    """Show the lakes."""
    names = await run_in_threadpool(lake_names, request.app.state.root)
    return page(
        request, "list.html", verb=VERB, title="When did each lake fill and drain?",
        names=[(name, "1 event" if count == 1 else f"{count} events") for name, count in names],
        nothing="No lake has been worked out yet: stakeline lakes.",
    )  # fmt: skip


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
    Route("/lakes/{lake}", one),
    Route("/lakes/{lake}/chart/{name}", chart),
)
