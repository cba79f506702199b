"""The pages of ``motion``: stations, and the series of one from years down to seconds."""

from starlette.concurrency import run_in_threadpool
from starlette.responses import Response
from starlette.routing import Route

from ..errors import SettingsError
from ..workflows.view_series import drawn, series_of, stations_with_results, words_of
from .pages import page

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
    series = await run_in_threadpool(series_of, root, name)
    said = await run_in_threadpool(words_of, root, name)
    return page(request, "station.html", verb=VERB, title=name, station=name, series=series,
                said=said)  # fmt: skip


async def series(request):
    """Return what draws a series between two times."""
    asked, place = request.query_params, request.path_params
    begin, end = _whole(asked.get("from")), _whole(asked.get("to"))
    spans = _whole(asked.get("spans", "1000"))
    data = await run_in_threadpool(
        drawn, request.app.state.root, place["station"], place["key"], begin, end, spans
    )
    return Response(
        data, media_type="application/octet-stream", headers={"cache-control": "no-store"}
    )


def _whole(text):
    """Return a whole number, None where none is asked for."""
    if text is None:
        return None
    if not text.lstrip("-").isdigit() or len(text) > 15:
        raise SettingsError(f"'{text[:30]}': expected a whole number")
    return int(text)


ROUTES = (
    Route("/motion", stations),
    Route("/motion/{station}", station),
    Route("/motion/{station}/series/{key}", series),
)
