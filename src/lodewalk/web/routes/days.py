"""The evening's matters: verdicts, findings and clocks as last checked."""

from typing import Annotated, Any

from fastapi import Path, Query
from fastapi.responses import FileResponse

from lodewalk.services.check import CheckResult, checked
from lodewalk.services.evening.day import DayResult, day_result
from lodewalk.services.evening.recorded import RecordedSpan, SpanTaken, as_recorded, taken_by
from lodewalk.services.evening.route import rewalk_file
from lodewalk.web.depends import Survey
from lodewalk.web.described import router_of

router = router_of("days")

Time = Annotated[str, Query(max_length=40)]
GPX: dict[int | str, dict[str, Any]] = {
    200: {
        "content": {"application/gpx+xml": {"schema": {"type": "string"}}},
        "description": "The route in the order of walking, GPX 1.1.",
    }
}


@router.get("/check")
def show_check(folder: Survey) -> CheckResult:
    """Return the verdicts, findings and clocks as last checked; nothing is run."""
    return checked(folder)


@router.get("/days/{day}")
def show_day(day: Annotated[str, Path(max_length=20)], folder: Survey) -> DayResult:
    """Return what the evening shows of a day: words, bands, findings with their proposals."""
    return day_result(folder, day)


@router.get("/rewalk.gpx", response_class=FileResponse, responses=GPX)
def download_route(folder: Survey) -> FileResponse:
    """Return what to walk again as a route for a handheld."""
    name = f"{folder.path.name}-walk-again.gpx"
    return FileResponse(rewalk_file(folder), media_type="application/gpx+xml", filename=name)


@router.get("/recorded")
def show_recorded(
    folder: Survey,
    instrument: Annotated[str, Query(max_length=200)],
    start_utc: Time,
    end_utc: Time,
) -> RecordedSpan:
    """Return a span of UTC as an instrument's clock showed it: so decisions name it."""
    return as_recorded(folder, instrument=instrument, start_utc=start_utc, end_utc=end_utc)


@router.get("/recorded/taken")
def show_taken(
    folder: Survey,
    kind: Annotated[str, Query(max_length=20)],
    instrument: Annotated[str, Query(max_length=200)],
    start: Time | None = None,
    end: Time | None = None,
    whole: bool = False,
) -> SpanTaken:
    """Return how many readings a decision on a span as recorded would take."""
    return taken_by(folder, kind=kind, instrument=instrument, start=start, end=end, whole=whole)
