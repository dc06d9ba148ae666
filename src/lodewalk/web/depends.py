"""What routes are given: the session, and the survey that the request is meant for."""

from dataclasses import asdict
from typing import Annotated, Any, cast
from urllib.parse import unquote

from fastapi import Depends, Header, Path, Request

from lodewalk.web.session import Session


def session_of(request: Request) -> Session:
    """Return the session that an app serves."""
    return cast("Session", request.app.state.session)


def survey_of(
    request: Request,
    x_survey: Annotated[
        str | None,
        Header(
            max_length=1000,
            description=(
                "Name of the survey's folder that the request is meant for, with all but letters "
                "and digits percent-encoded; refused with 409 where another is open. Left out: "
                "whichever is open."
            ),
        ),
    ] = None,
) -> Any:
    """Return the survey that is open; refuse a request of a page that belongs to another."""
    wanted = None if x_survey is None else unquote(x_survey)
    return session_of(request).survey(wanted)


Serving = Annotated[Session, Depends(session_of)]
Survey = Annotated[Any, Depends(survey_of)]
#: A name in the path of a request: of a line, a grid, a pick, a reading or a file.
Name = Annotated[str, Path(max_length=200)]


def plain(result: Any) -> dict[str, Any]:
    """Return a result of a service as JSON has it."""
    found: dict[str, Any] = asdict(result)
    return found
