"""Records to be drawn, as columns of numbers: walks, profiles and base."""

from typing import Annotated

from fastapi import Query
from fastapi.responses import Response

from lodewalk.services.curves.base import base_curve
from lodewalk.services.curves.walks import profile, walks
from lodewalk.web.depends import Name, Survey
from lodewalk.web.described import router_of
from lodewalk.web.packing import PACKED, packed

router = router_of("curves")

Seconds = Annotated[float | None, Query(ge=-4e9, le=8e9)]


@router.get("/walks", response_class=Response, responses=PACKED)
def show_walks(folder: Survey) -> Response:
    """Return where all readings were taken, passage after passage."""
    return packed(walks(folder))


@router.get("/lines/{line:path}", response_class=Response, responses=PACKED)
def show_line(line: Name, folder: Survey) -> Response:
    """Return all readings of a line with each correction."""
    return packed(profile(folder, line))


@router.get("/base", response_class=Response, responses=PACKED)
def show_base(
    folder: Survey,
    instrument: Annotated[str | None, Query(max_length=200)] = None,
    start_s: Seconds = None,
    end_s: Seconds = None,
    bins: Annotated[int, Query(ge=10, le=10_000)] = 1500,
) -> Response:
    """Return the base record of a span of time, thinned so that every spike stays visible."""
    found = base_curve(folder, instrument=instrument, start_s=start_s, end_s=end_s, bins=bins)
    return packed(found)
