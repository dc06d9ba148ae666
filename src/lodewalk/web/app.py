"""The application: guarded routes under ``/api``, the rooms, and what they are drawn with.

The start page's routes are there at once. Those of the evening's room bring the tables' library
with them: they are added while the browser fetches the frame, which lets the demo's page stand
half a second sooner than when all are there at first (2.9 against 3.4 s). Those of the other rooms
are added by the first request for one of them.
"""

import asyncio
import threading
from importlib import import_module

from fastapi import APIRouter, FastAPI
from fastapi.routing import APIRoute
from fastapi.staticfiles import StaticFiles
from starlette.middleware import Middleware
from starlette.middleware.gzip import GZipMiddleware
from starlette.routing import Match
from starlette.types import ASGIApp, Receive, Scope, Send

from lodewalk import __version__
from lodewalk.web import frame
from lodewalk.web.guard import Guard
from lodewalk.web.problems import ANSWERS, add_problems
from lodewalk.web.session import Session

#: Modules of routes: those of the start page, of the evening's room, and of the others.
FIRST = ("surveys", "words")
LATER = (
    ("runs", "guide", "decisions", "days", "curves", "raw"),
    ("settings", "site", "plan", "rocks", "handover"),
)


def create_app(session: Session) -> FastAPI:
    """Return the application that serves one session."""
    app = FastAPI(
        title="lodewalk",
        version=__version__,
        summary="Local pages of one survey: every action of a page goes through these routes.",
        openapi_url="/api/openapi.json",
        docs_url=None,  # the usual pages of this description fetch code from elsewhere
        redoc_url=None,
        generate_unique_id_function=_name,
        middleware=[
            Middleware(Guard, keys=session.keys),
            Middleware(GZipMiddleware, minimum_size=2000, compresslevel=4),
            Middleware(Completed),
        ],
    )
    app.state.session = session
    app.state.rest = Rest(app)
    add_problems(app)
    app.include_router(_api(FIRST))
    app.include_router(frame.router)
    app.mount("/static", StaticFiles(directory=frame.STATIC))
    return app


def _api(names: tuple[str, ...]) -> APIRouter:
    """Return the routes of these modules under ``/api``."""
    api = APIRouter(prefix="/api", responses=ANSWERS)
    for name in names:
        api.include_router(import_module(f"lodewalk.web.routes.{name}").router)
    return api


def _name(route: APIRoute) -> str:
    """Return the name of an operation: that of its function."""
    return route.name


class Rest:
    """The routes that an app gets later, a group at a time."""

    def __init__(self, app: FastAPI) -> None:
        self._app = app
        self._guard = threading.Lock()
        self._groups = list(LATER)

    def add(self) -> None:
        """Add the next group; nothing happens when all are there."""
        with self._guard:
            if self._groups:
                self._app.include_router(_api(self._groups[0]))
                del self._groups[0]

    def wanted(self, scope: Scope) -> bool:
        """Tell whether a request may be for a route that isn't there yet."""
        path = scope["path"]
        if not self._groups or not path.startswith("/api/"):
            return False
        if path == self._app.openapi_url:
            return True
        return all(route.matches(scope)[0] is not Match.FULL for route in self._app.routes)


class Completed:
    """Adds later routes before a request that none of those there takes."""

    def __init__(self, app: ASGIApp) -> None:
        self.app = app

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Pass a request on once there is what it may be for."""
        if scope["type"] == "http":
            rest: Rest = scope["app"].state.rest
            while rest.wanted(scope):
                await asyncio.to_thread(rest.add)
        await self.app(scope, receive, send)
