"""The pages of ``motion``: stations, and the series of one from years down to seconds."""

from starlette.concurrency import run_in_threadpool
from starlette.responses import JSONResponse
from starlette.routing import Route

from ..workflows.view_motion import COLUMNS, motion_stations, speeds_chart
from ..workflows.view_series import MOTION_SERIES, series_of, words_of
from ..workflows.view_station import health_chart, station_health
from .pages import page
from .series import reduced

VERB = "motion"


async def stations(request):
    """Show all stations."""
    rows = await run_in_threadpool(motion_stations, request.app.state.root)
    return page(request, "motion.html", verb=VERB, title="How does the ice move?", stations=rows,
                columns=COLUMNS)  # fmt: skip


async def speeds(request):
    """Return the chart of all stations' speeds."""
    return JSONResponse(await run_in_threadpool(speeds_chart, request.app.state.root))


async def station(request):
    """Show the series of a station, its power and health, and its visits."""
    root, name = request.app.state.root, request.path_params["station"]
    series = await run_in_threadpool(series_of, root, name, MOTION_SERIES)
    said = await run_in_threadpool(words_of, root, name)
    health = await run_in_threadpool(station_health, root, name)
    return page(request, "station.html", verb=VERB, title=name, station=name, series=series,
                said=said, **health)  # fmt: skip


async def health(request):
    """Return a chart of a station's power or health by day."""
    root, told = request.app.state.root, request.path_params
    return JSONResponse(await run_in_threadpool(health_chart, root, told["station"], told["name"]))


ROUTES = (
    Route("/motion", stations),
    Route("/motion/speeds", speeds),
    Route("/motion/{station}", station),
    Route("/motion/{station}/series/{key}", reduced),
    Route("/motion/{station}/health/{name}", health),
)
