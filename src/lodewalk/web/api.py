"""The API: routes of all rooms under ``/api``, made while the browser fetches the frame.

The library of routes, the models of their answers and the tables' library take longer to load than
everything else that the pages need at their start. So the frame is served without them; they are
made in the background, those of the start page and of the evening first, and the others a module
at a time by a request that none of those there takes.
"""

import asyncio
import gc
import sys
import threading
from collections.abc import Iterator
from contextlib import contextmanager
from importlib import import_module
from typing import TYPE_CHECKING

from starlette.routing import Match
from starlette.types import Receive, Scope, Send

from lodewalk.web.problems import answer, problem_of_fault
from lodewalk.web.session import Session

if TYPE_CHECKING:
    from fastapi import FastAPI

#: Modules of routes: those that the start page and the evening's room ask for first, and others.
FIRST = ("surveys", "runs", "guide", "decisions", "days", "curves")
LATER = ("raw", "map", "words", "settings", "site", "plan", "rocks", "handover")
#: Longest turn of a thread while the API is being made [s]; 5 ms is usual.
SWITCH_S = 0.0005


class Api:
    """The API of a session, made when it is first wanted, or before.

    Parameters
    ----------
    session : Session
        The session that it serves.
    """

    def __init__(self, session: Session) -> None:
        self._session = session
        self._guard = threading.Lock()
        self._app: FastAPI | None = None
        self._later = list(LATER)

    def make(self) -> "FastAPI":
        """Return the app with the first routes; it is made once, whoever asks first."""
        with self._guard:
            if self._app is None:
                with _at_start():
                    self._app = _first(self._session)
            return self._app

    def reach(self, scope: Scope) -> None:
        """Add routes until one takes this request, or all are there."""
        app = self.make()
        with self._guard:
            while self._lacks(app, scope):
                _add(app, self._later[0])
                del self._later[0]  # only now: whoever sees none left may rely on all

    def _lacks(self, app: "FastAPI", scope: Scope) -> bool:
        """Tell whether a request may be for a route that isn't there yet."""
        if not self._later or scope["type"] != "http":
            return False
        if scope["path"] == app.openapi_url:
            return True
        return all(route.matches(scope)[0] is not Match.FULL for route in app.routes)

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Answer a request once there is what it may be for."""
        try:
            app = await self._ready(scope)
        except Exception as error:
            await answer(500, problem_of_fault(error))(scope, receive, send)
            raise
        await app(scope, receive, send)

    async def _ready(self, scope: Scope) -> "FastAPI":
        """Return the app with whatever route takes this request."""
        app = self._app
        if app is None:
            app = await asyncio.to_thread(self.make)
        if self._lacks(app, scope):
            await asyncio.to_thread(self.reach, scope)
        return app


@contextmanager
def _at_start() -> Iterator[None]:
    """Let the frame's requests come between, and look for no garbage, while modules load."""
    usual = sys.getswitchinterval()
    sys.setswitchinterval(SWITCH_S)
    gc.disable()
    try:
        yield
    finally:
        if not gc.get_freeze_count():
            gc.freeze()  # what was loaded stays; to look through it takes 40 ms of the first answer
        gc.enable()
        sys.setswitchinterval(usual)


def _first(session: Session) -> "FastAPI":
    """Return the app with the first routes."""
    from lodewalk.web.described import described

    app = described(session)
    for name in FIRST:
        _add(app, name)
    return app


def _add(app: "FastAPI", name: str) -> None:
    """Add the routes of a module."""
    # To include the router would build each of its routes a second time.
    app.router.routes += import_module(f"lodewalk.web.routes.{name}").router.routes
