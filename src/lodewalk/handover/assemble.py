"""Records in, content of the report out: tables, words and figures."""

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

import numpy as np

from lodewalk.figures.passages import drawable_lines
from lodewalk.figures.style import number
from lodewalk.handover.content import (
    Day,
    Fact,
    Job,
    LineRow,
    Provenance,
    ReportContent,
    ReportFigure,
    Undrawn,
)
from lodewalk.handover.errors import (
    budget_terms,
    error_figures,
    map_error_facts,
    map_error_words,
    position_words,
)
from lodewalk.handover.evening import evening_of
from lodewalk.handover.heading import heading_part
from lodewalk.handover.pictures import (
    base_figures,
    chosen_lines,
    line_figures,
    map_figures,
    target_figures,
)
from lodewalk.handover.rock_maps import rock_maps
from lodewalk.handover.rocks import rock_figures, rocks_of
from lodewalk.handover.rocks_content import RockRecords
from lodewalk.handover.tables import (
    correction_sizes,
    correction_words,
    datum_facts,
    days_of,
    dropped_reasons,
    finding_rows,
    level_facts,
    level_words,
    line_rows,
    site_facts,
    stages,
    total_km,
    used_rows,
)
from lodewalk.records.document import Document
from lodewalk.records.grid import Grid
from lodewalk.records.products import BaseRecord, Findings, Lines, Minutes, Readings


@dataclass(frozen=True)
class Records:
    """The records that a report is made of; one that has not been made yet is None.

    `check` holds the verdicts: ``days``, each with ``date``, ``zone``, ``verdict``, ``reasons``,
    ``base`` (``range_nT``, ``worst_chord_nT``, ``activity``, ``intervals``) and ``lines``
    (``line``, ``verdict``, ``reasons``, and ``instrument`` and ``start_utc`` to tell the passages
    of a line apart), and ``missed`` with the target sought. `targets` is the radius of the smallest
    target found, `grid_notes` how the grid was made, `heading` the heading errors. `error_grid` is
    the standard error of `grid` and `error_notes` how it was found, `budget` the parts of the
    error. `minutes` holds the predicted error and verdict of each minute; `base_levels`,
    `rover_levels` and `joined` hold the networks of bases and of rovers and the older surveys that
    were joined. `rocks` is the interpretation.
    """

    readings: Readings | None = None
    lines: Lines | None = None
    findings: Findings | None = None
    base: BaseRecord | None = None
    grid: Grid | None = None
    datum: Document | None = None
    site: Document | None = None
    check: Document | None = None
    minutes: Minutes | None = None
    ticks: tuple[Mapping[str, Any], ...] = ()
    targets: Grid | None = None
    grid_notes: Document | None = None
    heading: Document | None = None
    base_levels: Document | None = None
    rover_levels: Document | None = None
    joined: Document | None = None
    error_grid: Grid | None = None
    error_notes: Document | None = None
    budget: Document | None = None
    rocks: RockRecords | None = None


def assemble(
    job: Job,
    records: Records,
    *,
    provenance: Provenance,
    most_lines: int = 6,
    most_findings: int = 200,
    with_figures: bool = True,
) -> ReportContent:
    """Make the content of the report from the records.

    Parameters
    ----------
    job : Job
        Name, purpose, reference system and time zone of the survey.
    records : Records
        What has been made so far; the report says what is missing.
    provenance : Provenance
        Raw files, steps, versions and settings.
    most_lines : int
        Number of lines that get a figure of their own: those not kept first, then the noisiest.
    most_findings : int
        Number of findings printed, the gravest first; their total is always given.
    with_figures : bool
        Whether to draw the figures.

    Returns
    -------
    ReportContent

    Examples
    --------
    >>> job = Job("Hill", "EPSG:32722", "WGS 84 / UTM zone 22S")
    >>> content = assemble(job, Records(), provenance=Provenance())
    >>> content.summary[0].value
    '0 of 0'
    """
    readings = records.readings if records.readings is not None else Readings.empty()
    lines = records.lines if records.lines is not None else Lines.empty()
    findings = records.findings if records.findings is not None else Findings.empty()
    days = days_of(records.check, lines=lines, base=records.base)
    rows = line_rows(lines, records.check)
    some = bool(used_rows(readings).any())
    heading = heading_part(records.heading, with_figures=with_figures)
    pictures = _figures(job, records, days, rows, most_lines) if with_figures else []
    return ReportContent(
        job=job,
        provenance=provenance,
        summary=(
            *_summary(readings, rows, days),
            *map_error_facts(records.error_grid, readings),
        ),
        site=site_facts(records.site) if records.site else (),
        datum=datum_facts(records.datum) if records.datum else (),
        levels=level_facts(records.base_levels, records.rover_levels, records.joined),
        level_text=level_words(records.datum, records.site),
        days=days,
        findings=finding_rows(findings, most=most_findings),
        findings_total=len(findings),
        corrections=correction_sizes(readings) if some else (),
        stages=stages(readings) if some else (),
        heading_text=heading.text,
        heading=heading.rows,
        corrections_text=correction_words(findings),
        dropped=dropped_reasons(readings) if len(readings) else (),
        errors=budget_terms(readings, records.budget) if some else (),
        errors_text=(*position_words(records.budget), *map_error_words(records.error_notes)),
        lines=rows,
        evening=evening_of(records.check, records.ticks),
        rocks=rocks_of(records.rocks),
        figures=(
            *(item for item in pictures if isinstance(item, ReportFigure)),
            *heading.figures,
        ),
        undrawn=tuple(item for item in pictures if isinstance(item, Undrawn)),
    )


def _summary(
    readings: Readings, rows: tuple[LineRow, ...], days: tuple[Day, ...]
) -> tuple[Fact, ...]:
    """Return the few numbers that come first."""
    used = used_rows(readings)
    facts = [
        Fact("Readings used", f"{int(used.sum())} of {len(readings)}"),
        Fact("Lines", f"{len({row.line for row in rows})}, {number(total_km(rows), 1)} km walked"),
        Fact("Days", str(len(days))),
    ]
    if used.any():
        value, sd = (readings.floats(name)[used] for name in ("anomaly_nT", "sd_nT"))
        low, high = number(float(value.min()), 0), number(float(value.max()), 0)
        facts.append(Fact("Anomaly", f"{low} to {high} nT"))
        if np.isfinite(sd).any():
            half = number(1.645 * float(np.nanmedian(sd)), 1)
            facts.append(Fact("Typical error", f"± {half} nT", "90 % interval, median reading"))
    return tuple(facts)


def _figures(
    job: Job,
    records: Records,
    days: tuple[Day, ...],
    rows: tuple[LineRow, ...],
    most_lines: int,
) -> list[ReportFigure | Undrawn]:
    """Draw whatever there is to draw."""
    figures: list[ReportFigure | Undrawn] = []
    lines = records.lines if records.lines is not None else Lines.empty()
    datum = records.datum.values.get("datum_nT") if records.datum else None
    declination = records.site.values.get("declination_deg") if records.site else None
    if records.readings is not None:
        figures += map_figures(
            job,
            readings=records.readings,
            lines=lines,
            grid=records.grid,
            notes=records.grid_notes.values if records.grid_notes else {},
            declination_deg=declination,
        )
        figures += error_figures(
            job,
            readings=records.readings,
            budget=records.budget,
            grid=records.grid,
            error=records.error_grid,
            height_m=records.grid_notes["height_m"] if records.grid_notes else 0.0,
            declination_deg=declination,
        )
        figures += target_figures(
            job,
            readings=records.readings,
            grid=records.targets,
            target=(records.check.values.get("missed") or {}) if records.check else {},
            declination_deg=declination,
        )
        figures += line_figures(
            records.readings, _lines_to_draw(records.readings, rows, most_lines)
        )
    figures += rock_maps(
        job,
        records.rocks,
        readings=records.readings,
        grid=records.grid,
        declination_deg=declination,
    )
    figures += rock_figures(records.rocks)
    if records.base is not None or (records.check is not None and days):
        figures += base_figures(
            job,
            days,
            base=records.base if records.base is not None else BaseRecord.empty(),
            lines=lines,
            findings=records.findings if records.findings is not None else Findings.empty(),
            minutes=records.minutes,
            check=records.check,
            datum_nT=datum,
        )
    return figures


def _lines_to_draw(readings: Readings, rows: tuple[LineRow, ...], most: int) -> list[str]:
    """Return the lines that get a figure of their own, out of those that can be drawn."""
    drawable = set(drawable_lines(readings))
    return chosen_lines([row for row in rows if row.line in drawable], most=most)
