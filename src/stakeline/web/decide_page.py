"""The page of ``decide``: the sentence, and what it rests on."""

from starlette.concurrency import run_in_threadpool
from starlette.responses import JSONResponse, Response
from starlette.routing import Route

from ..workflows.view_decide import chance_figure, decide_chart, decision
from .pages import page

VERB = "decide"


async def verdict(request):
    """Show the decision."""
    shown = await run_in_threadpool(decision, request.app.state.root)
    return page(request, "decide.html", verb=VERB, title="Faster, slower, or chance?", **shown)


async def chart(request):
    """Return a chart."""
    root, lake = request.app.state.root, request.query_params.get("lake", "")
    return JSONResponse(
        await run_in_threadpool(decide_chart, root, request.path_params["name"], lake)
    )


async def chance(request):
    """Return the drawing of the null distribution."""
    data = await run_in_threadpool(chance_figure, request.app.state.root)
    return Response(data, media_type="image/svg+xml", headers={"cache-control": "no-store"})


ROUTES = (
    Route("/decide", verdict),
    Route("/decide/chance.svg", chance),
    Route("/decide/chart/{name}", chart),
)
