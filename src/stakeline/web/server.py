"""Serving the pages to a browser on this machine."""

import socket

import uvicorn

from ..errors import SettingsError
from .app import make_app

HOST, PORT = "127.0.0.1", 4180  # one port, so that what a browser keeps is found again


def serve(root, *, port=PORT, say):
    """Serve a campaign's pages until interrupted.

    Parameters
    ----------
    root : path
    port : int
        0 for any that is free.
    say : callable
        Takes a sentence for people.

    Raises
    ------
    SettingsError
        Where there is no campaign, or the port is taken.
    """
    with socket.socket() as listening:
        listening.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
        try:
            listening.bind((HOST, port))
        except OSError as problem:
            raise SettingsError(
                f"port {port} cannot be used: {problem.strerror}; another view may be open; or "
                "give --port"
            ) from None
        port = listening.getsockname()[1]
        app = make_app(root, port=port)
        say(f"http://localhost:{port}/ shows {app.state.campaign_name}; Ctrl-C ends it")
        settings = uvicorn.Config(
            app, log_level="warning", access_log=False, server_header=False, lifespan="off"
        )
        uvicorn.Server(settings).run(sockets=[listening])
