"""The first page: where the stations are, which days are on record, what is out of date."""

from starlette.concurrency import run_in_threadpool

from ..workflows.view_network import network
from .pages import page


async def home(request):
    """Show the network."""
    shown = await run_in_threadpool(network, request.app.state.root)
    return page(request, "network.html", title=request.app.state.campaign_name, **shown)
