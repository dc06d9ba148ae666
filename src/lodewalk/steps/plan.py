"""Plan: lines, ties, base, days and effort of a survey that hasn't been walked yet."""

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

import numpy as np

from lodewalk.adapters.projection import grid_convergence_deg, to_geographic
from lodewalk.adapters.surroundings import middle_of
from lodewalk.methods.geomagnetic import (
    site_values,
)
from lodewalk.methods.planning.layout import LEAST_TIES
from lodewalk.records import Document, Record
from lodewalk.records.planning import PlannedLines
from lodewalk.records.recorded import HandMeter, Shapes
from lodewalk.steps.context import Context
from lodewalk.steps.going_place import going_epoch, going_place
from lodewalk.steps.plan_area import PlanArea, plan_area
from lodewalk.steps.plan_base import base_row, not_checked
from lodewalk.steps.plan_choice import LayoutChoice, chosen_layout, may_optimise, tie_words
from lodewalk.steps.plan_crossings import crossing_words
from lodewalk.steps.plan_effort import kilometres, plan_days, plan_effort, storms_at
from lodewalk.steps.plan_ground import Ground, ground_of
from lodewalk.steps.plan_lines import Layout, laid_out
from lodewalk.steps.plan_sought import Sought, choice_words, optimised, promise, sought_body
from lodewalk.steps.plan_tables import planned_lines, planned_points
from lodewalk.steps.plan_words import counted
from lodewalk.steps.rows import table

#: Pieces steeper than this are warned of [degrees].
STEEP_DEG = 30.0
#: More empty walking than this share of the lines is warned of.
FAR_SHARE = 0.5
#: Names that a warning lists at most.
MOST_LISTED = 8
ON_SITE_TEST = (
    "Before the base is set up: five readings 1 m around the place (centre, north, east, south, "
    "west) at sensor height lie within 2 nT of each other; else move on (common practice)."
)
BASE_HOURS = "The base records from 15 min before the rover to 15 min after it."


def run(
    inputs: Mapping[str, Record], settings: Mapping[str, Any], context: Context
) -> dict[str, Record]:
    """Return the plan as a document, its lines and its points."""
    context.check_cancelled()
    made = sketch(inputs, settings, optimise=True, context=context)
    sought, layout, ground, lines = made.sought, made.layout, made.ground, made.lines
    context.check_cancelled()
    detection = None if sought is None else promise(sought, layout, settings)
    values, crs = made.values, settings["survey.crs"]
    values |= {"detection": detection, "warnings": values["warnings"] + _odds(detection, settings)}
    return {
        "plan": Document(values),
        "planned_lines": lines,
        "planned_points": planned_points(layout, lines, ground, settings, crs),
    }


@dataclass(frozen=True)
class Sketch:
    """A plan before its odds: document, lines, and what the odds are reckoned from."""

    values: dict[str, Any]
    lines: PlannedLines
    layout: Layout
    ground: Ground
    sought: Sought | None


def sketch(
    inputs: Mapping[str, Record],
    settings: Mapping[str, Any],
    *,
    optimise: bool,
    context: Context | None = None,
) -> Sketch:
    """Lay the plan out, with the optimiser, which takes long, or by the rule of thumb."""
    crs = settings["survey.crs"]
    area_shapes, exclusion = table(inputs, "area_recorded"), table(inputs, "exclusion_recorded")
    assert isinstance(area_shapes, Shapes)
    assert isinstance(exclusion, Shapes)
    meter = table(inputs, "hand_meter_recorded")
    assert isinstance(meter, HandMeter)
    year = going_epoch(settings["plan"]["first_day"])
    area = plan_area(area_shapes, exclusion, crs, settings["plan"])
    ground = ground_of(table(inputs, "terrain_recorded"), crs)
    where = going_place(area_shapes, settings["plan"], crs=crs)
    sought = sought_body(where, meter, settings)
    check = _unheard if context is None else context.check_cancelled
    optimiser = None
    if optimise and sought is not None and may_optimise(settings["plan"]):
        optimiser = choice_words(optimised(sought, settings, check))
    check()
    choice = chosen_layout(settings, optimiser, magnetic_north_deg=where.magnetic_north_deg)
    layout = laid_out(area, choice, ground, settings)
    lines = planned_lines(layout, ground, settings["effort"]["rovers"])
    values = _document(area, choice, layout, lines, ground, settings, year)
    return Sketch(values, lines, layout, ground, sought)


def _unheard() -> None:
    """Go on: nobody can ask to stop."""


def _document(
    area: PlanArea,
    choice: LayoutChoice,
    layout: Layout,
    lines: PlannedLines,
    ground: Ground,
    settings: Mapping[str, Any],
    year: float,
) -> dict[str, Any]:
    """Return what the plan says of itself."""
    days = plan_days(layout, lines, settings, area.power)
    site = _site(area, ground, settings, year)
    when = None if settings["plan"]["first_day"] is None else year
    storms = storms_at(site["latitude_deg"], site["longitude_deg"], when)
    return {
        "site": site,
        "area_m2": round(area.area_m2, 1),
        "walkable_m2": round(area.left_m2, 1),
        "azimuth_deg": round(choice.azimuth_deg, 3),
        "spacing_m": round(choice.spacing_m, 3),
        "tie_spacing_m": round(layout.tie_spacing_m, 3),
        "why": dict(choice.why) | {"ties": tie_words(choice, layout.tie_spacing_m)},
        "lines": int(layout.pieces.number[np.array(layout.kinds) == "line"].max(initial=-1)) + 1,
        "ties": int(layout.pieces.number[np.array(layout.kinds) == "tie"].max(initial=-1)) + 1,
        "pieces": len(layout.names),
        "kilometres": kilometres(days),
        "left_out": {
            "pieces": int(layout.short_m.size),
            "length_m": round(float(layout.short_m.sum()), 1),
        },
        "days": days,
        "base": base_row(layout.stand, 0)
        | {
            "alternatives": [base_row(layout.stand, n) for n in range(1, len(layout.stand.sites))],
            "on_site_test": ON_SITE_TEST,
            "not_checked": not_checked(area, settings["plan"]),
            "hours": BASE_HOURS,
        },
        "effort": plan_effort(layout, settings, storms, ground),
        "optimiser": None if choice.optimiser is None else dict(choice.optimiser),
        "repairs": list(area.notes),
        "warnings": [
            *area.warnings,
            *_warnings(choice, layout, settings),
            *(f"Base: {text}." for text in not_checked(area, settings["plan"])),
            *crossing_words(days),
            *_far(kilometres(days)),
        ],
    }


def _site(
    area: PlanArea, ground: Ground, settings: Mapping[str, Any], year: float
) -> dict[str, Any]:
    """Return where the area is and the reference field there."""
    crs = settings["survey.crs"]
    middle = middle_of(area.outline)
    longitude, latitude = (float(value) for value in to_geographic(*middle, crs=crs))
    height = float(ground.heights(np.array([middle]))[0])
    field = site_values(latitude, longitude, 0.0 if np.isnan(height) else height, decimal_year=year)
    turn = float(grid_convergence_deg(longitude, latitude, crs=crs))
    return {
        "latitude_deg": round(latitude, 7),
        "longitude_deg": round(longitude, 7),
        "easting_m": round(middle[0], 1),
        "northing_m": round(middle[1], 1),
        "height_m": None if np.isnan(height) else round(height, 1),
        "date": settings["plan"]["first_day"],
        "epoch_year": round(year, 3),
        "total_field_nT": round(field.total_field_nT, 1),
        "inclination_deg": round(field.inclination_deg, 3),
        "declination_deg": round(field.declination_deg, 3),
        "convergence_deg": round(turn, 4),
        "model": field.model,
    }


def _warnings(choice: LayoutChoice, layout: Layout, settings: Mapping[str, Any]) -> list[str]:
    """Say what is doubtful about the plan."""
    found = list(choice.warnings)
    site = layout.stand.sites[0]
    if site.broken:
        found.append(
            f"No place satisfies all rules for the base; of the best, {'; '.join(site.broken)}."
        )
    steep = [
        name
        for name, slope in zip(layout.names, layout.ground.steepest_deg, strict=True)
        if slope > STEEP_DEG
    ]
    if steep:
        listed = ", ".join(steep[:MOST_LISTED]) + (
            " and others" if len(steep) > MOST_LISTED else ""
        )
        found.append(
            f"{counted(len(steep), 'piece')} of lines {'is' if len(steep) == 1 else 'are'} "
            f"steeper than {STEEP_DEG:g} degrees in places: "
            f"{listed}. Look at them before anybody walks there."
        )
    if layout.short_m.size:
        found.append(
            f"{counted(layout.short_m.size, 'piece')} shorter than "
            f"{settings['plan']['shortest_line_m']:g} m left out, "
            f"{layout.short_m.sum():.0f} m in all."
        )
    if layout.split:
        found.append(f"Longer than a day and walked in parts: {counted(layout.split, 'line')}.")
    ties = layout.pieces.number[np.array(layout.kinds) == "tie"]
    if np.unique(ties).size < LEAST_TIES:
        found.append(
            f"There is {'one tie line' if ties.size else 'no tie line'}: levelling needs two or "
            "more. Lower plan.shortest_line_m or plan.tie_spacing_m."
        )
    late = _late_ties(layout, settings["effort"]["rovers"])
    if late:
        found.append(late)
    if layout.stand.turns is None:
        found.append("There is no open ground for turn-around tests inside the area.")
    return found


def _late_ties(layout: Layout, rovers: int) -> str:
    """Say that no tie is walked before the last of several days."""
    ties = np.flatnonzero(np.array(layout.kinds) == "tie")
    days = [
        number // rovers + 1
        for number, tour in enumerate(layout.tours)
        if np.isin(tour.order.piece, ties).any()
    ]
    last = (len(layout.tours) - 1) // rovers + 1
    if last == 1 or min(days, default=1) < last:
        return ""
    return (
        f"No tie line is walked before day {last}, the last: until then no crossings tell whether "
        "clocks, heading and levels are right. Walk one early all the same, or lower "
        "plan.tie_spacing_m."
    )


def _odds(detection: Mapping[str, Any] | None, settings: Mapping[str, Any]) -> list[str]:
    """Say what the promise lacks."""
    if detection is None:
        how = "Set body.rock or body.susceptibility, or add hand-meter readings"
        asked = " or optimised" if settings["plan"]["optimise"] else ""
        return [f"Nothing tells how magnetic the body is: no odds are predicted{asked}. {how}."]
    chance, wanted, error = (
        detection[name] for name in ("probability", "wanted", "standard_error")
    )
    if chance >= wanted:
        return []
    less = "less than" if chance < wanted - error else "no different, within its error, from"
    return [
        f"The body is found with {chance:.0%} ±{100 * error:.0f}, {less} the {wanted:.0%} wanted: "
        "lodewalk feasibility says what would change it."
    ]


def _far(way: Mapping[str, float]) -> list[str]:
    """Say that too much is walked off the lines."""
    on_lines = way["lines_km"] + way["ties_km"]
    if way["between_km"] <= FAR_SHARE * on_lines:
        return []
    return [
        f"{way['between_km']:.0f} km are walked to, from and between {on_lines:.0f} km of lines: "
        "plan the area in parts, each with its base, or have the rovers driven to their lines."
    ]
