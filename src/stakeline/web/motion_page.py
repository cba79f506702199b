"""The pages of ``motion``: stations, and the series of one from years down to seconds."""

from starlette.concurrency import run_in_threadpool
from starlette.routing import Route

from ..workflows.view_series import MOTION_SERIES, series_of, stations_with_results, words_of
from .pages import page
from .series import reduced

VERB = "motion"


async def stations(request):
    """Show the stations."""
    names = await run_in_threadpool(stations_with_results, request.app.state.root)
    return page(
        request, "list.html", verb=VERB, title="How does the ice move?",
        names=[(name, "Positions, speed, tide, health") for name in names],
        nothing="No station has positions yet: stakeline position.",
    )  # fmt: skip


async def station(request):
    """Show the series of a station."""
    root, name = request.app.state.root, request.path_params["station"]
    series = await run_in_threadpool(series_of, root, name, MOTION_SERIES)
    said = await run_in_threadpool(words_of, root, name)
    return page(request, "station.html", verb=VERB, title=name, station=name, series=series,
                said=said)  # fmt: skip


ROUTES = (
    Route("/motion", stations),
    Route("/motion/{station}", station),
    Route("/motion/{station}/series/{key}", reduced),
)
