"""What draws a long series between two times, for the pages of motion and of position."""

from starlette.concurrency import run_in_threadpool
from starlette.responses import Response

from ..errors import SettingsError
from ..workflows.view_series import drawn


async def reduced(request):
    """Return what draws a series of a station between two times."""
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
