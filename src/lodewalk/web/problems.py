"""Errors become answers: one shape everywhere, with the words of the command line."""

from collections.abc import Iterator
from contextlib import contextmanager
from typing import Any

from fastapi import FastAPI, Request
from fastapi.exceptions import RequestValidationError
from fastapi.responses import JSONResponse
from pydantic import BaseModel
from starlette.exceptions import HTTPException

from lodewalk.errors import (
    CancelledError,
    FolderError,
    InputError,
    LockedError,
    LodewalkError,
)
from lodewalk.web.guard import HEADERS, TooLargeError


class Problem(BaseModel):
    """What is wrong: the whole sentence, and its parts where there are any."""

    text: str
    rule: str
    file: str | None = None
    line: int | None = None
    value: str | None = None
    remedy: str | None = None
    field: str | None = None


class ProblemAnswer(BaseModel):
    """The answer to whatever can't be done."""

    problem: Problem


#: Declared on every route, so that the description of the API names them.
ANSWERS: dict[int | str, dict[str, Any]] = {
    status: {"model": ProblemAnswer, "description": text}
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


class NotFoundError(InputError):
    """What was asked for doesn't exist."""


class BusyError(LodewalkError):
    """A run is under way, or no survey is open."""


#: Status of each kind of error, the narrower first.
STATUS: tuple[tuple[type[Exception], int], ...] = (
    (NotFoundError, 404),
    (InputError, 400),
    (LockedError, 409),
    (BusyError, 409),
    (CancelledError, 409),
    (FolderError, 400),
    (LodewalkError, 400),
)


def problem_of(error: Exception) -> Problem:
    """Return what an error says, in parts."""
    if isinstance(error, InputError):
        value = None if error.value is None else str(error.value)[:200]
        return Problem(
            text=str(error),
            rule=error.rule,
            file=error.file,
            line=error.line,
            value=value,
            remedy=error.remedy or None,
            field=getattr(error, "field", None),
        )
    return Problem(text=str(error), rule=str(error), field=getattr(error, "field", None))


def problem_of_fault(error: Exception) -> Problem:
    """Return what is said of an error that nobody foresaw."""
    text = f"This went wrong inside lodewalk: {type(error).__name__}: {error}."
    return Problem(text=text, rule=text)


@contextmanager
def beside(field: str, *kinds: type[Exception]) -> Iterator[None]:
    """Let errors of these kinds be shown beside a field of the form that caused them."""
    try:
        yield
    except kinds as error:
        if getattr(error, "field", None) is None:
            error.field = field  # type: ignore[attr-defined]
        raise


def add_problems(app: FastAPI) -> None:
    """Let an app answer every error in the one shape."""

    def told(status: int, problem: Problem) -> JSONResponse:
        return JSONResponse({"problem": problem.model_dump()}, status_code=status)

    @app.exception_handler(LodewalkError)
    async def own(_: Request, error: LodewalkError) -> JSONResponse:
        status = next(number for kind, number in STATUS if isinstance(error, kind))
        return told(status, problem_of(error))

    @app.exception_handler(OSError)
    async def system(_: Request, error: OSError) -> JSONResponse:
        name = f" ({error.filename})" if error.filename else ""
        text = f"{error.strerror or error}{name}."
        return told(400, Problem(text=text, rule=text))

    @app.exception_handler(RequestValidationError)
    async def form(_: Request, error: RequestValidationError) -> JSONResponse:
        first = error.errors()[0]
        place = ".".join(str(part) for part in first["loc"][1:])
        rule = f"{first['msg'].rstrip('.')}."
        text = f"{place}: {rule}" if place else rule
        return told(422, Problem(text=text, rule=rule, field=place or None))

    @app.exception_handler(HTTPException)
    async def http(_: Request, error: HTTPException) -> JSONResponse:
        words = {404: "There is no such page.", 405: "This address takes no such request."}
        text = words.get(error.status_code, str(error.detail))
        return told(error.status_code, Problem(text=text, rule=text))

    @app.exception_handler(Exception)
    async def fault(_: Request, error: Exception) -> JSONResponse:
        # It goes on to the server, which logs it; the guard's headers don't reach this answer.
        answer = told(500, problem_of_fault(error))
        answer.headers.update(HEADERS)
        return answer

    @app.exception_handler(TooLargeError)
    async def large(_: Request, __: TooLargeError) -> JSONResponse:
        text = "The request is larger than may be."
        return told(413, Problem(text=text, rule=text))
