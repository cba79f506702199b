"""The page of ``report``: what is handed on, and the files themselves."""

import base64
import hashlib
import re

from starlette.concurrency import run_in_threadpool
from starlette.responses import FileResponse
from starlette.routing import Route

from ..workflows.view_report import release_path, report, report_path
from .pages import page

VERB = "report"
SHOWN = ".html"  # what a browser shows; all else is kept as a file
NO_RIGHTS = (
    "sandbox; default-src 'none'; img-src data:; base-uri 'none'; form-action 'none'; "
    "frame-ancestors 'none'"
)
_STYLES = re.compile(rb"<style>(.*?)</style>", re.DOTALL)


async def papers(request):
    """Show what there is to hand on."""
    shown = await run_in_threadpool(report, request.app.state.root)
    return page(request, "report.html", verb=VERB, title="What do we hand on?", **shown)


async def paper(request):
    """Return a file of the report."""
    path = await run_in_threadpool(report_path, request.app.state.root, request.path_params["name"])
    return await run_in_threadpool(_answer, path)


async def released(request):
    """Return a file of a release, always as a file to be kept."""
    place = request.path_params
    path = await run_in_threadpool(
        release_path, request.app.state.root, request.query_params.get("of", ""), place["name"]
    )
    return FileResponse(path, filename=path.name, headers={"cache-control": "no-store"})


def _answer(path):
    """Return a file: a page without any right where a browser shows it, else one to be kept."""
    headers = {"cache-control": "no-store"}
    if path.suffix != SHOWN:
        return FileResponse(path, filename=path.name, headers=headers)
    return FileResponse(path, headers=headers | {"content-security-policy": _policy(path)})


def _policy(path):
    """Return the policy of a report: its own style and its own figures, and nothing else."""
    sums = [hashlib.sha256(one).digest() for one in _STYLES.findall(path.read_bytes())]
    styles = " ".join(f"'sha256-{base64.b64encode(one).decode()}'" for one in sums)
    return f"{NO_RIGHTS}; style-src {styles}" if sums else NO_RIGHTS


ROUTES = (
    Route("/report", papers),
    Route("/report/file/{name}", paper),
    Route("/report/release/{name:path}", released),
)
