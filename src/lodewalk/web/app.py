"""The application: a guard before the frame of the rooms, what they are drawn with, and the API."""

from starlette.applications import Starlette
from starlette.exceptions import HTTPException
from starlette.middleware.gzip import GZipMiddleware
from starlette.types import Receive, Scope, Send

from lodewalk.web import frame
from lodewalk.web.api import Api
from lodewalk.web.guard import Guard
from lodewalk.web.problems import no_such
from lodewalk.web.session import Session


class Pages:
    """The pages of one session.

    Parameters
    ----------
    session : Session
        The session that they serve.
    """

    def __init__(self, session: Session) -> None:
        self.api = Api(session)
        self._frame = Starlette(routes=frame.routes(), exception_handlers={HTTPException: no_such})
        self._frame.state.session = session
        guarded = GZipMiddleware(self._parted, minimum_size=2000, compresslevel=4)
        self._guarded = Guard(guarded, keys=session.keys)

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Answer a request, if it may be answered."""
        await self._guarded(scope, receive, send)

    async def _parted(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Pass a request on to the API or to the frame."""
        wanted = scope["type"] == "http" and scope["path"].startswith("/api/")
        await (self.api if wanted else self._frame)(scope, receive, send)


def create_app(session: Session) -> Pages:
    """Return the application that serves one session."""
    return Pages(session)
