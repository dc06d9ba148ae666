"""The rooms: one frame for all, filled by the page's own script from the API."""

import re
from functools import cache
from hashlib import sha256
from importlib.resources import files
from mimetypes import guess_type
from pathlib import Path
from typing import cast
from urllib.parse import quote

from jinja2 import Environment, PackageLoader, StrictUndefined, select_autoescape
from starlette.exceptions import HTTPException
from starlette.requests import Request
from starlette.responses import HTMLResponse, RedirectResponse, Response
from starlette.routing import BaseRoute, Route

from lodewalk import __version__
from lodewalk.web.guard import ENTRY
from lodewalk.web.session import Session

#: Address, name and what is done in each room, in the order of the work.
ROOMS = (
    ("site", "Site", "Field, tuning, and whether the rocks' contrast will show."),
    ("plan", "Plan", "Area, lines, ties and waypoints, with effort and odds."),
    ("days", "Days", "Verdicts of days and lines, with base record, map and profile."),
    ("map", "Map", "Grids, transforms and standard error; every value with its story."),
    ("rocks", "Rocks", "Bodies under the picks: place, depth, dip and strike, and how sure."),
    ("handover", "Hand over", "Report, maps and data as a package that another person can check."),
    ("settings", "Settings", "Every setting with its unit, range and default."),
)

#: Scripts, styles and pictures of the pages.
STATIC = Path(str(files("lodewalk.web") / "static"))
#: What every room of a survey asks first, with what it asks besides: at any time, and once the
#: survey has been judged. It is asked before the scripts are there.
ASKED = ("survey", "run/pending", "guide")
ASKED_IN: dict[str, tuple[tuple[str, ...], tuple[str, ...]]] = {
    "site": (("place", "settings", "rocks/table"), ()),
    "plan": (("settings", "place", "plan/outlines", "plan"), ()),
    "days": (("decisions",), ("check", "walks", "base")),
    "map": (("grids",), ("walks", "base")),
    "rocks": (("rocks",), ("layers", "walks")),
    "handover": (("handover", "report", "package", "outputs", "cautions"), ()),
    "settings": (("settings",), ()),
}
#: Rooms with parts of another room, whose style sheet they share.
SHARED = {"plan": ("site",)}


@cache
def _templates() -> Environment:
    """Return the templates; whatever they fill in is escaped."""
    return Environment(
        loader=PackageLoader("lodewalk.web"),
        autoescape=select_autoescape(default=True),
        undefined=StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
    )


def _page(template: str, session: Session, **values: object) -> HTMLResponse:
    """Return a page; the rooms can't be entered while no survey is open."""
    room = str(values.get("room"))
    scripts = dict.fromkeys((*_modules("frame.js"), *_modules(f"rooms/{room}.js")))
    text = _templates().get_template(template)
    open_now = session.name
    asked, judged = ASKED_IN.get(room, ((), ()))
    return HTMLResponse(
        text.render(
            version=__version__,
            rooms=ROOMS,
            sheets=_sheets(room),
            scripts=scripts,
            asked=(*ASKED, *asked),
            asked_judged=judged,
            is_open=open_now is not None,
            # The start page belongs to none: it opens others. Without a key none is named.
            survey="" if open_now is None or room in ("", "start") else quote(open_now, safe=""),
            **values,
        )
    )


@cache
def _modules(script: str) -> tuple[str, ...]:
    """Return the scripts that one brings with it, itself included, so that none waits for another.

    Parameters
    ----------
    script : str
        Name below the folder of static files, such as ``rooms/days.js``.
    """
    found: dict[str, None] = {}
    waiting = [STATIC / script]
    while waiting:
        path = waiting.pop(0)
        name = path.relative_to(STATIC).as_posix() if path.is_file() else None
        if name is None or name in found:
            continue
        found[name] = None
        text = path.read_text(encoding="utf-8")
        near = re.findall(r'^(?:import|export) [^;]*?"(\.\.?/[^"]+\.js)"', text, re.M | re.S)
        waiting += [Path(str((path.parent / item).resolve())) for item in near]
    return tuple(found)


@cache
def _sheets(room: str) -> tuple[str, ...]:
    """Return the style sheets of a room: its own, if it has one, after one that it shares."""
    wanted = (*SHARED.get(room, ()), room)
    return tuple(name for name in wanted if (STATIC / "rooms" / f"{name}.css").is_file())


def routes() -> list[BaseRoute]:
    """Return the routes of the frame: the way in, the start page, the rooms and their files."""
    return [
        Route(ENTRY, _enter),
        Route("/", _first),
        Route("/start", _start),
        Route("/favicon.ico", _icon),
        Route("/static/{name:path}", _file),
        Route("/{room}", _room),
    ]


def _session(request: Request) -> Session:
    """Return the session that is served."""
    return cast("Session", request.app.state.session)


def _enter(request: Request) -> Response:
    """Swap the token of the printed address for a cookie, and go on to the pages."""
    session = _session(request)
    if not session.keys.opens(request.query_params.get("token", "")):
        answer = _page("refused.html.j2", session, room="", title="No key")
        answer.status_code = 403
        return answer
    entered = RedirectResponse("/days" if session.path else "/", status_code=303)
    entered.set_cookie(
        session.keys.cookie, session.keys.session, httponly=True, samesite="strict", path="/"
    )
    return entered


def _first(request: Request) -> Response:
    """Go to the survey that is open, or show the start page."""
    if _session(request).path is not None:
        return RedirectResponse("/days", status_code=303)
    return _start(request)


def _start(request: Request) -> Response:
    """Show the start page."""
    return _page("start.html.j2", _session(request), room="start", title="Start")


def _icon(_: Request) -> Response:
    """Return the mark of the pages; a browser asks for it at each step of its history."""
    kept = {"cache-control": "max-age=86400"}
    image = (STATIC / "mark.svg").read_bytes()
    return Response(image, media_type="image/svg+xml", headers=kept)


@cache
def _files() -> dict[str, tuple[bytes, str, str]]:
    """Return content, mark and type of each file of the pages by its name below `STATIC`.

    They are held, since the library's way, a thread to look at each file and one to read it, takes
    a quarter of a second for the fifty of a room while the API is being made.
    """
    found = {}
    for path in STATIC.rglob("*.*"):
        body = path.read_bytes()
        kind = guess_type(path.name)[0] or "application/octet-stream"
        found[path.relative_to(STATIC).as_posix()] = (body, f'"{sha256(body).hexdigest()}"', kind)
    return found


async def _file(request: Request) -> Response:
    """Return a script, style or picture; nothing of it where the browser has this very one."""
    name = request.path_params["name"]
    if name not in _files():
        raise HTTPException(404)
    body, mark, kind = _files()[name]
    known = request.headers.get("if-none-match", "").removeprefix("W/") == mark
    return Response(
        None if known else body, 304 if known else 200, headers={"etag": mark}, media_type=kind
    )


def _room(request: Request) -> Response:
    """Show a room; the start page where no survey is open."""
    session, room = _session(request), request.path_params["room"]
    found = [item for item in ROOMS if item[0] == room]
    if not found:
        answer = _page("lost.html.j2", session, room="", title="Not found")
        answer.status_code = 404
        return answer
    if session.path is None:
        return RedirectResponse("/start", status_code=303)
    _, title, about = found[0]
    return _page("room.html.j2", session, room=room, title=title, about=about)
