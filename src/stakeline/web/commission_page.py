"""The pages of ``commission``: stations, and the field sheet that saves each entry at once."""

import re
from datetime import UTC, datetime

from starlette.concurrency import run_in_threadpool
from starlette.responses import JSONResponse
from starlette.routing import Route

from ..errors import SettingsError
from ..workflows import commission_draft as drafts
from ..workflows import commission_frozen as frozen
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
    visits = await run_in_threadpool(frozen.frozen_visits, request.app.state.root, station)
    return page(
        request, "commission_sheet.html", verb=VERB, title=f"{station}, {made.kind}",
        sheet=made, head=head, entries=drafts.values_of(draft, "entry"),
        accepted=drafts.values_of(draft, "accept"), photos=drafts.values_of(draft, "photo"),
        visits=visits,
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
    root, station = request.app.state.root, _station(request)
    async with request.app.state.writing:
        done = await run_in_threadpool(drafts.freeze_draft, root, station, _now())
    return await _written(request, not done.problems, done.text)


async def amend(request):
    """Amend the frozen visit of the page's time by its entries."""
    why = str((await json_of(request)).get("why", ""))
    root, station = request.app.state.root, _station(request)
    async with request.app.state.writing:
        done = await run_in_threadpool(frozen.amend_from_page, root, station, _now(), why)
    return await _written(request, True, done.text)


async def _written(request, good, text):
    """Answer with what was written, and the visits that are frozen now."""
    root, station = request.app.state.root, _station(request)
    visits = await run_in_threadpool(frozen.frozen_visits, root, station)
    return JSONResponse({"frozen": good, "text": text, "visits": visits})


async def again(request):
    """Put the entries aside and fill the sheet with what holds of a frozen visit."""
    visit = str((await json_of(request)).get("visit", ""))
    root, station = request.app.state.root, _station(request)
    async with request.app.state.writing:
        await run_in_threadpool(frozen.take_up, root, station, visit, _now())
    return JSONResponse({"visit": visit})


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
    Route("/commission/{station}/amend", amend, methods=["POST"]),
    Route("/commission/{station}/again", again, methods=["POST"]),
    Route("/commission/{station}/anew", anew, methods=["POST"]),
    Route("/commission/{station}/photo/{key}", photo, methods=["PUT"]),
)
