"""The rooms: one frame for all, filled by the page's own script from the API."""

import re
from functools import cache
from importlib.resources import files
from pathlib import Path
from typing import Annotated
from urllib.parse import quote

from fastapi import APIRouter, Query, Request
from fastapi.responses import HTMLResponse, RedirectResponse, Response
from jinja2 import Environment, PackageLoader, StrictUndefined, select_autoescape

from lodewalk import __version__
from lodewalk.web.guard import ENTRY
from lodewalk.web.session import Serving, Session

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
#: Rooms with parts of another room, whose style sheet they share.
SHARED = {"plan": ("site",)}

router = APIRouter(include_in_schema=False)


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
    return HTMLResponse(
        text.render(
            version=__version__,
            rooms=ROOMS,
            sheets=_sheets(room),
            scripts=scripts,
            is_open=open_now is not None,
            # The start page belongs to none: it opens others.
            survey="" if open_now is None or room == "start" else quote(open_now, safe=""),
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


@router.get(ENTRY)
def enter(request: Request, session: Serving, token: Annotated[str, Query()] = "") -> Response:
    """Swap the token of the printed address for a cookie, and go on to the pages."""
    del request
    if not session.keys.opens(token):
        answer = _page("refused.html.j2", session, room="", title="No key")
        answer.status_code = 403
        return answer
    entered = RedirectResponse("/", status_code=303)
    entered.set_cookie(
        session.keys.cookie, session.keys.session, httponly=True, samesite="strict", path="/"
    )
    return entered


@router.get("/")
def start(session: Serving) -> Response:
    """Go to the survey that is open, or show the start page."""
    if session.path is not None:
        return RedirectResponse("/days", status_code=303)
    return _page("start.html.j2", session, room="start", title="Start")


@router.get("/start")
def start_page(session: Serving) -> Response:
    """Show the start page."""
    return _page("start.html.j2", session, room="start", title="Start")


@router.get("/favicon.ico")
def icon() -> Response:
    """Return the mark of the pages; a browser asks for it at each step of its history."""
    image = (files("lodewalk.web") / "static" / "mark.svg").read_bytes()
    kept = {"cache-control": "max-age=86400"}
    return Response(image, media_type="image/svg+xml", headers=kept)


@router.get("/{room}")
def show_room(room: str, session: Serving) -> Response:
    """Show a room; the start page where no survey is open."""
    found = [item for item in ROOMS if item[0] == room]
    if not found:
        answer = _page("lost.html.j2", session, room="", title="Not found")
        answer.status_code = 404
        return answer
    if session.path is None:
        return RedirectResponse("/start", status_code=303)
    _, title, about = found[0]
    return _page("room.html.j2", session, room=room, title=title, about=about)
