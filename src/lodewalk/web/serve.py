"""Serving the pages on this machine alone, until the person stops it."""

import logging
import socket
import threading
import webbrowser
from collections.abc import Callable
from pathlib import Path

import uvicorn

from lodewalk.errors import InputError
from lodewalk.web.app import create_app
from lodewalk.web.guard import Keys
from lodewalk.web.session import Session
from lodewalk.web.uploads import sweep

HOST = "127.0.0.1"


class Server(uvicorn.Server):
    """A server that a person stops, who needn't hear of each request that this cuts short."""

    async def shutdown(self, sockets: list[socket.socket] | None = None) -> None:
        """Stop, in silence."""
        logging.getLogger("uvicorn.error").setLevel(logging.CRITICAL)
        await super().shutdown(sockets)


def serve(place: Path, *, port: int, browser: bool, ready: Callable[[str, int, str], None]) -> None:
    """Serve the pages of a survey, or of a folder of surveys, until interrupted.

    Parameters
    ----------
    place : Path
        A survey folder, or one in which surveys lie or will be made.
    port : int
        Port of this machine; 0 takes a free one.
    browser : bool
        Whether to open the address in the person's browser.
    ready : callable
        Hears address, port and token as soon as the pages answer.

    Raises
    ------
    InputError
        For a port that is taken, or a place that is no folder.
    """
    if not place.is_dir():
        rule = "The pages open a folder." if place.exists() else "There is no such folder."
        remedy = "Give a survey's folder, or one in which surveys lie or will be made."
        raise InputError(rule, value=str(place), remedy=remedy)
    bound = _bind(port)
    keys = Keys(bound.getsockname()[1])
    session = Session(place, keys)
    app = create_app(session)
    config = uvicorn.Config(
        app, log_level="warning", timeout_graceful_shutdown=1, lifespan="off", ws="none"
    )
    server = Server(config)

    def tell() -> None:
        while not server.started and not server.should_exit:
            threading.Event().wait(0.01)
        if server.started:
            ready(keys.address, keys.port, keys.token)
            if browser:
                webbrowser.open(keys.address)
            app.api.make()
            sweep()

    threading.Thread(target=tell, daemon=True).start()
    try:
        server.run(sockets=[bound])
    finally:
        session.close()
        bound.close()


def _bind(port: int) -> socket.socket:
    """Return a socket that holds the port."""
    # With the protocol named, answers go out at once (TCP_NODELAY); else each waits 40 ms for more.
    bound = socket.socket(socket.AF_INET, socket.SOCK_STREAM, socket.IPPROTO_TCP)
    bound.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
    try:
        bound.bind((HOST, port))
    except OSError as error:
        bound.close()
        raise InputError(
            "This port can't be had.",
            value=port,
            remedy="Choose another with --port, or leave it out for a free one.",
        ) from error
    return bound
