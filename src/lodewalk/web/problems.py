"""Errors become answers: one shape everywhere, with the words of the command line."""

from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import asdict, dataclass

from starlette.exceptions import HTTPException
from starlette.requests import Request
from starlette.responses import JSONResponse

from lodewalk.errors import (
    CancelledError,
    FolderError,
    InputError,
    LockedError,
    LodewalkError,
)


@dataclass(frozen=True)
class Problem:
    """What is wrong: the whole sentence, and its parts where there are any."""

    text: str
    rule: str
    file: str | None = None
    line: int | None = None
    value: str | None = None
    remedy: str | None = None
    field: str | None = None


@dataclass(frozen=True)
class ProblemAnswer:
    """The answer to whatever can't be done."""

    problem: Problem


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


def answer(status: int, problem: Problem) -> JSONResponse:
    """Return the answer that tells a problem."""
    return JSONResponse({"problem": asdict(problem)}, status_code=status)


async def no_such(_: Request, error: Exception) -> JSONResponse:
    """Answer a request that no route takes."""
    assert isinstance(error, HTTPException)
    words = {404: "There is no such page.", 405: "This address takes no such request."}
    text = words.get(error.status_code, str(error.detail))
    return answer(error.status_code, Problem(text=text, rule=text))
