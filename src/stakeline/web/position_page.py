"""The pages of ``position``: all stations, and how surely one of them is known."""

from starlette.concurrency import run_in_threadpool
from starlette.responses import JSONResponse
from starlette.routing import Route

from ..workflows.view_position import position_chart, positions, station_days
from ..workflows.view_series import POSITION_SERIES, series_of
from .pages import page
from .series import reduced

VERB = "position"


async def stations(request):
    """Show all stations."""
    shown = await run_in_threadpool(positions, request.app.state.root)
    return page(request, "position.html", verb=VERB, title="Where was each antenna?", **shown)


async def station(request):
    """Show how surely a station is known."""
    root, name = request.app.state.root, request.path_params["station"]
    series = await run_in_threadpool(series_of, root, name, POSITION_SERIES)
    shown = await run_in_threadpool(station_days, root, name)
    return page(request, "position_station.html", verb=VERB, title=name, station=name,
                series=series, **shown)  # fmt: skip


async def chart(request):
    """Return a chart of all stations by day."""
    root, name = request.app.state.root, request.path_params["name"]
    return JSONResponse(await run_in_threadpool(position_chart, root, name))


ROUTES = (
    Route("/position", stations),
    Route("/position/chart/{name}", chart),
    Route("/position/{station}", station),
    Route("/position/{station}/series/{key}", reduced),
)
