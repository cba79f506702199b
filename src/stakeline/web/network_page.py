"""The first page: where the stations are, which days are on record, what is out of date."""

from starlette.concurrency import run_in_threadpool
from starlette.routing import Route

from ..workflows.view_map import map_table
from ..workflows.view_network import calendar_table, network
from .pages import csv_answer, page


async def home(request):
    """Show the network."""
    shown = await run_in_threadpool(network, request.app.state.root)
    return page(request, "network.html", title=request.app.state.campaign_name, **shown)


async def places(request):
    """Return what the map shows as a table."""
    return csv_answer(await run_in_threadpool(map_table, request.app.state.root))


async def days(request):
    """Return the days on record as a table."""
    positions = request.query_params.get("with") == "positions"
    return csv_answer(await run_in_threadpool(calendar_table, request.app.state.root, positions))


ROUTES = (
    Route("/", home),
    Route("/map.csv", places),
    Route("/days.csv", days),
)
