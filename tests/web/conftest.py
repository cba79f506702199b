"""A campaign, its application, a client, and a server for a real browser."""

import asyncio
import shutil
import socket
import sys
import threading
import time
from pathlib import Path

import httpx
import pytest
import uvicorn

from stakeline.web.app import make_app

sys.path.insert(0, str(Path(__file__).parents[1] / "workflows"))
import commission_campaign

PORT = 4180


class Client:
    """Asks the application without a network."""

    def __init__(self, app):
        self.app = app

    def ask(self, method, place, **more):
        return asyncio.run(self._ask(method, place, **more))

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
