"""Maps of the section on rocks: transforms of the grid, lineaments and their rose."""

from dataclasses import replace
from functools import partial
from typing import Any

from lodewalk.figures.lineament_map import draw_lineament_map
from lodewalk.figures.rose import draw_rose
from lodewalk.figures.style import number
from lodewalk.figures.transform_map import draw_transform_map
from lodewalk.handover.content import Job, ReportFigure, Undrawn
from lodewalk.handover.pictures import picture
from lodewalk.handover.rocks import TRANSFORMS
from lodewalk.handover.rocks_content import RockRecords
from lodewalk.records.grid import Grid
from lodewalk.records.products import Readings

#: Transforms that are drawn, and what each is good for; of the reductions the first that is there.
DRAWN = (
    (
        ("reduced_to_pole", "reduced_to_equator"),
        "The map as it would be under a field that is vertical, or level at the equator: highs, or "
        "lows, stand over upright bodies. Remanence and dip move them aside.",
    ),
    (
        ("total_gradient",),
        "High above the edges of bodies whatever their magnetisation, nearly so for thin ones; it "
        "tells where, not how deep.",
    ),
    (
        ("vertical_derivative",),
        "Sharpens shallow bodies and parts neighbours; it sharpens noise and stripes as well.",
    ),
)


def rock_maps(
    job: Job,
    records: RockRecords | None,
    *,
    readings: Readings | None,
    grid: Grid | None,
    declination_deg: float | None,
) -> list[ReportFigure | Undrawn]:
    """Return the maps of transforms and lineaments, and the rose, where there are any.

    Parameters
    ----------
    job : Job
        Name and reference system of the survey.
    records : RockRecords, optional
        The interpretation.
    readings, grid : Readings, Grid, optional
        The readings, and the anomaly that lineaments are drawn on.
    declination_deg : float, optional
        Angle from true to magnetic north, clockwise.
    """
    if records is None:
        return []
    words: dict[str, Any] = {
        "crs_title": job.crs_title,
        "convergence_deg": job.convergence_deg,
        "declination_deg": declination_deg,
    }
    figures = _transforms(job, records, readings, words) if readings is not None else []
    if grid is not None and len(records.lineaments):
        figures.append(_lineaments(job, records, grid, words))
    rose = records.rose
    if rose:
        figures.append(_rose(rose))
    return figures


def _transforms(
    job: Job, records: RockRecords, readings: Readings, words: dict[str, Any]
) -> list[ReportFigure | Undrawn]:
    """Return the maps of the chosen transforms."""
    made = {grid.name: grid for grid in records.transforms.grids} if records.transforms else {}
    figures = []
    for names, caption in DRAWN:
        name = next((name for name in names if name in made), None)
        if name is None:
            continue
        text = TRANSFORMS[name]
        title = text[:1].upper() + text[1:]
        draw = partial(
            draw_transform_map, made[name], readings, title=f"{title}, {job.name}", **words
        )
        figures.append(picture("transforms", title, caption, f"Map: {text}.", draw))
    return figures


def _lineaments(
    job: Job, records: RockRecords, grid: Grid, words: dict[str, Any]
) -> ReportFigure | Undrawn:
    """Return the map of the lineaments."""
    caption = (
        "Ridges (R), edges (E) and spots (S) traced from the grid, the surest first, and where a "
        "lineament is broken and offset. Between lines the trace is only as good as the grid."
    )
    names = [name for name in records.lineaments.strings("lineament") if name]
    alt = f"Map of {len(names)} lineaments: {', '.join(names[:12])}."
    draw = partial(
        draw_lineament_map, grid, records.lineaments, records.points,
        records.believed_faults, title=f"Lineaments, {job.name}", refused=records.refused, **words,
    )  # fmt: skip
    return picture("lineaments", "Lineament map", caption, alt, draw)


def _rose(rose: dict[str, Any]) -> ReportFigure | Undrawn:
    """Return the rose of the strikes."""
    caption = (
        "Length of the lineaments by strike, from grid north; refused ones are left out. Lines "
        "walked along a strike hide bodies of that strike."
    )
    mean = rose.get("mean_deg")
    told = "" if mean is None else f", mean strike {number(round(mean) % 180)}°"
    alt = f"Rose of the strikes of {rose.get('number', 0)} lineaments{told}."
    draw = partial(draw_rose, rose, title="Strikes")
    made = picture("lineaments", "Rose of strikes", caption, alt, draw)
    return replace(made, narrow=True) if isinstance(made, ReportFigure) else made
