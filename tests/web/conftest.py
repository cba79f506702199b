"""A campaign, its application, a client, and a server for a real browser."""

import asyncio
import os
import shutil
import socket
import sys
import threading
import time
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path

import httpx
import pytest
import uvicorn
from playwright.sync_api import sync_playwright

from stakeline.web.app import make_app

for _folder in (Path(__file__).parent, Path(__file__).parents[1] / "workflows"):
    sys.path.insert(0, str(_folder))
import commission_campaign  # noqa: E402
import results_campaign  # noqa: E402

PORT = 4180
BROWSER = shutil.which("chromium")
FLAGS = [
    "--no-sandbox",
    "--disable-gpu",
    "--disable-quic",
    "--no-first-run",
    "--disable-background-networking",
    "--disable-component-update",
    "--disable-sync",
]


class Client:
    """Asks the application without a network."""

    def __init__(self, app):
        self.app = app

    def ask(self, method, place, **more):
        # in a thread of its own: an open browser keeps a loop in this one
        with ThreadPoolExecutor(1) as thread:
            return thread.submit(lambda: asyncio.run(self._ask(method, place, **more))).result()

    async def _ask(self, method, place, **more):
        transport = httpx.ASGITransport(self.app)
        address = f"http://localhost:{PORT}"
        async with httpx.AsyncClient(transport=transport, base_url=address) as client:
            return await client.request(method, place, **more)

    def get(self, place, **more):
        return self.ask("GET", place, **more)

    def post(self, place, **more):
        return self.ask("POST", place, **more)

    def put(self, place, **more):
        return self.ask("PUT", place, **more)


class Served:
    """The application of a campaign on a port of its own, that can go away and come back."""

    def __init__(self, root):
        self.root, self.port, self.server, self.thread = root, 0, None, None

    @property
    def address(self):
        return f"http://localhost:{self.port}"

    def start(self):
        listening = socket.socket()
        listening.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
        listening.bind(("127.0.0.1", self.port))
        self.port = listening.getsockname()[1]
        settings = uvicorn.Config(
            make_app(self.root, port=self.port), log_level="critical", lifespan="off"
        )
        self.server = uvicorn.Server(settings)
        self.thread = threading.Thread(
            target=self.server.run, kwargs={"sockets": [listening]}, daemon=True
        )
        self.thread.start()
        while not self.server.started:
            time.sleep(0.01)

    def stop(self):
        self.server.should_exit = self.server.force_exit = True
        self.thread.join(timeout=20)
        for one in self.server.servers:
            one.close()


@pytest.fixture(scope="session")
def made(tmp_path_factory):
    root = tmp_path_factory.mktemp("made") / "campaign"
    commission_campaign.make(root)
    return root


@pytest.fixture
def campaign(tmp_path, made):
    return Path(shutil.copytree(made, tmp_path / "campaign"))


@pytest.fixture
def client(campaign):
    app = make_app(campaign, port=PORT, token="a token")
    return Client(app)


@pytest.fixture
def served(campaign):
    one = Served(campaign)
    one.start()
    yield one
    one.stop()


@pytest.fixture(scope="session")
def browser():
    """One browser for all tests of this folder."""
    if BROWSER is None:
        assert os.environ.get("STAKELINE_REQUIRE_BROWSER") != "1", "there is no Chromium"
        pytest.skip("no Chromium on this machine")
    with sync_playwright() as playwright:
        one = playwright.chromium.launch(executable_path=BROWSER, args=FLAGS)
        yield one
        one.close()


@pytest.fixture(scope="session")
def results_root(tmp_path_factory):
    return results_campaign.make(tmp_path_factory.mktemp("results") / "campaign")


@pytest.fixture(scope="session")
def results(results_root):
    """A client of a campaign with results."""
    return Client(make_app(results_root, port=PORT, token="a token"))


@pytest.fixture(scope="session")
def address(results_root):
    """Where a campaign with results is served."""
    one = Served(results_root)
    one.start()
    yield one.address
    one.stop()
