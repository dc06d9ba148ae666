"""Scripts, styles and pictures of the pages: read and packed once, then kept in memory."""

import gzip
import hashlib
import re
from dataclasses import dataclass
from functools import cache
from importlib.resources import files
from pathlib import Path

from starlette.datastructures import Headers
from starlette.responses import Response
from starlette.types import Receive, Scope, Send

#: Kinds of files that are served, by their name's end.
KINDS = {
    ".js": "text/javascript; charset=utf-8",
    ".css": "text/css; charset=utf-8",
    ".svg": "image/svg+xml",
    ".woff2": "font/woff2",
}
#: Below this a file travels as it is [bytes].
SMALL = 500


def root() -> Path:
    """Return the folder that holds them."""
    return Path(str(files("lodewalk.web") / "static"))


@dataclass(frozen=True)
class Kept:
    """A file as it travels, with its mark, which changes with the content."""

    plain: bytes
    packed: bytes | None
    mark: str
    kind: str


@cache
def _kept(path: Path, _stamp: tuple[int, int]) -> Kept:
    """Return a file as it travels; read anew when size or time change."""
    plain = path.read_bytes()
    packed = gzip.compress(plain, 6, mtime=0) if len(plain) > SMALL else None
    mark = f'"{hashlib.sha256(plain).hexdigest()[:24]}"'
    return Kept(plain, packed, mark, KINDS[path.suffix])


class StaticFiles:
    """Serves the files of the pages; anything else is not found."""

    def __init__(self, place: Path) -> None:
        self._known = {
            path.relative_to(place).as_posix(): path
            for path in place.rglob("*")
            if path.suffix in KINDS
        }

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Answer with a file, or with the word that the browser's copy still holds."""
        name = scope["path"].removeprefix(scope.get("root_path", "")).lstrip("/")
        await self._answer(name, scope)(scope, receive, send)

    def _answer(self, name: str, scope: Scope) -> Response:
        """Return the answer to a request."""
        path = self._known.get(name)
        if path is None or not path.is_file():
            return Response("There is no such file.", 404, media_type="text/plain")
        if scope["method"] not in ("GET", "HEAD"):
            return Response("Files are only read.", 405, media_type="text/plain")
        status = path.stat()
        kept = _kept(path, (status.st_size, status.st_mtime_ns))
        asked = Headers(scope=scope)
        headers = {"etag": kept.mark, "vary": "accept-encoding"}
        if asked.get("if-none-match") == kept.mark:
            return Response(status_code=304, headers=headers)
        if kept.packed is not None and "gzip" in asked.get("accept-encoding", ""):
            headers["content-encoding"] = "gzip"
            return Response(kept.packed, headers=headers, media_type=kept.kind)
        return Response(kept.plain, headers=headers, media_type=kept.kind)


@cache
def modules_of(script: str) -> tuple[str, ...]:
    """Return the scripts that one brings with it, itself included, so that none waits for another.

    Parameters
    ----------
    script : str
        Name below the folder of static files, such as ``rooms/days.js``.
    """
    found: dict[str, None] = {}
    waiting = [root() / script]
    while waiting:
        path = waiting.pop(0)
        name = path.relative_to(root()).as_posix() if path.is_file() else None
        if name is None or name in found:
            continue
        found[name] = None
        text = path.read_text(encoding="utf-8")
        near = re.findall(r'^(?:import|export) [^;]*?"(\.\.?/[^"]+\.js)"', text, re.M | re.S)
        waiting += [Path(str((path.parent / item).resolve())) for item in near]
    return tuple(found)
