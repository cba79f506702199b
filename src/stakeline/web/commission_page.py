"""The pages of ``commission``: stations, and the field sheet that saves each entry at once."""

import re
from datetime import UTC, datetime

from starlette.concurrency import run_in_threadpool
from starlette.responses import JSONResponse
from starlette.routing import Route

from ..errors import SettingsError
from ..workflows import commission_draft as drafts
from ..workflows.opening import station_names
from .pages import page
from .security import body_of, json_of

VERB = "commission"
LARGEST_PHOTO = 40 << 20  # bytes
STATION = re.compile(r"[A-Z0-9]{4}")


def _station(request):
    name = request.path_params["station"]
    if not STATION.fullmatch(name):
        raise SettingsError(f"station '{name}': expected four capitals or digits, such as HV03")
    return name


def _now():
    return datetime.now(UTC)


async def stations(request):
    """Show the stations, and which of them can be commissioned."""
    rows = await run_in_threadpool(station_names, request.app.state.root)
    return page(request, "commission.html", verb=VERB, title="Commission a station", rows=rows)


async def sheet(request):
    """Show the field sheet of a station with what was entered."""
    station = _station(request)
    made, draft, head = await run_in_threadpool(
        drafts.page_sheet, request.app.state.root, station, _now()
    )
    return page(
        request, "commission_sheet.html", verb=VERB, title=f"{station}, {made.kind}",
        sheet=made, head=head, entries=drafts.values_of(draft, "entry"),
        accepted=drafts.values_of(draft, "accept"), photos=drafts.values_of(draft, "photo"),
    )  # fmt: skip


async def save(request):
    """Keep fields that were typed."""
    fields = (await json_of(request)).get("fields")
    if not isinstance(fields, dict):
        raise SettingsError("expected fields")
    root, station = request.app.state.root, _station(request)
    async with request.app.state.writing:
        kept = await run_in_threadpool(drafts.save_draft, root, station, fields)
    return JSONResponse({"kept": kept})


async def verdict(request):
    """Say what the entries mean."""
    root, station = request.app.state.root, _station(request)
    return JSONResponse(await run_in_threadpool(drafts.judge_draft, root, station, _now()))


async def freeze(request):
    """Freeze the visit, where the site may be left."""
    reason = str((await json_of(request)).get("amend", ""))
    root, station = request.app.state.root, _station(request)
    async with request.app.state.writing:
        done = await run_in_threadpool(drafts.freeze_draft, root, station, _now(), reason)
    return JSONResponse({"frozen": not done.problems, "text": done.text})


async def photo(request):
    """Keep a photograph."""
    root, station, key = request.app.state.root, _station(request), request.path_params["key"]
    ending = request.query_params.get("ending", "")
    data = await body_of(request, LARGEST_PHOTO)
    at = round(_now().timestamp() * 1000.0)
    async with request.app.state.writing:
        name = await run_in_threadpool(drafts.keep_photo, root, station, key, ending, data, at)
    return JSONResponse({"name": name})


async def anew(request):
    """Put the entries aside and begin with an empty sheet."""
    root, station = request.app.state.root, _station(request)
    async with request.app.state.writing:
        await run_in_threadpool(drafts.begin_anew, root, station, _now())
    return JSONResponse({"begun": True})


ROUTES = (
    Route("/commission", stations),
    Route("/commission/{station}", sheet),
    Route("/commission/{station}/entries", save, methods=["POST"]),
    Route("/commission/{station}/verdict", verdict, methods=["POST"]),
    Route("/commission/{station}/freeze", freeze, methods=["POST"]),
    Route("/commission/{station}/anew", anew, methods=["POST"]),
    Route("/commission/{station}/photo/{key}", photo, methods=["PUT"]),
)
