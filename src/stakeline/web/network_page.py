"""The first page: where the stations are, which days are on record, what is out of date."""

from starlette.concurrency import run_in_threadpool
from starlette.responses import Response
from starlette.routing import Route

from ..workflows.view_map import map_table
from ..workflows.view_network import calendar_table, network
from .pages import page


async def home(request):
    """Show the network."""
    shown = await run_in_threadpool(network, request.app.state.root)
    return page(request, "network.html", title=request.app.state.campaign_name, **shown)


async def places(request):
    """Return what the map shows as a table."""
    return _csv(await run_in_threadpool(map_table, request.app.state.root))


async def days(request):
    """Return the days on record as a table."""
    positions = request.query_params.get("with") == "positions"
    return _csv(await run_in_threadpool(calendar_table, request.app.state.root, positions))


def _csv(text):
    return Response(text, media_type="text/csv", headers={"cache-control": "no-store"})


ROUTES = (
    Route("/", home),
    Route("/map.csv", places),
    Route("/days.csv", days),
)
