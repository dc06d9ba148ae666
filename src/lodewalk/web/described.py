"""The API's description and its errors: what every route has in common."""

from typing import Any

from fastapi import APIRouter, FastAPI, Request
from fastapi.exceptions import RequestValidationError
from fastapi.responses import JSONResponse
from fastapi.routing import APIRoute
from pydantic import TypeAdapter
from starlette.exceptions import HTTPException

from lodewalk import __version__
from lodewalk.errors import LodewalkError
from lodewalk.web.guard import TooLargeError
from lodewalk.web.problems import (
    STATUS,
    Problem,
    ProblemAnswer,
    answer,
    no_such,
    problem_of,
    problem_of_fault,
)
from lodewalk.web.session import Session

#: The answer to whatever can't be done. Its schema is added to the description once: given as a
#: model, it would be built anew for each route and status, which is most of the time of a start.
PROBLEM = {"$ref": "#/components/schemas/ProblemAnswer"}
#: Declared on every route, so that the description of the API names them.
ANSWERS: dict[int | str, dict[str, Any]] = {
    status: {"description": text, "content": {"application/json": {"schema": PROBLEM}}}
    for status, text in {
        400: "Something in data, settings or request breaks a rule.",
        401: "The request has no key to these pages.",
        403: "The request comes from elsewhere.",
        404: "There is no such thing.",
        405: "There is no such way to ask for it.",
        409: "The survey is in use, or none is open.",
        413: "The request is too large.",
        422: "The request has not the form wanted.",
        500: "A fault of lodewalk itself; the terminal shows where.",
    }.items()
}


class Described(FastAPI):
    """An application whose description holds the shape of problems."""

    def openapi(self) -> dict[str, Any]:
        """Return the description of the API."""
        found = super().openapi()
        problem = TypeAdapter(ProblemAnswer).json_schema(
            ref_template="#/components/schemas/{model}"
        )
        schemas = found.setdefault("components", {}).setdefault("schemas", {})
        schemas.update(**problem.pop("$defs"), ProblemAnswer=problem)
        return found


def described(session: Session) -> Described:
    """Return the application of the API, without routes as yet."""
    app = Described(
        title="lodewalk",
        version=__version__,
        summary="Local pages of one survey: every action of a page goes through these routes.",
        openapi_url="/api/openapi.json",
        docs_url=None,  # the usual pages of this description fetch code from elsewhere
        redoc_url=None,
    )
    app.state.session = session
    _add_problems(app)
    return app


def router_of(matter: str, *, below: str = "") -> APIRouter:
    """Return a router of the API for routes of one matter.

    Parameters
    ----------
    matter : str
        What the routes are about: their tag in the description.
    below : str
        Path below ``/api`` that all of them begin with.
    """
    return APIRouter(
        prefix=f"/api{below}",
        tags=[matter],
        responses=ANSWERS,
        generate_unique_id_function=_name,
    )


def _name(route: APIRoute) -> str:
    """Return the name of an operation: that of its function."""
    return route.name


def _add_problems(app: FastAPI) -> None:
    """Let an app answer every error in the one shape."""
    app.add_exception_handler(HTTPException, no_such)

    @app.exception_handler(LodewalkError)
    async def own(_: Request, error: LodewalkError) -> JSONResponse:
        status = next(number for kind, number in STATUS if isinstance(error, kind))
        return answer(status, problem_of(error))

    @app.exception_handler(OSError)
    async def system(_: Request, error: OSError) -> JSONResponse:
        name = f" ({error.filename})" if error.filename else ""
        text = f"{error.strerror or error}{name}."
        return answer(400, Problem(text=text, rule=text))

    @app.exception_handler(RequestValidationError)
    async def form(_: Request, error: RequestValidationError) -> JSONResponse:
        first = error.errors()[0]
        place = ".".join(str(part) for part in first["loc"][1:])
        rule = f"{first['msg'].rstrip('.')}."
        text = f"{place}: {rule}" if place else rule
        return answer(422, Problem(text=text, rule=rule, field=place or None))

    @app.exception_handler(Exception)
    async def fault(_: Request, error: Exception) -> JSONResponse:
        return answer(500, problem_of_fault(error))  # it goes on to the server, which logs it

    @app.exception_handler(TooLargeError)
    async def large(_: Request, __: TooLargeError) -> JSONResponse:
        text = "The request is larger than may be."
        return answer(413, Problem(text=text, rule=text))
