"""The application: guarded routes under ``/api``, the rooms, and what they are drawn with."""

from importlib.resources import files
from pathlib import Path

from fastapi import APIRouter, FastAPI
from fastapi.routing import APIRoute
from fastapi.staticfiles import StaticFiles
from starlette.middleware import Middleware
from starlette.middleware.gzip import GZipMiddleware

from lodewalk import __version__
from lodewalk.web import frame
from lodewalk.web.guard import Guard
from lodewalk.web.problems import ANSWERS, add_problems
from lodewalk.web.routes import (
    curves,
    days,
    decisions,
    handover,
    plan,
    raw,
    rocks,
    runs,
    settings,
    site,
    surveys,
    words,
)
from lodewalk.web.session import Session

ROUTERS = tuple(
    part.router
    for part in (
        surveys,
        runs,
        settings,
        decisions,
        words,
        site,
        plan,
        raw,
        days,
        curves,
        rocks,
        handover,
    )
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
        ],
    )
    app.state.session = session
    add_problems(app)
    api = APIRouter(prefix="/api", responses=ANSWERS)
    for router in ROUTERS:
        api.include_router(router)
    app.include_router(api)
    app.include_router(frame.router)
    app.mount("/static", StaticFiles(directory=Path(str(files("lodewalk.web") / "static"))))
    return app


def _name(route: APIRoute) -> str:
    """Return the name of an operation: that of its function."""
    return route.name
