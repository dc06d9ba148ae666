"""The application: guarded routes under ``/api``, the rooms, and what they are drawn with.

What the first page asks for is there at once. The other rooms' routes bring heavy libraries with
them; they are added when one of them is asked for, or once the first page stands.
"""

import asyncio
import threading
from importlib import import_module

from fastapi import APIRouter, FastAPI
from fastapi.routing import APIRoute
from starlette.middleware import Middleware
from starlette.middleware.gzip import GZipMiddleware
from starlette.routing import Match
from starlette.types import ASGIApp, Receive, Scope, Send

from lodewalk import __version__
from lodewalk.web import frame
from lodewalk.web.guard import Guard
from lodewalk.web.problems import ANSWERS, add_problems
from lodewalk.web.session import Session
from lodewalk.web.static_files import StaticFiles, root

#: Modules of routes: those that the first page asks for, and the other rooms'.
FIRST = ("surveys", "runs", "settings", "decisions", "words", "days", "curves")
LATER = ("site", "plan", "raw", "rocks", "handover")


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
    app.mount("/static", StaticFiles(root()))
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
    """The routes that an app gets later; adding them twice does nothing."""

    def __init__(self, app: FastAPI) -> None:
        self._app = app
        self._guard = threading.Lock()
        self.there = False

    def add(self) -> None:
        """Add them; takes a second or two the first time."""
        with self._guard:
            if not self.there:
                self._app.include_router(_api(LATER))
                self.there = True

    def wanted(self, scope: Scope) -> bool:
        """Tell whether a request may be for one of them."""
        if self.there or scope["type"] != "http" or not scope["path"].startswith("/api/"):
            return False
        routes = [route for route in self._app.routes if isinstance(route, APIRoute)]
        return all(route.matches(scope)[0] is not Match.FULL for route in routes)


class Completed:
    """Adds the later routes before a request that none of the first ones takes."""

    def __init__(self, app: ASGIApp) -> None:
        self.app = app

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Pass a request on once there is what it may be for."""
        rest = scope["app"].state.rest if scope["type"] == "http" else None
        if rest is not None and rest.wanted(scope):
            await asyncio.to_thread(rest.add)
        await self.app(scope, receive, send)
