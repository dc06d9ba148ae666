"""Tracing lineaments: bringing them up to date and telling them."""

from collections.abc import Callable
from dataclasses import dataclass

import polars as pl

from lodewalk.services.rocks.rows import filled, frame_of, notes_of, plain
from lodewalk.steps.context import Reporter
from lodewalk.survey.folder import Folder
from lodewalk.survey.run import run


@dataclass(frozen=True)
class Lineament:
    """One lineament; a spot has no strike and no lines; evidence of 0.999 is that or over.

    `refused` ones a person took out of the interpretation.
    """

    lineament: str
    kind: str
    group: str | None
    easting_m: float
    northing_m: float
    strike_deg: float | None
    strike_sd_deg: float | None
    length_m: float
    evidence: float
    lines: int | None
    refused: bool = False


@dataclass(frozen=True)
class Fault:
    """A place where one lineament ends and another goes on, offset across the strike."""

    first: str
    second: str
    easting_m: float
    northing_m: float
    offset_m: float
    sd_m: float


@dataclass(frozen=True)
class TraceResult:
    """The lineaments, the surest first, the faults that offset them, and why there are none."""

    lineaments: list[Lineament]
    faults: list[Fault]
    problem: str | None


def trace(
    folder: Folder,
    *,
    workers: int = 2,
    reporter: Reporter | None = None,
    cancelled: Callable[[], bool] = lambda: False,
) -> TraceResult:
    """Bring the lineaments up to date and return them."""
    run(folder, to="picks", workers=workers, reporter=reporter, cancelled=cancelled)
    refused = notes_of(folder, "pick_notes").get("refused_lineaments") or []
    marked = frame_of(folder, "lineaments").with_columns(
        refused=pl.col("lineament").is_in(list(refused))
    )
    rows = marked.iter_rows(named=True)
    faults = (
        frame_of(folder, "faults")
        .filter(*(~pl.col(end).is_in(list(refused)) for end in ("first", "second")))
        .iter_rows(named=True)
    )
    problem = plain(notes_of(folder, "trace_notes").get("problem"))
    return TraceResult(
        [filled(Lineament, row) for row in rows], [filled(Fault, row) for row in faults], problem
    )
